package table

import (
	"bytes"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
)

// The fast path of sampled tables. Nearly every row repeats the levels of the
// row before at the usual step. Workers find such strides ahead by comparing
// text with the text expected; the plain reader takes the first row of a
// stride, and the rest is booked as a whole. It takes every other row too, and
// stays the judge of what a row means.

// found is what a worker finds in a piece.
type found struct {
	strides []stride
	spans   []span
	at      [][]decode.Time // of each channel, the edges of all spans
}

// stride is a part of a piece: rows of one size, each with the tail of the row
// before and a stamp one usual step on.
type stride struct{ from, to, line int }

// lastLine is where a text can be cut: behind its last line end.
func lastLine(text []byte) int { return bytes.LastIndexByte(text, '\n') + 1 }

// nextPiece goes on with the next piece of the text.
func (l *lines) nextPiece() {
	rest := l.buf[l.lo:l.hi]
	if l.piece != nil {
		if l.err = l.piece.Err; l.err != nil {
			return
		}
		rest = bytes.Clone(rest)
		l.queue.Free(l.piece)
	}
	l.piece, l.found = l.queue.Next(), found{}
	if l.piece.Seen {
		l.found = l.piece.Found
	}
	l.buf = l.piece.Text
	if len(rest) > 0 { // a line longer than pieces are
		l.buf = append(rest, l.buf...)
	}
	l.lo, l.hi = 0, len(l.buf)
	l.nul = true // each line that is read plainly is searched
}

// lookAhead starts the workers if the rows so far let expect strides or spans,
// and tells them when rows have come to look otherwise.
func (t *table) lookAhead() {
	if t.row < t.lookAt || t.pushed != nil || t.ended || t.in.Plain {
		return
	}
	t.lookAt = t.row + min(t.row, blockRows)
	if !t.foreseeable() {
		return
	}
	if s := t.shape.Load(); s == nil || !s.holds(t) {
		t.shape.Store(t.newShape())
	}
	if t.queue != nil {
		return
	}
	cycle := t.cycle()
	if cycle == nil && t.shape.Load() == nil {
		return
	}
	t.queue = ahead.New(t.in.Rest(t.taken, t.buf[t.lo:t.hi], t.err), t.in.Ahead, lastLine, func() func(*ahead.Piece[found]) {
		f := &finder{cycle: cycle, delimiter: t.delimiter, mark: t.plan.clock.mark}
		return func(p *ahead.Piece[found]) { f.look(p.Text, &p.Found, t.shape.Load()) }
	})
	t.buf, t.lo, t.hi, t.err = nil, 0, 0, nil
}

// foreseeable tells whether rows may come that can be told from the one before: a
// stamp in decimals, and what follows it to the end of a line.
func (t *table) foreseeable() bool {
	return t.leading == 1 && t.delimiter != spaces && t.end == '\n' && t.plan.clock.kind == decimalClock && t.pace.settled
}

// cycle is how the stamps go on; nil unless they do so at usual steps.
func (t *table) cycle() *cycle {
	clock := &t.plan.clock
	c := findCycle(t.buf[t.lo:t.hi], t.delimiter, clock.mark)
	if c == nil || clock.shift < c.decimals || !c.even(&t.pace, clock.shift) {
		return nil
	}
	return c
}

// look finds strides in a text, or spans where these are not worth it.
func (f *finder) look(text []byte, out *found, s *shape) {
	out.spans = out.spans[:0]
	worth := f.cycle != nil
	if worth {
		out.strides, worth = f.find(text, out.strides[:0])
	}
	if !worth && s != nil {
		out.strides = out.strides[:0]
		s.find(text, out)
	}
}

// stride books the rows that follow the one just taken in its stride, up to
// the end of a block, and returns how many these are.
func (t *table) stride(rows int, text int64) int {
	t.lookAhead()
	if t.piece == nil || len(t.tail) == 0 {
		return 0
	}
	list := t.found.strides
	for len(list) > 0 && list[0].to <= t.lo {
		list = list[1:]
	}
	t.found.strides = list
	if len(list) == 0 || t.lo <= list[0].from {
		return 0
	}
	line := list[0].line
	n := min((list[0].to-t.lo)/line, rows, int(text+int64(line)-1)/line)
	if n <= 0 {
		return 0
	}
	end := t.lo + n*line
	stamp, _, _ := t.cutStamp(t.buf[end-line : end])
	now, _, err := t.plan.clock.read(stamp)
	if err != nil {
		return 0
	}
	t.pace.repeat(int64(n), now)
	t.last = now
	t.row += int64(n)
	t.number += int64(n)
	t.taken += int64(end - t.lo)
	t.lo = end
	return n
}

// repeat takes in n rows that change nothing, at usual steps, written like the
// row before.
func (p *pace) repeat(n int64, last decode.Time) {
	p.rows += n
	p.idle += n
	p.even += n
	p.sum += last - p.last
	p.last, p.lastIdle = last, true
	p.lastSeen[p.decimals] = p.rows
}
