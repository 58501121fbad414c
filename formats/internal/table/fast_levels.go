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
	limit           uint64   // the largest stamp in units
	tail            []byte   // what follows a stamp, with the line end, every level 0
	words           []uint64 // the same, padded with zeros
	level           []uint64 // which bits of these are levels
	inside          uint64   // which of the last word belong to the tail
	channel         []int    // of each byte of the tail
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
	s := &shape{delimiter: t.delimiter, mark: c.mark, written: t.pace.decimals, decimals: t.pace.decimals - 12 + c.shift,
		low: t.pace.low, slack: t.pace.slack, channels: len(t.channels)}
	if at < 0 || c.far || s.decimals < 0 || s.decimals > min(c.shift, 9) || len(tail) != 2*(len(t.readers)-1)+end {
		return nil
	}
	s.unit = decode.Time(exact.PowersOfTen[c.shift-s.decimals])
	s.limit = math.MaxInt64 / uint64(s.unit)
	s.tail = bytes.Clone(tail)
	s.channel = make([]int, len(tail))
	mask := make([]byte, len(tail)+8)
	for i := range t.readers[1:] {
		r := &t.readers[i+1]
		at := 2*i + 1
		if tail[at-1] != t.delimiter || tail[at]|1 != '1' || r.channel < 0 {
			return nil
		}
		switch {
		case r.moves():
			s.tail[at], mask[at], s.channel[at] = '0', 1, r.channel
		case !r.rests(tail[at]):
			return nil
		}
	}
	text := append(bytes.Clone(s.tail), make([]byte, 8)...)
	for i := 0; i < len(tail); i += 8 {
		s.words = append(s.words, binary.LittleEndian.Uint64(text[i:]))
		s.level = append(s.level, binary.LittleEndian.Uint64(mask[i:]))
	}
	s.inside = ^uint64(0)
	if n := len(tail) % 8; n > 0 {
		s.inside = 1<<(8*n) - 1
		s.words[len(s.words)-1] &= s.inside
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
		if moves := s.level[at/8]>>(8*(at%8))&1 == 1; moves && !r.moves() || !moves && !r.rests(s.tail[at]) {
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
	text = text[: size+ahead.Slack : size+ahead.Slack]
	before := make([]uint64, len(s.words))
	last := len(s.words) - 1
	at := from
rows:
	for at < size {
		stamp, end, ok := s.stamp(text, at)
		if !ok || end+len(s.tail) > size || stamp > s.limit {
			break
		}
		now := decode.Time(stamp) * s.unit
		if p.rows > 0 && now < p.last {
			break
		}
		// The whole row is checked before any of it counts.
		changed := uint64(0)
		for k, word := range s.words {
			w := load(text, end+8*k)
			if k == last {
				w &= s.inside
			}
			if w&^s.level[k] != word {
				break rows
			}
			changed |= w ^ before[k]
		}
		if p.rows == 0 {
			s.begin(text[end:], now, x, edges)
			p.rows, p.first, p.last = 1, now, now
			changed = 0
			for k := range before {
				before[k] = load(text, end+8*k)
			}
			before[last] &= s.inside
		} else {
			p.step(now, changed == 0)
		}
		if changed != 0 {
			for k := range before {
				w := load(text, end+8*k)
				if k == last {
					w &= s.inside
				}
				for d := w ^ before[k]; d != 0; d &= d - 1 {
					channel := s.channel[8*k+bits.TrailingZeros64(d)/8]
					edges[channel] = append(edges[channel], now)
				}
				before[k] = w
			}
		}
		at = end + len(s.tail)
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

// begin takes the levels of a span's first row.
func (s *shape) begin(tail []byte, now decode.Time, x *span, edges [][]decode.Time) {
	x.first = slices.Grow(x.first, s.channels)[:s.channels]
	for k, mask := range s.level {
		for ; mask != 0; mask &= mask - 1 {
			at := 8*k + bits.TrailingZeros64(mask)/8
			channel := s.channel[at]
			x.first[channel] = decode.Low + decode.Level(tail[at]-'0')
			edges[channel] = append(edges[channel], now)
		}
	}
}

// step takes in a row of a span, not the first, as add would.
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
	p.odd(from, now, p.decimals)
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
func (s *shape) stamp(text []byte, at int) (v uint64, end int, ok bool) {
	v, end = readDigits(text, at)
	if n := end - at; n == 0 || n > 9 {
		return 0, 0, false
	}
	if s.decimals > 0 {
		if text[end] != s.mark {
			return 0, 0, false
		}
		from := end + 1
		fraction, end := readDigits(text, from)
		return v*uint64(exact.PowersOfTen[s.decimals]) + fraction, end, end-from == s.decimals
	}
	return v, end, true
}

// readDigits reads digits, eight at a time, and returns what follows them.
func readDigits(text []byte, at int) (v uint64, end int) {
	for {
		w := load(text, at) ^ zeros
		n := uint(bits.TrailingZeros64(((w+0x76*eachByte)|w)&(0x80*eachByte))) / 8
		w <<= 64 - 8*n // no digit at all leaves zero
		w = w * 2561 >> 8 & 0x00FF00FF00FF00FF
		w = w * 6553601 >> 16 & 0x0000FFFF0000FFFF
		v = v*uint64(exact.PowersOfTen[n]) + w*42949672960001>>32
		if at += int(n); n < 8 {
			return v, at
		}
	}
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
	t.analog.Settle(t.last, t.row)
	t.spans.Until, t.spans.Facts = t.last, t.facts()
	return &t.spans
}
