package table

import (
	"encoding/binary"
	"math/bits"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/exact"
)

// A level is bit 0 of a byte. Eight words of a tail are a group, whose levels
// fit in one word: the lowest bits of its bytes are those of the first eight
// bytes, the next ones those of the next eight, and so on.
const tailGroup = 8

// groupBit is where the level at a byte of a tail stands in its group, and the
// groups before it.
func groupBit(at int) int { return at/64*64 + at%8*8 + at/8%tailGroup }

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
	levels  [][batchRows]uint64 // a word a group
	before  []uint64            // the levels of the last row of the batch before
	changed [batchRows]uint64   // what differs from the row before
}

const batchRows = 256

// stamp is how the stamps of a batch look.
type stamp struct {
	head   uint64      // the text before the last digits
	inHead uint64      // which bits of a word that is
	upTo   int         // the size of it
	digits int         // that follow, up to eight
	above  decode.Time // what the head says
}

func newBatch(s *shape, text []byte) *batch {
	size := len(text)
	groups := len(s.channel) / 64
	return &batch{shape: s, text: text[: size+ahead.Slack : size+ahead.Slack], end: size,
		levels: make([][batchRows]uint64, groups), before: make([]uint64, groups)}
}

// read reads the rows that begin at a place, and returns how many are as expected.
// Nothing of a row counts before all of it was checked.
func (b *batch) read(at int) (n int) {
	if !b.readHead(at) {
		return 0
	}
	n = b.readStamps(at)
	for k := range b.words {
		n = b.readLevels(k, at, n)
	}
	return n
}

// tailTo is the tail of a row that ends at a place.
func (b *batch) tailTo(end int) []byte { return b.text[end-len(b.tail) : end] }

// readHead tells how the rows look from one on: what its stamp has before its last
// digits is most often the same in those that follow.
func (b *batch) readHead(at int) (ok bool) {
	v, end := readDigits(b.text, at)
	whole := end - at
	b.digits = min(whole, 8)
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
		b.digits = min(b.decimals, 8)
	}
	b.size = end - at + len(b.tail)
	b.upTo = end - at - b.digits
	b.inHead = 1<<(8*b.upTo) - 1 // all of a word if it is no shorter
	b.head = load(b.text, at) & b.inHead
	next := uint64(exact.PowersOfTen[b.digits]) // after so many units comes another head
	b.above = decode.Time(v-v%next) * b.unit
	return v+next <= b.limit
}

// readStamps reads the stamps of the rows, as far as they have one head.
func (b *batch) readStamps(at int) (n int) {
	most := batchRows
	if b.upTo > 8 {
		most = 1 // the head has more than a word
	}
	text, s, unit := b.text, b.stamp, b.unit
	shift := 64 - 8*s.digits
	for ; n < most && at+b.size <= b.end; n++ {
		digits := (load(text, at+s.upTo) ^ zeros) << shift
		if load(text, at)&s.inHead != s.head || otherThanDigits(digits) != 0 {
			break
		}
		b.stamps[n] = s.above + decode.Time(eightDigits(digits))*unit
		at += b.size
	}
	return n
}

// readLevels reads eight bytes of the tails of the first n rows, up to a row of
// which something else than levels differs from the shape.
func (b *batch) readLevels(k, at, n int) int {
	levels, shift := b.levels[k/tailGroup][:n], k%tailGroup
	if shift == 0 {
		clear(levels)
	}
	text, size, w := b.text, b.size, b.words[k]
	at += size - len(b.tail) + 8*k
	for i := range levels {
		differs := load(text, at) ^ w.text
		if differs&w.fixed != 0 {
			return i
		}
		levels[i] |= differs & w.level << (shift & 63)
		at += size
	}
	return n
}

// begin takes the levels of the first row for those of the row before.
func (b *batch) begin() {
	for g := range b.levels {
		b.before[g] = b.levels[g][0]
	}
}

// changes books the edges of the first n rows, and returns for each row what
// changed in any group.
func (b *batch) changes(n int, edges [][]decode.Time) (changed []uint64) {
	clear(b.changed[:n])
	for g := range b.levels {
		channel := b.channel[64*g:]
		before := b.before[g]
		for i, now := range b.levels[g][:n] {
			bit := now ^ before
			before = now
			b.changed[i] |= bit
			for ; bit != 0; bit &= bit - 1 {
				c := channel[bits.TrailingZeros64(bit)]
				edges[c] = append(edges[c], b.stamps[i])
			}
		}
		b.before[g] = before
	}
	return b.changed[:n]
}

func load(text []byte, at int) uint64 { return binary.LittleEndian.Uint64(text[at:]) }

const (
	eachByte = 0x0101010101010101
	zeros    = '0' * eachByte
)

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
