package exact

// Eight digits at a time: a word of eight bytes of text, the first of them lowest,
// with Zeros taken off by an exclusive or, holds a digit's value in each byte.
const (
	EachByte = 0x0101010101010101
	Zeros    = '0' * EachByte
)

// OtherThanDigits has the highest bit of the first byte of w that is above 9,
// and none below it.
func OtherThanDigits(w uint64) uint64 { return (w + 0x76*EachByte | w) & (0x80 * EachByte) }

// EightDigits is the number that eight bytes of 0 to 9 make, the first being the
// highest digit: by pairs, by fours, by eights.
func EightDigits(w uint64) uint64 {
	w = w * (10<<8 + 1) >> 8 & 0x00FF00FF00FF00FF
	w = w * (100<<16 + 1) >> 16 & 0x0000FFFF0000FFFF
	return w * (10000<<32 + 1) >> 32
}
