package table

import (
	"bytes"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// The fast path of tables whose levels are single digits, 0 and 1, whether or
// not their stamps are even: what follows a stamp is held against what may
// follow it, in words of eight bytes. A span of such rows is handed out whole.

const (
	// worthSpan is the least number of rows of a span; after tooShort shorter
	// ones a piece is left to the plain reader.
	worthSpan = 16
	tooShort  = 50
)

// shape is how rows of single digits look.
type shape struct {
	delimiter, mark byte
	decimals        int // of a stamp
	written         int // the same as decimals of a second
	unit            decode.Time
	limit           uint64 // the largest stamp in units
	tail            []byte // what follows a stamp, with the line end, every level 0
	stripes         []stripe
	channel         []int // of each bit of their levels
	low, slack      decode.Time
	channels        int
}

// span is a part of a piece, and what its rows say.
type span struct {
	*shape
	from, to int // of the text; both where a line begins
	pace     pace
	first    []decode.Level // of each channel: its level in the first row
	runs     []decode.Run   // and its edges, with an instant for the first row
	tail     []byte         // of the last row
}

// newShape says how rows like the next one look; nil where their levels are not
// single digits.
func (t *table) newShape() *shape {
	c := &t.plan.clock
	line := t.buf[t.lo:t.hi]
	line = line[:bytes.IndexByte(line, '\n')+1]
	at := bytes.IndexByte(line, t.delimiter)
	tail := line[max(at, 0):]
	end := len(tail) - len(bytes.TrimRight(tail, "\r\n"))
	s := &shape{delimiter: t.delimiter, mark: c.mark, written: t.pace.decimals, decimals: t.pace.decimals - 12 + c.shift, channels: len(t.channels)}
	if at < 0 || c.far || s.decimals < 0 || s.decimals > c.shift || len(tail) != 2*(len(t.readers)-1)+end {
		return nil
	}
	s.unit = decode.Time(exact.PowersOfTen[c.shift-s.decimals])
	s.limit = math.MaxInt64 / uint64(s.unit)
	s.low, s.slack = t.pace.widened(s.written)
	s.tail = bytes.Clone(tail)
	s.stripes = stripesOf(tail)
	s.channel = make([]int, 64*len(s.stripes))
	for i := range t.readers[1:] {
		r := &t.readers[i+1]
		at := 2*i + 1
		if tail[at-1] != t.delimiter || tail[at]|1 != '1' || r.channel < 0 {
			return nil
		}
		switch {
		case r.moves():
			s.tail[at] = '0'
			s.stripes[at/stripeSize].addLevel(at)
			s.channel[levelBit(at)] = r.channel
		case !r.rests(tail[at]):
			return nil
		}
	}
	return s
}

// moves tells whether a column is read as digital, 0 and 1.
func (r *cellReader) moves() bool {
	return r.kind == levelColumn || r.kind == numberColumn && r.analog.IsZeroOne()
}

// rests tells whether a column has shown nothing but this digit so far, and its
// level has been told.
func (r *cellReader) rests(digit byte) bool {
	if r.kind != numberColumn {
		return false
	}
	v, unknown, ok := r.reading([]byte{digit}, '.')
	return ok && !unknown && r.analog.Rests(v)
}

// holds tells whether rows are still to be read as when the shape was found.
func (s *shape) holds(t *table) bool {
	for i := range t.readers[1:] {
		r, at := &t.readers[i+1], 2*i+1
		if moves := s.isLevel(at); moves && !r.moves() || !moves && !r.rests(s.tail[at]) {
			return false
		}
	}
	return t.pace.decimals == s.written
}

// isLevel tells whether a byte of a tail is a level.
func (s *shape) isLevel(at int) bool {
	return s.stripes[at/stripeSize].levels>>(levelBit(at)%64)&1 == 1
}

// find finds the spans of a text that begins with a line.
func (s *shape) find(text []byte, out *found) {
	if len(out.at) != len(s.channel) {
		out.at = make([][]decode.Time, len(s.channel))
	}
	for i := range out.at {
		out.at[i] = out.at[i][:0]
	}
	b := newBatch(s, text)
	for at, short := 0, 0; at < len(text) && short < tooShort; {
		n := len(out.spans)
		if n == cap(out.spans) {
			out.spans = append(out.spans, span{})
		}
		out.spans = out.spans[:n+1]
		x := &out.spans[n]
		if at = b.span(at, x, out.at); x.pace.rows < worthSpan {
			out.spans = out.spans[:n]
			short++
		}
		size := bytes.IndexByte(text[at:], '\n') + 1
		if size == 0 {
			break
		}
		at += size
	}
}

// span reads the span that begins at a line, up to the first row that is not as
// expected, and returns where that begins.
func (b *batch) span(from int, x *span, edges [][]decode.Time) (to int) {
	*x = span{shape: b.shape, from: from, first: x.first[:0], runs: x.runs[:0], tail: x.tail[:0]}
	p := &x.pace
	p.settled, p.low, p.slack, p.decimals = true, b.low, b.slack, b.written
	begin := make([]int, 0, 64)
	for _, at := range edges {
		begin = append(begin, len(at))
	}
	at := from
	for at < b.end {
		n, begun := b.read(at), 0
		if n > 0 && p.rows == 0 {
			x.begin(b.tailTo(at+b.size), b.stamps[0], edges)
			b.begin()
			p.rows, p.first, p.last, begun = 1, b.stamps[0], b.stamps[0], 1
		}
		if n = begun + p.steps(b.stamps[begun:max(n, begun)]); n == 0 {
			break
		}
		p.still(b.changes(n, edges)[begun:n])
		at += n * b.size
	}
	if x.to = at; p.rows > 0 {
		x.tail = append(x.tail, bytes.TrimRight(b.tailTo(at), "\r\n")...)
		for at := range b.tail {
			if bit := levelBit(at); b.isLevel(at) {
				mine := edges[bit][begin[bit]:]
				x.runs = append(x.runs, decode.Run{Channel: b.channel[bit], First: x.first[b.channel[bit]], At: mine[:len(mine):len(mine)]})
			}
		}
	}
	return at
}

// begin takes the levels of a span's first row.
func (x *span) begin(tail []byte, now decode.Time, edges [][]decode.Time) {
	x.first = slices.Grow(x.first, x.channels)[:x.channels]
	for at, c := range tail {
		if bit := levelBit(at); x.isLevel(at) {
			x.first[x.channel[bit]] = decode.Low + decode.Level(c-'0')
			edges[bit] = append(edges[bit], now)
		}
	}
}

// steps takes in the stamps of a span's rows behind the first, as add would with
// bounds that are widened, up to one that goes back; it returns how many.
func (p *pace) steps(stamps []decode.Time) (n int) {
	last, low, slack := p.last, p.low, uint64(p.slack)
	var even int
	var sum, from, to, largest decode.Time
	for _, now := range stamps {
		d := now - last
		if d < 0 {
			break
		}
		if uint64(d-low) <= slack {
			even++
			sum += d
		} else {
			if even == n {
				from = last // the first that is not
			}
			to, largest = now, max(largest, d)
		}
		last = now
		n++
	}
	p.rows += int64(n)
	p.last, p.even, p.sum = last, p.even+int64(even), p.sum+sum
	p.uneven = joined(p.uneven, decode.Uneven{Count: int64(n - even), Start: from, End: to, Largest: largest})
	return n
}

// joined is what is uneven of two stretches that follow each other.
func joined(u, more decode.Uneven) decode.Uneven {
	switch {
	case more.Count == 0:
		return u
	case u.Count == 0:
		return more
	}
	return decode.Uneven{Count: u.Count + more.Count, Start: u.Start, End: more.End, Largest: max(u.Largest, more.Largest)}
}

// still takes in what changed in these rows.
func (p *pace) still(changed []uint64) {
	for _, c := range changed {
		if p.lastIdle = c == 0; p.lastIdle {
			p.idle++
		}
	}
}

// follow takes in the rows of a span.
func (p *pace) follow(o *pace, idle bool) {
	p.add(o.first, o.decimals, idle)
	p.rows += o.rows - 1
	p.idle += o.idle
	p.even += o.even
	p.sum += o.sum
	if p.last = o.last; o.rows > 1 {
		p.lastIdle = o.lastIdle
	}
	p.lastSeen[p.decimals] = p.rows
	p.uneven = joined(p.uneven, o.uneven)
}

// atSpan tells whether a span begins with the next line and follows on from
// the rows before.
func (t *table) atSpan() bool {
	if t.queue == nil {
		return false
	}
	if t.lo == t.hi && t.err == nil {
		t.fill()
	}
	list := t.found.spans
	for len(list) > 0 && list[0].from < t.lo {
		list = list[1:]
	}
	t.found.spans = list
	if len(list) == 0 || list[0].from > t.lo || t.blind || t.ended {
		return false
	}
	return list[0].pace.first >= t.last && list[0].holds(t)
}

// spanBlock hands out the span that comes next.
func (t *table) spanBlock() *decode.Block {
	x := &t.found.spans[0]
	t.found.spans = t.found.spans[1:]
	idle := !slices.ContainsFunc(x.runs, func(r decode.Run) bool { return r.First != t.edges.Level(r.Channel) })
	t.pace.follow(&x.pace, idle)
	t.last = x.pace.last
	t.row += x.pace.rows
	t.number += x.pace.rows
	t.taken += int64(x.to - x.from)
	t.lo = x.to
	t.tail = append(t.tail[:0], x.tail...)
	t.spans.Runs = t.spans.Runs[:0]
	for _, r := range x.runs {
		if r.First == t.edges.Level(r.Channel) { // it restates the level
			r.First, r.At = r.First.Other(), r.At[1:]
		}
		if len(r.At) == 0 {
			continue
		}
		t.spans.Runs = append(t.spans.Runs, r)
		if len(r.At)%2 == 1 {
			t.edges.Leave(r.Channel, r.First)
		} else {
			t.edges.Leave(r.Channel, r.First.Other())
		}
	}
	t.analog.Settle(t.last, t.weighed(t.last))
	t.spans.Until, t.spans.Facts = t.last, t.facts()
	return &t.spans
}
