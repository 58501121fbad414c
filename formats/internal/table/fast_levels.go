package table

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/bits"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
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
	words           []tailWord
	channel         []int // of each bit of a group: see tailGroup
	low, slack      decode.Time
	channels        int
}

// tailWord is which bits of eight bytes of a tail are levels, and which are the
// same in every row.
type tailWord struct{ level, fixed uint64 }

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
	if at < 0 || c.far || s.decimals < 0 || s.decimals > min(c.shift, 9) || len(tail) != 2*(len(t.readers)-1)+end {
		return nil
	}
	s.unit = decode.Time(exact.PowersOfTen[c.shift-s.decimals])
	s.limit = math.MaxInt64 / uint64(s.unit)
	s.low, s.slack = t.pace.widened(s.written)
	s.tail = bytes.Clone(tail)
	s.channel = make([]int, (len(tail)+63)/64*64)
	s.words = make([]tailWord, (len(tail)+7)/8)
	for at := range tail {
		s.words[at/8].fixed |= 0xff << (at % 8 * 8)
	}
	for i := range t.readers[1:] {
		r := &t.readers[i+1]
		at := 2*i + 1
		if tail[at-1] != t.delimiter || tail[at]|1 != '1' || r.channel < 0 {
			return nil
		}
		switch {
		case r.moves():
			s.tail[at], s.channel[groupBit(at)] = '0', r.channel
			s.words[at/8].level |= 1 << (at % 8 * 8)
			s.words[at/8].fixed &^= 1 << (at % 8 * 8)
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
		if moves := s.words[at/8].level>>(8*(at%8))&1 == 1; moves && !r.moves() || !moves && !r.rests(s.tail[at]) {
			return false
		}
	}
	return t.pace.decimals == s.written
}

// find finds the spans of a text that begins with a line.
func (s *shape) find(text []byte, out *found) {
	if out.at == nil {
		out.at = make([][]decode.Time, s.channels)
	}
	for i := range out.at {
		out.at[i] = out.at[i][:0]
	}
	for at, short := 0, 0; at < len(text) && short < tooShort; {
		n := len(out.spans)
		if n == cap(out.spans) {
			out.spans = append(out.spans, span{})
		}
		out.spans = out.spans[:n+1]
		x := &out.spans[n]
		if at = s.read(text, at, x, out.at); x.pace.rows < worthSpan {
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

// A level is bit 0 of a byte. Eight words of a tail are a group, whose levels
// fit in one word: the lowest bits of its bytes are those of the first eight
// bytes, the next ones those of the next eight, and so on.
const tailGroup = 8

// groupBit is where the level at a byte of a tail stands in its group, and the
// groups before it.
func groupBit(at int) int { return at/64*64 + at%8*8 + at/8%tailGroup }

// rowReader reads the rows of a span one after the other.
type rowReader struct {
	*shape
	text    []byte   // with slack behind it
	before  []uint64 // the words of the tail of the row before
	changed []uint64 // the levels that differ from those before, a word a group

	whole   uint64 // the text of the row before up to its mark
	inWhole uint64 // which bits of it; none where there are too many
	seconds uint64 // what it says, in units
	size    int    // of it
}

// read reads the span that begins at a line, up to the first row that is not as
// expected, and returns where that begins.
func (s *shape) read(text []byte, from int, x *span, edges [][]decode.Time) (to int) {
	*x = span{shape: s, from: from, first: x.first[:0], runs: x.runs[:0], tail: x.tail[:0]}
	p := &x.pace
	p.settled, p.low, p.slack, p.decimals = true, s.low, s.slack, s.written
	begin := make([]int, 0, 64)
	for _, at := range edges {
		begin = append(begin, len(at))
	}
	size := len(text)
	r := rowReader{shape: s, text: text[: size+ahead.Slack : size+ahead.Slack],
		before: make([]uint64, len(s.words)), changed: make([]uint64, len(s.channel)/64)}
	tail := append(bytes.Clone(s.tail), make([]byte, 8)...)
	for k := range r.before {
		r.before[k] = load(tail, 8*k)
	}
	at := from
	for at < size {
		stamp, end, ok := r.stamp(at)
		now := decode.Time(stamp) * s.unit
		if !ok || end+len(s.tail) > size || stamp > s.limit || p.rows > 0 && now < p.last {
			break
		}
		// The whole row is checked before any of it counts.
		idle, ok := r.compare(end)
		if !ok {
			break
		}
		at = end + len(s.tail)
		if p.rows == 0 {
			s.begin(text[end:], now, x, edges)
			p.rows, p.first, p.last = 1, now, now
			continue
		}
		p.step(now, idle)
		for g, bit := range r.changed {
			for ; bit != 0; bit &= bit - 1 {
				channel := s.channel[64*g+bits.TrailingZeros64(bit)]
				edges[channel] = append(edges[channel], now)
			}
		}
	}
	if x.to = at; p.rows > 0 {
		x.tail = append(x.tail, bytes.TrimRight(text[at-len(s.tail):at], "\r\n")...)
		for channel, all := range edges {
			if mine := all[begin[channel]:]; len(mine) > 0 {
				x.runs = append(x.runs, decode.Run{Channel: channel, First: x.first[channel], At: mine[:len(mine):len(mine)]})
			}
		}
	}
	return at
}

func load(text []byte, at int) uint64 { return binary.LittleEndian.Uint64(text[at:]) }

// compare holds the tail at a place against the one before: only levels may
// differ.
func (r *rowReader) compare(at int) (idle, ok bool) {
	any, other := uint64(0), uint64(0)
	row := r.text[at:]
	for g := range r.changed {
		words := r.words[tailGroup*g:]
		before := r.before[tailGroup*g:][:len(words)]
		changed := uint64(0)
		for k := 0; k < len(words) && k < tailGroup && len(row) >= 8; k++ {
			word := binary.LittleEndian.Uint64(row)
			differs := word ^ before[k]
			before[k] = word
			other |= differs & words[k].fixed
			changed |= differs & words[k].level << k
			row = row[8:]
		}
		r.changed[g] = changed
		any |= changed
	}
	return any == 0, other == 0
}

// begin takes the levels of a span's first row.
func (s *shape) begin(tail []byte, now decode.Time, x *span, edges [][]decode.Time) {
	x.first = slices.Grow(x.first, s.channels)[:s.channels]
	for k, w := range s.words {
		for mask := w.level; mask != 0; mask &= mask - 1 {
			at := 8*k + bits.TrailingZeros64(mask)/8
			channel := s.channel[groupBit(at)]
			x.first[channel] = decode.Low + decode.Level(tail[at]-'0')
			edges[channel] = append(edges[channel], now)
		}
	}
}

// step takes in a row of a span, not the first, as add would with bounds that are
// widened.
func (p *pace) step(now decode.Time, idle bool) {
	from := p.last
	p.last, p.lastIdle = now, idle
	p.rows++
	if idle {
		p.idle++
	}
	if d := now - from; uint64(d-p.low) <= uint64(p.slack) {
		p.even++
		p.sum += d
		return
	}
	p.off(from, now)
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
	if u, more := &p.uneven, o.uneven; more.Count > 0 {
		if u.Count == 0 {
			u.Start = more.Start
		}
		u.Count, u.End, u.Largest = u.Count+more.Count, more.End, max(u.Largest, more.Largest)
	}
}

const (
	eachByte = 0x0101010101010101
	zeros    = '0' * eachByte
)

// stamp reads a stamp in units of its last digit, and returns what follows it.
// What stands before the mark is most often that of the row before.
func (r *rowReader) stamp(at int) (v uint64, end int, ok bool) {
	if word := load(r.text, at); (word^r.whole)&r.inWhole != 0 || r.inWhole == 0 {
		v, end = readDigits(r.text, at)
		n := end - at
		if n == 0 || n > 9 {
			return 0, 0, false
		}
		if r.decimals == 0 {
			return v, end, true
		}
		if r.text[end] != r.mark {
			return 0, 0, false
		}
		r.whole, r.seconds, r.size, r.inWhole = word, v*uint64(exact.PowersOfTen[r.decimals]), n+1, 0
		if n < 8 {
			r.inWhole = 1<<(8*(n+1)) - 1
		}
	}
	at += r.size
	if r.decimals > 8 {
		v, end = readDigits(r.text, at)
		return r.seconds + v, end, end-at == r.decimals
	}
	digits := (load(r.text, at) ^ zeros) << (64 - 8*r.decimals)
	return r.seconds + eightDigits(digits), at + r.decimals, otherThanDigits(digits) == 0
}

// readDigits reads digits, eight at a time, and returns what follows them.
func readDigits(text []byte, at int) (v uint64, end int) {
	for {
		w := load(text, at) ^ zeros
		n := uint(bits.TrailingZeros64(otherThanDigits(w))) / 8
		v = v*uint64(exact.PowersOfTen[n]) + eightDigits(w<<(64-8*n)) // no digit at all leaves zero
		if at += int(n); n < 8 {
			return v, at
		}
	}
}

// otherThanDigits has the highest bit of the first byte of w that is above 9,
// and none below it.
func otherThanDigits(w uint64) uint64 { return (w + 0x76*eachByte | w) & (0x80 * eachByte) }

// eightDigits is the number that eight bytes of 0 to 9 make, the first being the
// highest digit: by pairs, by fours, by eights.
func eightDigits(w uint64) uint64 {
	w = w * (10<<8 + 1) >> 8 & 0x00FF00FF00FF00FF
	w = w * (100<<16 + 1) >> 16 & 0x0000FFFF0000FFFF
	return w * (10000<<32 + 1) >> 32
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
	list := t.piece.Found.spans
	for len(list) > 0 && list[0].from < t.lo {
		list = list[1:]
	}
	t.piece.Found.spans = list
	if len(list) == 0 || list[0].from > t.lo || t.blind || t.ended {
		return false
	}
	return list[0].pace.first >= t.last && list[0].holds(t)
}

// spanBlock hands out the span that comes next.
func (t *table) spanBlock() *decode.Block {
	x := &t.piece.Found.spans[0]
	t.piece.Found.spans = t.piece.Found.spans[1:]
	idle := !slices.ContainsFunc(x.runs, func(r decode.Run) bool { return r.First != t.edges.level[r.Channel] })
	t.pace.follow(&x.pace, idle)
	t.last = x.pace.last
	t.row += x.pace.rows
	t.number += x.pace.rows
	t.taken += int64(x.to - x.from)
	t.lo = x.to
	t.tail = append(t.tail[:0], x.tail...)
	t.spans.Runs = t.spans.Runs[:0]
	for _, r := range x.runs {
		level := &t.edges.level[r.Channel]
		if r.First == *level { // it restates the level
			r.First, r.At = r.First.Other(), r.At[1:]
		}
		if len(r.At) > 0 {
			t.spans.Runs = append(t.spans.Runs, r)
			if *level = r.First; len(r.At)%2 == 0 {
				*level = r.First.Other()
			}
		}
	}
	t.analog.Settle(t.last, t.weighed(t.last))
	t.spans.Until, t.spans.Facts = t.last, t.facts()
	return &t.spans
}
