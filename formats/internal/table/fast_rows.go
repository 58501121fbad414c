package table

import (
	"encoding/binary"
	"math/bits"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/exact"
)

// stripe is three words of eight bytes of a tail, every level 0. A level is bit 0 of a
// byte, so that those of all three fit in one word: the lowest bits of its bytes are
// those of the first eight bytes, the next ones those of the next eight, and so on.
type stripe struct {
	text, within [3]uint64 // what belongs to the tail
	levels       uint64    // which bits of that word are
}

const stripeSize = 24

// levelBit is where the level at a byte of a tail stands in the words of the stripes.
func levelBit(at int) int { return at/stripeSize*64 + at%8*8 + at%stripeSize/8 }

// stripesOf parts a tail.
func stripesOf(tail []byte) []stripe {
	all := make([]stripe, (len(tail)+stripeSize-1)/stripeSize)
	for at, c := range tail {
		x, word, shift := &all[at/stripeSize], at%stripeSize/8, at%8*8
		x.text[word] |= uint64(c) << shift
		x.within[word] |= 0xff << shift
	}
	return all
}

// addLevel makes a level of the byte at a place in the tail.
func (s *stripe) addLevel(at int) {
	s.levels |= 1 << (levelBit(at) % 64)
	s.text[at%stripeSize/8] &^= 1 << (at % 8 * 8)
}

// batch reads rows of one size, whose stamps differ in their last digits only. It
// goes over them several times, each time for one thing, so that all that takes
// stays in registers.
type batch struct {
	*shape
	text []byte // with slack behind it
	end  int    // of the text
	size int    // of a row
	stamp
	stamps  [batchRows]decode.Time
	levels  [][batchRows]uint64 // a word a stripe
	before  []uint64            // the levels of the last row of the batch before
	changed [batchRows]uint64   // what differs from the row before
}

const batchRows = 256

// stamp is how the stamps of a batch look. Their last digits, up to eight, end the
// second of two words; what they have before these, their head, is in both.
type stamp struct {
	length          int
	first, second   uint64      // the text of the words, last digits 0
	inFirst, within uint64      // which bits of them belong to the stamp
	same, six       uint64      // of the second: what no digit alters, a 6 for each digit
	above           decode.Time // what the head says
}

func newBatch(s *shape, text []byte) *batch {
	size := len(text)
	return &batch{shape: s, text: text[: size+ahead.Slack : size+ahead.Slack], end: size,
		levels: make([][batchRows]uint64, len(s.stripes)), before: make([]uint64, len(s.stripes))}
}

// read reads the rows that begin at a place, and returns how many are as expected.
// Nothing of a row counts before all of it was checked.
func (b *batch) read(at int) (n int) {
	if !b.readHead(at) {
		return 0
	}
	n = b.readStamps(at)
	for k := range b.stripes {
		n = b.readLevels(k, at, n)
	}
	return n
}

// tailTo is the tail of a row that ends at a place.
func (b *batch) tailTo(end int) []byte { return b.text[end-len(b.tail) : end] }

// readHead reads the stamp of a row: what it has before its last digits is most often
// the same in the rows that follow.
func (b *batch) readHead(at int) (ok bool) {
	v, end := readDigits(b.text, at)
	whole := end - at
	digits := min(whole, 8)
	if whole == 0 || whole+b.decimals > 18 {
		return false
	}
	if b.decimals > 0 {
		if b.text[end] != b.mark {
			return false
		}
		var behind uint64
		mark := end
		behind, end = readDigits(b.text, mark+1)
		if end-mark-1 != b.decimals {
			return false
		}
		v = v*uint64(exact.PowersOfTen[b.decimals]) + behind
		digits = min(b.decimals, 8)
	}
	b.size = end - at + len(b.tail)
	b.stamps[0] = decode.Time(v) * b.unit
	next := uint64(exact.PowersOfTen[digits]) // after so many units comes another head
	b.stamp = newStamp(b.text[at:end], digits)
	b.above = decode.Time(v-v%next) * b.unit
	return v+next <= b.limit
}

func newStamp(text []byte, digits int) (s stamp) {
	const all = 1<<64 - 1
	s.length = len(text)
	var words [16]byte
	n := copy(words[16-min(16, s.length):], text[max(0, s.length-16):])
	inDigits := uint64(all) << (64 - 8*digits)
	s.inFirst, s.within = all<<(8*(16-n)), all<<(8*max(0, 8-n))
	s.first, s.second = load(words[:], 0), load(words[:], 8)&^inDigits|exact.Zeros&inDigits
	s.same, s.six = s.within&^(0x0F*exact.EachByte&inDigits), 6*exact.EachByte&inDigits
	return s
}

// readStamps reads the stamps of the rows, as far as they have one head. A digit has
// 0011 in its upper half, also when 6 is added to what is in the lower.
func (b *batch) readStamps(at int) (n int) {
	most := min(batchRows, (b.end-at)/b.size)
	at += b.size + b.length - 16 // where the words of the second row begin
	if most <= 1 || b.length > 16 || at < 0 {
		return min(most, 1)
	}
	text, size, s, unit := b.text, b.size, b.stamp, b.unit
	stamps := b.stamps[1:most]
	for i := range stamps {
		words := text[at : at+16 : at+16]
		head := (load(words, 0) ^ s.first) & s.inFirst
		digits := load(words, 8) ^ s.second
		if (digits+s.six|digits)&s.same|head != 0 {
			return i + 1
		}
		stamps[i] = s.above + decode.Time(exact.EightDigits(digits&s.within))*unit
		at += size
	}
	return most
}

// readLevels reads a stripe of the tails of the first n rows, up to a row of which
// something else than levels differs from the shape.
func (b *batch) readLevels(k, at, n int) int {
	text, size, s := b.text, b.size, &b.stripes[k]
	expected, within, others := s.text, s.within, ^s.levels
	at += size - len(b.tail) + stripeSize*k
	levels := b.levels[k][:n]
	for i := range levels {
		words := text[at : at+stripeSize : at+stripeSize]
		one := load(words, 0)&within[0] ^ expected[0]
		two := load(words, 8)&within[1] ^ expected[1]
		three := load(words, 16)&within[2] ^ expected[2]
		all := one + 2*two + 4*three
		if (one|two|three)&^exact.EachByte|all&others != 0 {
			return i
		}
		levels[i] = all
		at += size
	}
	return n
}

// begin takes the levels of the first row for those of the row before.
func (b *batch) begin() {
	for k := range b.levels {
		b.before[k] = b.levels[k][0]
	}
}

// changes books the edges of the first n rows, and returns for each row what
// changed in any stripe.
func (b *batch) changes(n int, edges [][]decode.Time) (changed []uint64) {
	changed = b.changed[:n]
	clear(changed)
	for k := range b.levels {
		lists := (*[64][]decode.Time)(edges[64*k:])
		before := b.before[k]
		for i, now := range b.levels[k][:n] {
			bit := now ^ before
			before = now
			changed[i] |= bit
			for ; bit != 0; bit &= bit - 1 {
				list := &lists[bits.TrailingZeros64(bit)&63]
				*list = append(*list, b.stamps[i])
			}
		}
		b.before[k] = before
	}
	return changed
}

func load(text []byte, at int) uint64 { return binary.LittleEndian.Uint64(text[at : at+8 : at+8]) }

// readDigits reads digits, eight at a time, and returns what follows them.
func readDigits(text []byte, at int) (v uint64, end int) {
	for {
		w := load(text, at) ^ exact.Zeros
		n := uint(bits.TrailingZeros64(exact.OtherThanDigits(w))) / 8
		v = v*uint64(exact.PowersOfTen[n]) + exact.EightDigits(w<<(64-8*n)) // no digit at all leaves zero
		if at += int(n); n < 8 {
			return v, at
		}
	}
}
