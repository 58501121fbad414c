package exact

import (
	"math"
	"math/bits"
)

// Number is a decimal number as written, before it is scaled.
type Number struct {
	negative bool
	digits   [40]byte // significant ones, without leading zeros
	n        int
	sticky   bool // a digit other than 0 was left out after them
	point    int  // how many of the digits stand before the decimal mark
	Decimals int  // places behind the mark, less the exponent
}

// ReadNumber reads text as a decimal number with the given decimal mark: a
// sign, digits, a mark, digits, an exponent.
func ReadNumber(text []byte, mark byte) (x Number, ok bool) {
	i := 0
	if i < len(text) && (text[i] == '-' || text[i] == '+') {
		x.negative = text[i] == '-'
		i++
	}
	seen, behind := false, false
	for ; i < len(text); i++ {
		c := text[i]
		switch {
		case c >= '0' && c <= '9':
			seen = true
			if behind {
				x.Decimals++
			}
			x.add(c, behind)
			continue
		case c == mark && !behind:
			behind = true
			continue
		}
		break
	}
	if !seen || behind && mark == ',' && x.Decimals == 0 {
		return x, false
	}
	if i == len(text) {
		return x, true
	}
	exponent, ok := readExponent(text[i:])
	x.point += exponent
	x.Decimals -= exponent
	return x, ok
}

// add takes in one more digit.
func (x *Number) add(c byte, behind bool) {
	switch {
	case x.n == 0 && c == '0': // a leading zero
		if behind {
			x.point--
		}
		return
	case x.n < len(x.digits):
		x.digits[x.n] = c - '0'
		x.n++
	default:
		x.sticky = x.sticky || c != '0'
	}
	if !behind {
		x.point++
	}
}

func readExponent(text []byte) (exponent int, ok bool) {
	if len(text) < 2 || text[0] != 'e' && text[0] != 'E' {
		return 0, false
	}
	text = text[1:]
	negative := text[0] == '-'
	if negative || text[0] == '+' {
		text = text[1:]
	}
	for _, c := range text {
		if c < '0' || c > '9' {
			return 0, false
		}
		exponent = min(exponent*10+int(c-'0'), 100000)
	}
	if negative {
		exponent = -exponent
	}
	return exponent, len(text) > 0
}

// IsZero tells whether every digit is 0.
func (x *Number) IsZero() bool { return x.n == 0 }

// Wide is a signed integer of 128 bits, two's complement.
type Wide struct{ Hi, Lo uint64 }

// Plus returns a + b.
func (a Wide) Plus(b Wide) Wide {
	lo, carry := bits.Add64(a.Lo, b.Lo, 0)
	return Wide{a.Hi + b.Hi + carry, lo}
}

// Minus returns a - b.
func (a Wide) Minus(b Wide) Wide {
	lo, borrow := bits.Sub64(a.Lo, b.Lo, 0)
	hi, _ := bits.Sub64(a.Hi, b.Hi, borrow)
	return Wide{hi, lo}
}

// Product returns a times b.
func Product(a int64, b uint64) Wide {
	hi, lo := bits.Mul64(uint64(a), b)
	if a < 0 {
		hi -= b
	}
	return Wide{hi, lo}
}

// Narrow returns a as 64 bits if it fits.
func (a Wide) Narrow() (int64, bool) {
	return int64(a.Lo), a.Hi == uint64(int64(a.Lo)>>63)
}

// Scaled returns x times 10^shift, rounded half-even to an integer; not ok if
// it has more than 37 digits.
func (x *Number) Scaled(shift int) (v Wide, ok bool) {
	whole := x.point + shift
	if x.n == 0 || whole < 0 {
		return Wide{}, true
	}
	if whole > 37 {
		return Wide{}, false
	}
	for i := range whole {
		d := byte(0)
		if i < x.n {
			d = x.digits[i]
		}
		v = v.shifted(d)
	}
	if whole < x.n && x.roundsUp(whole, v.Lo&1 == 1) {
		lo, carry := bits.Add64(v.Lo, 1, 0)
		v = Wide{v.Hi + carry, lo}
	}
	if x.negative {
		v = Wide{}.Minus(v)
	}
	return v, true
}

// shifted returns a times 10 plus d.
func (a Wide) shifted(d byte) Wide {
	hi, lo := bits.Mul64(a.Lo, 10)
	lo, carry := bits.Add64(lo, uint64(d), 0)
	return Wide{a.Hi*10 + hi + carry, lo}
}

// roundsUp tells how the digits from the i-th on round the integer before
// them, half to even.
func (x *Number) roundsUp(i int, odd bool) bool {
	if x.digits[i] != 5 {
		return x.digits[i] > 5
	}
	for _, d := range x.digits[i+1 : x.n] {
		if d != 0 {
			return true
		}
	}
	return x.sticky || odd
}

// ScaledNumber reads text and returns it times 10^shift.
func ScaledNumber(text []byte, mark byte, shift int) (v int64, ok bool) {
	x, ok := ReadNumber(text, mark)
	if !ok {
		return 0, false
	}
	return x.Int64(shift)
}

// Int64 is Scaled where 64 bits hold it.
func (x *Number) Int64(shift int) (v int64, ok bool) {
	w, ok := x.Scaled(shift)
	if !ok {
		return 0, false
	}
	return w.Narrow()
}

var PowersOfTen = func() (p [19]int64) {
	p[0] = 1
	for i := 1; i < len(p); i++ {
		p[i] = p[i-1] * 10
	}
	return p
}()

// QuickNumber reads the usual case, up to 18 digits and a mark, as fast as
// plain code can.
func QuickNumber(text []byte, mark byte) (mantissa int64, decimals int, ok bool) {
	if len(text) == 0 || len(text) > 19 {
		return 0, 0, false
	}
	negative := text[0] == '-'
	if negative {
		text = text[1:]
	}
	point := -1
	for i, c := range text {
		if d := c - '0'; d <= 9 {
			mantissa = mantissa*10 + int64(d)
			continue
		}
		if c != mark || point >= 0 || mark == ',' && i+1 == len(text) {
			return 0, 0, false
		}
		point = i
	}
	digits := len(text)
	if point >= 0 {
		digits--
		decimals = len(text) - point - 1
	}
	if digits == 0 || digits > 18 {
		return 0, 0, false
	}
	if negative {
		mantissa = -mantissa
	}
	return mantissa, decimals, true
}

// Times returns a times b unless that leaves 64 bits; b is positive.
func Times(a, b int64) (int64, bool) {
	hi, lo := bits.Mul64(uint64(max(a, -a)), uint64(b))
	return a * b, hi == 0 && lo <= math.MaxInt64
}

// Ratio returns n times p over q, rounded half-even; p and q are positive.
func Ratio(n int64, p, q uint64) (int64, bool) {
	negative, u := n < 0, uint64(n)
	if negative {
		u = -u
	}
	hi, lo := bits.Mul64(u, p)
	if hi >= q {
		return 0, false
	}
	v, rest := bits.Div64(hi, lo, q)
	if half := q - rest; rest > half || rest == half && v&1 == 1 {
		v++
	}
	if v > math.MaxInt64 {
		return 0, false
	}
	if negative {
		return -int64(v), true
	}
	return int64(v), true
}
