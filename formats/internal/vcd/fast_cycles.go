package vcd

import (
	"cmp"
	"encoding/binary"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// A line that toggles at a steady rate repeats its text after some edges, but
// for the upper digits of the time stamps: what comes next is known, and needs
// to be compared only. A cycle is taken as a guess from the edges before. If it
// is wrong nothing matches.

const (
	// The least and the most digits that are a row's own; the least are as many
	// as stand in its last eight bytes, before the change.
	leastOwn = 4
	mostOwn  = 8
	// A cycle of fewer rows is not worth comparing, and one of more leaves the
	// cache.
	leastRows = 8
	mostRows  = 4096
	// firstTry is after how many pairs of a stamp and a change a cycle is looked
	// for, and then after twice as many each time, up to lastTry.
	firstTry = 64
	lastTry  = 1 << 17
	rowSize  = 24 // the longest row
	// Between two tries to follow a cycle so many pairs are read at first, and
	// then twice as many each time, up to mostPairs.
	leastPairs = 8
	mostPairs  = 1024
)

// cycle is a line's edges over a power of ten of ticks. Each has a row of text: a
// time stamp and the change.
type cycle struct {
	rows   []row // none: not known
	ticks  uint64
	whole  decode.Time // the same in picoseconds
	to     int         // the channel
	change change

	// As of the text at hand.
	size   int           // of a row
	upper  [rowSize]byte // a row's text up to its own digits, at the end of the array
	lowest int           // where the last of the upper digits is in it
	masks  [2]uint64     // what of the first two thirds belongs to a row
	shared [2]uint64     // and is the same in all
}

// row is the end of a row's text: its own digits and the change, zeros before
// them.
type row struct {
	far, near uint64 // eight bytes each
	at        decode.Time
}

// tries say when a cycle is worth a try.
type tries struct {
	most  int64 // how many pairs are read until the cycle at hand is tried again
	pairs int64 // read so far
	next  int64 // at how many a cycle is looked for
}

// read takes in that so many pairs have been read, and tells whether to look
// for a cycle.
func (t *tries) read(pairs int64) bool {
	if pairs >= t.most {
		t.most = min(2*t.most, mostPairs)
	}
	if t.pairs += pairs; t.pairs < t.next {
		return false
	}
	t.next = t.pairs + min(t.pairs, lastTry)
	return true
}

// learn looks for the cycle of the channel with the most edges.
func (f *finder) learn() {
	busiest := 0
	for i := range f.out.trails {
		if len(f.out.trails[i].at) > len(f.out.trails[busiest].at) {
			busiest = i
		}
	}
	if len(f.out.trails) == 0 {
		return
	}
	w := &f.out.trails[busiest]
	if w.change.size == 0 {
		return // it never stands alone
	}
	for own := leastOwn; own <= mostOwn; own++ {
		ticks := uint64(exact.PowersOfTen[own])
		if ticks > uint64(decode.Second)/f.multiple {
			return
		}
		whole := decode.Time(ticks * f.multiple)
		rows := cycleRows(w.at, whole)
		if rows >= leastRows && rows%2 == 0 {
			f.cycle.rows = f.cycle.rows[:0]
			f.cycle = cycle{rows: f.rows(w, rows, own), ticks: ticks, whole: whole, to: busiest, change: w.change}
			return
		}
	}
}

// cycleRows returns how many of the edges before the last take so long, if
// those before them are the same; 0 if there is no such number.
func cycleRows(at []decode.Time, whole decode.Time) (rows int) {
	n := len(at)
	for rows = 1; rows <= mostRows; rows++ {
		switch {
		case 2*rows >= n || at[n-1]-at[n-1-rows] > whole:
			return 0
		case at[n-1]-at[n-1-rows] < whole:
			continue
		}
		for i := n - rows; i < n; i++ {
			if at[i]-at[i-rows] != whole {
				return 0
			}
		}
		return rows
	}
	return 0
}

// rows makes the rows of a cycle from the last edges of a channel.
func (f *finder) rows(w *trail, n, own int) []row {
	rows := f.cycle.rows
	level := w.level
	for i := len(w.at) - 1; len(rows) < n; i-- {
		var text [rowSize]byte
		end := rowSize - w.change.size
		line := binary.LittleEndian.AppendUint64(nil, w.change.text)
		copy(text[end:], line)
		text[end+w.change.value] = level
		tick := uint64(w.at[i])/f.multiple + f.origin
		low := tick % uint64(exact.PowersOfTen[own])
		for k := range own {
			text[end-1-k] = byte('0' + tick%10)
			tick /= 10
		}
		rows = append(rows, row{binary.LittleEndian.Uint64(text[8:]), binary.LittleEndian.Uint64(text[16:]), decode.Time(low * f.multiple)})
		level ^= 1
	}
	slices.SortFunc(rows, func(a, b row) int { return cmp.Compare(a.at, b.at) })
	return rows
}

// follow reads rows as long as they are those of the cycle, and returns where
// the line behind them begins.
func (f *finder) follow(text []byte, at int) (next int) {
	c := &f.cycle
	place, start, ok := f.join(text, at)
	if !ok {
		return at
	}
	w, from := &f.out.trails[c.to], at
	for uint64(f.second-start) >= uint64(c.whole) {
		n := c.match(text[at-rowSize:], c.rows[place:])
		w.rows(c.rows[place:place+n], start)
		at += n * c.size
		if place += n; place < len(c.rows) || !c.turn() {
			break
		}
		place, start = 0, start+c.whole
	}
	if stamps := (at - from) / c.size; stamps > 0 {
		w.level ^= byte(stamps & 1)
		end := at - c.change.size
		f.book(int64(stamps), end-(c.size-c.change.size-1), end, w.at[len(w.at)-1])
		f.tries.most = leastPairs
	}
	return at
}

// join finds the row of the cycle that text goes on with, and when its cycle
// began.
func (f *finder) join(text []byte, at int) (place int, start decode.Time, ok bool) {
	c := &f.cycle
	if len(c.rows) == 0 || at < rowSize || text[at] != '#' {
		return 0, 0, false
	}
	tick, end, ok := f.stamps.read(text, at+1)
	t, inside := f.time(tick)
	c.size = end - at + c.change.size
	next := at + c.size
	if !ok || !inside || uint64(t-f.now) >= uint64(f.second-f.now) || t > math.MaxInt64-2*decode.Second || next > len(text) || c.size > rowSize ||
		binary.LittleEndian.Uint64(text[end:])&c.change.mask != c.change.text {
		return 0, 0, false
	}
	low := decode.Time(tick % c.ticks * f.multiple)
	place, ok = slices.BinarySearchFunc(c.rows, low, func(r row, low decode.Time) int { return cmp.Compare(r.at, low) })
	if level := f.out.trails[c.to].level; !ok || level == 0 || level == text[end+c.change.value] ||
		binary.LittleEndian.Uint64(text[next-8:]) != c.rows[place].near {
		return 0, 0, false
	}
	return place, t - low, c.begin(text[at:end])
}

// begin takes the upper digits from a stamp; false if it has none.
func (c *cycle) begin(stamp []byte) bool {
	own := 0
	for n := c.ticks; n > 1; n /= 10 {
		own++
	}
	if len(stamp) < own+2 {
		return false
	}
	c.upper = [rowSize]byte{}
	copy(c.upper[rowSize-c.size:], stamp[:len(stamp)-own])
	c.lowest = rowSize - c.change.size - own - 1
	c.masks = [2]uint64{}
	for i := rowSize - c.size; i < 16; i++ {
		c.masks[i/8] |= 0xff << (8 * (i % 8))
	}
	c.share()
	return true
}

func (c *cycle) share() {
	c.shared = [2]uint64{binary.LittleEndian.Uint64(c.upper[:]), binary.LittleEndian.Uint64(c.upper[8:])}
}

// turn goes on to the next cycle; false where stamps get longer.
func (c *cycle) turn() bool {
	for k := c.lowest; c.upper[k] != '#'; k-- {
		if c.upper[k]++; c.upper[k] <= '9' {
			c.share()
			return true
		}
		c.upper[k] = '0'
	}
	return false
}

// match counts the rows that the text goes on with behind its first rowSize
// bytes.
func (c *cycle) match(text []byte, rows []row) int {
	size, head, inHead, far, inFar := c.size, c.shared[0], c.masks[0], c.shared[1], c.masks[1]
	at := size
	for i := range rows {
		r := &rows[i]
		if at+rowSize > len(text) {
			return i
		}
		t := (*[rowSize]byte)(text[at : at+rowSize])
		if binary.LittleEndian.Uint64(t[16:]) != r.near ||
			binary.LittleEndian.Uint64(t[8:])&inFar != r.far|far || binary.LittleEndian.Uint64(t[:])&inHead != head {
			return i
		}
		at += size
	}
	return len(rows)
}

// rows takes in the edges of rows of a cycle that began at start.
func (w *trail) rows(rows []row, start decode.Time) {
	edges := slices.Grow(w.at, len(rows))[:len(w.at)+len(rows)]
	fresh := edges[len(w.at):]
	for i := range rows {
		fresh[i] = start + rows[i].at
	}
	w.at = edges
}
