package table

import (
	"bytes"
	"cmp"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// pageText is the least text worth comparing at once.
const pageText = 512

// cycle is how the stamps of a sampled table go on: after every len(low) rows
// their last digits are those of a cycle before, and the number above these has
// grown by one; before zero it has shrunk by one.
type cycle struct {
	decimals int     // of a stamp
	whole    int64   // a cycle in units of the last digit: a power of ten
	digits   int     // of it
	low      []int64 // the last digits of each row
	before   []int64 // the same before zero
}

// findCycle looks for the smallest cycle that is worth comparing in rows that
// follow each other in text; nil where there is none.
func findCycle(text []byte, delimiter, mark byte) *cycle {
	stamps, decimals, line := readStamps(text, delimiter, mark)
	c := &cycle{decimals: decimals}
	for c.digits = 0; c.digits <= 6; c.digits++ {
		c.whole = exact.PowersOfTen[c.digits]
		rows, ok := cycleRows(stamps, c.whole)
		if !ok || rows*line < pageText && 30*rows < len(stamps) {
			continue // or the page is too short, and ten of it can be seen
		}
		if 3*rows > len(stamps) || !repeats(stamps, rows, c.whole) {
			return nil
		}
		for _, stamp := range stamps[:rows] {
			c.low = append(c.low, floorMod(stamp, c.whole))
			c.before = append(c.before, floorMod(-stamp, c.whole))
		}
		slices.Sort(c.low)
		slices.SortFunc(c.before, func(a, b int64) int { return cmp.Compare(b, a) })
		return c
	}
	return nil
}

// floorMod is what is left of a over b, not negative.
func floorMod(a, b int64) int64 { return (a%b + b) % b }

// readStamps reads the stamps at the head of text, in units of their last
// digit, while they have equally many decimals.
func readStamps(text []byte, delimiter, mark byte) (stamps []int64, decimals, line int) {
	for len(stamps) < 4096 {
		size := bytes.IndexByte(text, '\n') + 1
		width := bytes.IndexByte(text[:size], delimiter)
		if width <= 0 {
			break
		}
		v, d, ok := exact.QuickNumber(text[:width], mark)
		if !ok || len(stamps) > 0 && d != decimals {
			break
		}
		stamps, decimals, line = append(stamps, v), d, size
		text = text[size:]
	}
	return stamps, decimals, line
}

// cycleRows counts the rows up to the one that lies a whole cycle behind the
// first.
func cycleRows(stamps []int64, whole int64) (rows int, ok bool) {
	for i, s := range stamps {
		if i > 0 && s-stamps[0] >= whole {
			return i, s-stamps[0] == whole
		}
	}
	return 0, false
}

// repeats tells whether every stamp lies a whole cycle behind the one that many
// rows before.
func repeats(stamps []int64, rows int, whole int64) bool {
	for i := rows; i < len(stamps); i++ {
		if stamps[i]-stamps[i-rows] != whole {
			return false
		}
	}
	return true
}

// even tells whether all steps of the cycle are usual ones.
func (c *cycle) even(p *pace, shift int) bool {
	unit := exact.PowersOfTen[shift-c.decimals]
	for i, u := range c.low {
		next := c.low[0] + c.whole
		if i+1 < len(c.low) {
			next = c.low[i+1]
		}
		step, ok := exact.Times(next-u, unit)
		if !ok || next <= u || uint64(decode.Time(step)-p.low) > uint64(p.slack) {
			return false
		}
	}
	return true
}

// finder finds the strides of pieces. Each worker has its own.
type finder struct {
	*cycle
	delimiter, mark byte

	page  []byte // a cycle of rows as they are expected
	sign  int    // bytes of the sign: 1 before zero
	line  int    // size of a row
	width int    // of its stamp
	point int    // where in it the mark is, -1 for none
}

// giveUp is after how many strides of less than worthRows rows on average a
// piece is left to the plain reader.
const (
	giveUp    = 200
	worthRows = 8
)

// find appends the strides of a text that begins with a line, up to where they
// are not worth looking for.
func (f *finder) find(text []byte, all []stride) (strides []stride, worth bool) {
	tries, rows := 0, 0
	for at := 0; at < len(text); {
		size := bytes.IndexByte(text[at:], '\n') + 1
		if size == 0 {
			break
		}
		from := at
		at += size
		for place := f.expect(text[from:at]); place >= 0; {
			at, place = f.follow(text, at, place+1)
			all = append(all, stride{from, at, f.line})
			if rows += (at - from) / f.line; tries > giveUp && rows < worthRows*tries {
				return all, false
			}
			tries++
			if place < 0 || !f.retail(text[at:], place) {
				break
			}
			from = at
			at += f.line
		}
	}
	return all, true
}

// expect makes the page for the cycle that a row belongs to, with the row's
// tail, and returns the row's place in it, -1 if it has none.
func (f *finder) expect(row []byte) (place int) {
	f.width, f.line = bytes.IndexByte(row, f.delimiter), len(row)
	if f.width <= f.digits+1 {
		return -1
	}
	v, d, ok := exact.QuickNumber(row[:f.width], f.mark)
	if !ok || d != f.decimals {
		return -1
	}
	f.point, f.sign = -1, 0
	lows := f.low
	if v < 0 {
		v, f.sign, lows = -v, 1, f.before
	}
	if d > 0 {
		f.point = f.width - d - 1
	}
	f.page = f.page[:0]
	place = -1
	for i, low := range lows {
		u := v - v%f.whole + low
		if u == v {
			place = i
		}
		f.page = append(f.page, row...)
		stamp := f.page[i*f.line:][:f.width]
		for k := f.width - 1; k >= f.sign; k-- {
			if k != f.point {
				stamp[k] = byte('0' + u%10)
				u /= 10
			}
		}
	}
	return place
}

// follow compares the rows of text from at on with those expected from place
// on. It returns where the first other row begins and its place, -1 where
// stamps get longer.
func (f *finder) follow(text []byte, at, place int) (end, next int) {
	for {
		if place == len(f.low) {
			if !f.turn() {
				return at, -1
			}
			place = 0
		}
		n := f.same(text[at:], place)
		at += n * f.line
		if place += n; place < len(f.low) {
			return at, place
		}
	}
}

// same counts the rows that text begins with as the page has them from place on.
func (f *finder) same(text []byte, place int) int {
	page := f.page[place*f.line:]
	if len(text) >= len(page) && string(text[:len(page)]) == string(page) {
		return len(f.low) - place
	}
	n := 0
	for at := 0; at+f.line <= min(len(text), len(page)) && string(text[at:at+f.line]) == string(page[at:at+f.line]); at += f.line {
		n++
	}
	return n
}

// turn makes the page that of the next cycle; false where stamps get longer, or
// reach zero.
func (f *finder) turn() bool {
	up, over, from := byte(1), byte('9'+1), byte('0')
	if f.sign > 0 {
		up, over, from = 0xff, '0'-1, '9'
	}
	k := f.width - 1 - f.digits
	if f.point >= 0 && k <= f.point {
		k--
	}
	for ; k >= f.sign; k-- {
		if k == f.point {
			continue
		}
		c := f.page[k] + up
		carry := c == over
		if carry {
			c = from
		}
		f.put(k, c)
		if !carry {
			return true
		}
	}
	return false
}

// put writes a byte into every row of the page.
func (f *finder) put(at int, c byte) {
	page, line := f.page, f.line
	for ; at+3*line < len(page); at += 4 * line {
		page[at], page[at+line], page[at+2*line], page[at+3*line] = c, c, c, c
	}
	for ; at < len(page); at += line {
		page[at] = c
	}
}

// retail gives the page the tail of the row that text begins with, if that has
// the stamp expected at place and is as long as the others.
func (f *finder) retail(text []byte, place int) bool {
	if len(text) < f.line {
		return false
	}
	row, stamp := text[:f.line], f.page[place*f.line:][:f.width+1]
	if string(row[:f.width+1]) != string(stamp) || bytes.IndexByte(row, '\n') != f.line-1 {
		return false
	}
	for at := f.width; at < f.line; at++ {
		if c := row[at]; c != f.page[at] {
			f.put(at, c)
		}
	}
	return true
}
