package vcd

import (
	"encoding/binary"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// Time stamps most often have as many digits as the one before, and the same in
// front of the last eight. Behind each stand changes of single bits, most often
// the one of a busy line.

// A line that goes up and down fewer times in a row is read like any others, for so
// many stamps.
const (
	fewToggles = 8
	fewStamps  = 256
)

// alike reads time stamps like the one before with the changes behind each, and
// returns where the line begins that it leaves to others.
func (f *finder) alike(text []byte, at int) (next int) {
	r := &f.stamps
	if r.digits == 0 || at < rowSize || r.base < f.origin || r.base-f.origin+99_999_999 > f.limit {
		return at
	}
	before := f.span.stamps
	for until := before + f.tries.most; f.span.stamps < until && text[at] == '#' && at+1+r.digits+8 <= len(text); {
		from, stamps := at, f.span.stamps
		if at = f.toggles(text, at); f.span.stamps < stamps+fewToggles {
			at = f.several(text, at, min(until-f.span.stamps, fewStamps))
		}
		if at == from {
			break
		}
	}
	if f.tries.read(f.span.stamps - before) {
		f.learn()
	}
	return at
}

// toggles reads pairs of a time stamp and the change of a channel that goes up and
// down.
func (f *finder) toggles(text []byte, at int) (next int) {
	r := &f.stamps
	end := at + 1 + r.digits
	line := binary.LittleEndian.Uint64(text[end:])
	c, to := f.change(line)
	if to == nil || c.level(line) == to.level {
		return at
	}
	flip := uint64(1) << (8 * c.value)
	mask, last := c.mask|flip, r.last
	line &= mask
	head, headMask := r.head<<(8*(16-r.digits)), r.headMask<<(8*(16-r.digits))
	known, size := len(to.at), 1+r.digits+c.size
	room := slices.Grow(to.at, mostPairs)[:known+mostPairs]
	fresh := room[known:]
	base, now, stamps := r.base-f.origin, f.now, 0
	for rest := text[end-16:]; len(rest) >= 24 && stamps < len(fresh); rest = rest[min(size, len(rest)):] {
		pair := (*[24]byte)(rest)
		word := (binary.LittleEndian.Uint64(pair[8:]) ^ exact.Zeros) & last
		if binary.LittleEndian.Uint64(pair[16:])&mask != line || binary.LittleEndian.Uint64(pair[:])&headMask != head || exact.OtherThanDigits(word) != 0 {
			break
		}
		t := decode.Time((base + exact.EightDigits(word)) * f.multiple)
		if uint64(t-now) >= uint64(f.second-now) { // it goes back, or a second has ended
			break
		}
		now = t
		fresh[stamps] = t
		stamps++
		line ^= flip
	}
	if stamps == 0 {
		return at
	}
	to.at, to.level = room[:known+stamps], c.level(line^flip)
	next = at + stamps*size
	f.book(int64(stamps), next-c.size-r.digits, next-c.size, now)
	return next
}

// book takes in time stamps with a change behind each, where the digits of the
// last one are, and its instant.
func (f *finder) book(stamps int64, from, to int, at decode.Time) {
	x := f.span
	x.stamps += stamps
	x.lines += 2 * stamps
	x.stamp, x.stated = [2]int{from, to}, false
	f.now = at
}

// several reads at most so many time stamps with any changes of single bits behind
// each. What else stands behind the last is left.
func (f *finder) several(text []byte, at int, most int64) (next int) {
	r, x, trails := f.stamps, f.span, f.out.trails
	base, now, second := r.base-f.origin, f.now, f.second
	stamps, lines := int64(0), int64(0)
	for stamps < most {
		end := at + 1 + r.digits
		if end+8 > len(text) || text[at] != '#' {
			break
		}
		word := (binary.LittleEndian.Uint64(text[end-8:]) ^ exact.Zeros) & r.last
		if binary.LittleEndian.Uint64(text[at+1:])&r.headMask != r.head || exact.OtherThanDigits(word) != 0 {
			break
		}
		t := decode.Time((base + exact.EightDigits(word)) * f.multiple)
		line := lineEnd(text, end)
		if line < 0 || uint64(t-now) >= uint64(second-now) {
			break
		}
		now = t
		stamps++
		x.stamp = [2]int{at + 1, end}
		for at = line; at+8 <= len(text); lines++ {
			word := binary.LittleEndian.Uint64(text[at:])
			channel, size := f.one[byte(word>>8)], 3
			if word&0xff00fe != '\n'<<16|'0' { // most often it is
				channel, size = f.bit(word)
			}
			if channel == surprise {
				break
			}
			if channel >= 0 {
				trails[channel].set(byte(word), t)
			}
			at += size
		}
		x.stated = at == line
	}
	f.now = now
	x.stamps += stamps
	x.lines += stamps + lines
	return at
}

// bit makes out the change of a bit that eight bytes begin with, and how long its
// line is; a surprise where that needs another look.
func (f *finder) bit(word uint64) (channel int16, size int) {
	switch {
	case word&0xfe != '0':
		return surprise, 0
	case byte(word>>16) == '\n':
		return f.one[byte(word>>8)], 3
	case uint16(word>>16) == '\r'|'\n'<<8:
		return f.one[byte(word>>8)], 4
	}
	var text [8 + 1]byte // a zero behind it
	binary.LittleEndian.PutUint64(text[:], word)
	end := 2
	for text[end] > ' ' {
		end++
	}
	if size = lineEnd(text[:], end); size < 0 {
		return surprise, 0
	}
	return f.meaning(text[1:end]).channel, size
}

// change is how the change of a channel between two time stamps looks in the
// eight bytes behind the first: "\n0!\n#", but for the last bit of the value.
type change struct {
	text, mask uint64
	size       int // of it, up to the #
	value      int // where the value is
}

func (c *change) level(line uint64) byte { return byte(line >> (8 * c.value)) }

// change makes out the only change between two time stamps, and whose it is; nil
// where that needs another look.
func (f *finder) change(line uint64) (change, *trail) {
	c := change{value: 1}
	if byte(line) == '\r' {
		c.value = 2
	}
	channel, size := f.bit(line >> (8 * c.value))
	c.size = c.value + size
	if channel == surprise || c.size > 7 || byte(line>>(8*c.value-8)) != '\n' || byte(line>>(8*c.size)) != '#' {
		return change{}, nil
	}
	c.mask = (^uint64(0) >> (8 * (7 - c.size))) &^ (1 << (8 * c.value))
	c.text = line & c.mask
	if channel == ignored {
		f.idle = trail{at: f.idle.at[:0]}
		return c, &f.idle
	}
	w := &f.out.trails[channel]
	if w.level == 0 {
		w.opens = levels[c.level(line)]
	}
	w.change = c
	return c, w
}

// stampReader reads the digits of time stamps, of which most have as many as
// the one before and the same in front of the last eight.
type stampReader struct {
	digits   int
	last     uint64 // which bytes of the last eight are digits of it
	head     uint64 // the digits before them as text
	headMask uint64
	base     uint64 // and as a number
}

// read returns the number at a place in the text and where it ends.
func (r *stampReader) read(text []byte, at int) (v uint64, end int, ok bool) {
	end = at + r.digits
	if r.digits > 0 && end >= 8 && end < len(text) && text[end]-'0' > 9 {
		word := (binary.LittleEndian.Uint64(text[end-8:]) ^ exact.Zeros) & r.last
		if exact.OtherThanDigits(word) == 0 && binary.LittleEndian.Uint64(text[at:])&r.headMask == r.head {
			return r.base + exact.EightDigits(word), end, true
		}
	}
	return r.learn(text, at)
}

// learn reads a number digit by digit, and how to read those like it.
func (r *stampReader) learn(text []byte, at int) (v uint64, end int, ok bool) {
	for end = at; text[end]-'0' <= 9; end++ {
		v = v*10 + uint64(text[end]-'0')
	}
	n := end - at
	if n == 0 || n > 16 {
		r.digits = 0
		return 0, end, false
	}
	*r = stampReader{digits: n, last: ^uint64(0)}
	switch {
	case n < 8:
		r.last <<= 64 - 8*n
	case n > 8:
		r.headMask = 1<<(8*(n-8)) - 1
		r.head = binary.LittleEndian.Uint64(text[at:]) & r.headMask
		r.base = v - v%uint64(exact.PowersOfTen[8])
	}
	return v, end, true
}
