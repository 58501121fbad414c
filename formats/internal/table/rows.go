package table

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"

	"widthwise/decode"
	"widthwise/formats/internal/analog"
	"widthwise/formats/internal/exact"
)

// cellReader turns the cells of one column into levels.
type cellReader struct {
	kind    columnKind
	channel int // -1 for none
	base    int
	size    int
	shift   int   // volts
	bits    []int // channels of the bits, the lowest first
	analog  *analog.Channel
}

// badCell is damage in a cell of the row at hand.
type badCell struct {
	at  int // byte in the row
	err error
	fix string
}

// What would be right in a cell.
const (
	levelForms = "0 or 1, low or high, x where unknown, or volts"
	stampForms = "a stamp like those before, at most 106 days from the first (option time-unit states the unit)"
)

func (b *badCell) Error() string { return b.err.Error() }

// Next implements decode.Source.
func (t *table) Next() (*decode.Block, error) {
	if t.ended && t.pushed == nil {
		return nil, io.EOF
	}
	t.edges.Reset()
	text, rows := t.taken, 0
	for {
		if t.atSpan() {
			if !t.edges.Empty() {
				return t.block(), nil
			}
			return t.spanBlock(), nil
		}
		before := t.row
		line, ended, err := t.nextLine()
		if err != nil {
			return t.finish(err)
		}
		if err := t.takeLine(line, ended); err != nil {
			return nil, t.named(err)
		}
		rows++
		if t.row > before {
			rows += t.stride(blockRows-rows, blockText-(t.taken-text))
		}
		if t.ended && t.pushed == nil {
			return t.finish(io.EOF)
		}
		if rows >= blockRows || t.taken-text >= blockText {
			text, rows = t.taken, 0
			if t.row > 0 && t.analog.MayEmit(t.last, t.weighed(t.last), t.taken) {
				t.analog.Settle(t.last, t.weighed(t.last))
				return t.block(), nil
			}
		}
	}
}

// nextLine returns the next line, the first row again to begin with.
func (t *table) nextLine() (line []byte, ended bool, err error) {
	if t.pushed != nil {
		line, t.pushed = t.pushed, nil
		t.number++
		return line, !t.ended, nil
	}
	return t.next()
}

// takeLine reads one row. Damage in the last line, where that has no end, ends
// the capture; elsewhere it is an error, or a row to skip.
func (t *table) takeLine(line []byte, ended bool) error {
	if t.leading > 0 && !t.in.Plain && t.takeRepeat(line) {
		return nil
	}
	if isBlank(line) || line[0] != ';' && isComment(line, t.delimiter) {
		return nil
	}
	row, whole, err := t.read(line, ended)
	if err == nil {
		err = t.takeRow(row)
	}
	if err != nil && isComment(line, t.delimiter) {
		return nil
	}
	return t.judge(row, whole, err)
}

// judge decides what an error in a row means.
func (t *table) judge(row []byte, ended bool, err error) error {
	if err == nil {
		return nil
	}
	var cell *badCell
	if errors.As(err, &cell) {
		err = t.place(row, cell.at, cell.err, cell.fix)
	}
	if !ended {
		t.ended = true
		t.cut("the last row, line %d, is not whole and was left out.", t.number)
		return nil
	}
	if !t.skipBad {
		return err
	}
	t.bad++
	if t.row > 0 && !t.blind {
		t.blind = true
		t.blindFrom(t.last)
	}
	return nil
}

// blindFrom makes all levels unknown.
func (t *table) blindFrom(at decode.Time) {
	for c := range t.channels {
		if t.edges.Level(c) != decode.Unknown {
			t.edges.Set(c, decode.Unknown, at)
		}
	}
	for _, a := range t.analog.Channels {
		a.Add(analog.Reading{At: at, Before: at, Place: t.weighed(at), Text: t.taken, Unknown: true})
	}
}

func (t *table) backwards(at int, stamp []byte) error {
	return &badCell{at, fmt.Errorf("time goes back to %s", quote(stamp)), "stamps in order"}
}

// takeRow reads the cells of a row.
func (t *table) takeRow(row []byte) error {
	if err := t.checkWidth(row); err != nil {
		return err
	}
	now, decimals, err := t.readStamp()
	if err != nil {
		return err
	}
	if err := t.checkCells(now); err != nil {
		return err
	}
	first := t.row == 0
	before := t.last
	if first {
		before = now
	}
	idle := t.setLevels(now, before) && !first && !t.blind
	t.last, t.blind = now, false
	if t.plan.long() && t.pace.rows > 0 && now == t.pace.last {
		// Rows of one instant are one sample.
		if !idle && t.pace.lastIdle {
			t.pace.lastIdle = false
			t.pace.idle--
		}
	} else {
		t.pace.add(now, decimals, idle)
	}
	t.row++
	t.keepTail(row)
	return nil
}

// checkWidth trims the cells of a row and tells whether there are as many as
// there are columns.
func (t *table) checkWidth(row []byte) error {
	width := len(t.plan.columns)
	for i := range t.cells {
		t.cells[i].text = bytes.TrimSpace(t.cells[i].text)
	}
	extra := width
	for extra < len(t.cells) && len(t.cells[extra].text) == 0 {
		extra++ // trailing delimiters
	}
	n := len(t.cells)
	if n >= width && extra >= n {
		return nil
	}
	at := len(row)
	if n > width {
		at = t.cells[width].at
	}
	return &badCell{at, fmt.Errorf("%s where the rows before have %d", cellCount(n), width), "the same number in each row"}
}

// keepTail keeps what the fast paths hold the next rows against.
func (t *table) keepTail(row []byte) {
	t.tail = t.tail[:0]
	if t.leading > 0 {
		if _, rest, ok := t.cutStamp(row); ok && bytes.IndexByte(row, '\n') < 0 {
			t.tail = append(t.tail, rest...)
		}
	}
}

func cellCount(n int) string {
	if n == 1 {
		return "1 cell"
	}
	return strconv.Itoa(n) + " cells"
}

// readStamp returns the instant of the row at hand.
func (t *table) readStamp() (now decode.Time, decimals int, err error) {
	p := t.plan
	if p.clock.kind == rowClock {
		now, decimals, err = p.clock.sample(t.row + t.bad)
		if err != nil {
			return 0, 0, &badCell{0, err, stampForms}
		}
		return now, decimals, nil
	}
	c := t.cells[p.timeAt]
	now, decimals, err = p.clock.read(c.text)
	if err != nil {
		return 0, 0, &badCell{c.at, err, stampForms}
	}
	if t.row > 0 && now < t.last {
		return 0, 0, t.backwards(c.at, c.text)
	}
	return now, decimals, nil
}

// checkCells reads every level of the row once, so that a damaged row changes
// nothing.
func (t *table) checkCells(now decode.Time) error {
	if t.plan.long() {
		return t.checkLong()
	}
	for i := range t.readers {
		r := &t.readers[i]
		c := t.cells[i]
		if r.channel < 0 && r.bits == nil {
			continue
		}
		if len(c.text) == 0 {
			if t.plan.sparse {
				continue
			}
			return &badCell{c.at, errors.New("an empty cell where a level should be"), "a level in each row"}
		}
		if err := r.check(c.text, t.plan.decimal); err != nil {
			fix := levelForms
			if r.kind == packedColumn {
				fix = "as many as in the rows before"
			}
			return &badCell{c.at, err, fix}
		}
	}
	return nil
}

// check tells what is wrong with a cell.
func (r *cellReader) check(text []byte, mark byte) error {
	switch r.kind {
	case levelColumn:
		if _, ok := r.word(text, mark); !ok {
			return fmt.Errorf("%s is not a level", quote(text))
		}
	case numberColumn:
		if _, _, ok := r.reading(text, mark); !ok {
			return fmt.Errorf("%s is not a level", quote(text))
		}
	case packedColumn:
		digits, _, _ := packedDigits(text)
		if len(digits) != r.size || r.base == 16 && !isHex(digits) || r.base == 2 && !isBits(digits) {
			return fmt.Errorf("%s is not %d digits of bits", quote(text), r.size)
		}
	}
	return nil
}

// word reads a level in words, or a number that is 0 or 1.
func (r *cellReader) word(text []byte, mark byte) (l decode.Level, ok bool) {
	if l, ok = wordLevel(text); ok {
		return l, true
	}
	if v, ok := exact.ScaledNumber(text, mark, 9); ok && (v == 0 || v == 1e9) {
		return decode.Low + decode.Level(v/1e9), true
	}
	return decode.Unknown, false
}

// reading reads volts, or another number, in nanounits; a word for an unknown
// level is no reading but in order.
func (r *cellReader) reading(text []byte, mark byte) (v int64, unknown, ok bool) {
	if m, d, ok := exact.QuickNumber(text, mark); ok && d <= r.shift {
		if v, ok := exact.Times(m, exact.PowersOfTen[r.shift-d]); ok && v > -analog.Most && v < analog.Most {
			return v, false, true
		}
		return 0, false, false
	}
	if v, ok := exact.ScaledNumber(text, mark, r.shift); ok {
		return v, false, v > -analog.Most && v < analog.Most
	}
	l, ok := wordLevel(text)
	return 0, true, ok && l == decode.Unknown
}

// setLevels takes the levels of the row into the edges and tells whether none
// changed.
func (t *table) setLevels(now, before decode.Time) (idle bool) {
	if t.plan.long() {
		return t.setLong(now)
	}
	idle = true
	for i := range t.readers {
		r := &t.readers[i]
		text := t.cells[i].text
		if len(text) == 0 || r.channel < 0 && r.bits == nil {
			continue
		}
		switch r.kind {
		case levelColumn:
			l, _ := r.word(text, t.plan.decimal)
			idle = idle && l == t.edges.Level(r.channel)
			t.edges.Set(r.channel, l, now)
		case numberColumn:
			idle = t.setReading(r, text, now, before) && idle
		case packedColumn:
			idle = t.setBits(r, text, now) && idle
		}
	}
	return idle
}

func (t *table) setReading(r *cellReader, text []byte, now, before decode.Time) (idle bool) {
	a := r.analog
	v, unknown, _ := r.reading(text, t.plan.decimal)
	idle = a.Same(v, unknown)
	a.Add(analog.Reading{At: now, Before: before, Place: t.weighed(now), Text: t.taken, Value: v, Unknown: unknown})
	return idle
}

// weighed is where a row stands in what readings are weighed by: samples count
// each, and what is written at changes holds until the next.
func (t *table) weighed(at decode.Time) int64 {
	if t.uneven {
		return int64(at)
	}
	return t.row
}

// setBits takes the bits of a cell, the lowest at its end.
func (t *table) setBits(r *cellReader, text []byte, now decode.Time) (idle bool) {
	digits, _, _ := packedDigits(text)
	idle = true
	per := len(r.bits) / r.size
	for bit, channel := range r.bits {
		if channel < 0 {
			continue
		}
		l := bitLevel(digits[len(digits)-1-bit/per], bit%per)
		idle = idle && l == t.edges.Level(channel)
		t.edges.Set(channel, l, now)
	}
	return idle
}

// bitLevel returns the level of one bit of a digit.
func bitLevel(digit byte, bit int) decode.Level {
	v := byte(0)
	switch {
	case digit >= '0' && digit <= '9':
		v = digit - '0'
	case digit >= 'a' && digit <= 'f':
		v = digit - 'a' + 10
	case digit >= 'A' && digit <= 'F':
		v = digit - 'A' + 10
	default: // x, z
		return decode.Unknown
	}
	return decode.Low + decode.Level(v>>bit&1)
}
