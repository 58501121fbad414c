package decode

import (
	"math"
	"math/bits"

	"golang.org/x/exp/slices"
)

// moments sums values and their squares exactly, in any order.
type moments struct {
	n        int64
	sum      int128
	square   int128
	min, max int64
}

// int128 is a signed sum in two's complement.
type int128 struct {
	hi int64
	lo uint64
}

func (a int128) plus(b int128) int128 {
	lo, carry := bits.Add64(a.lo, b.lo, 0)
	return int128{a.hi + b.hi + int64(carry), lo}
}

// size is the sum without its sign.
func (a int128) size() int128 {
	if a.hi >= 0 {
		return a
	}
	lo, borrow := bits.Sub64(0, a.lo, 0)
	return int128{-a.hi - int64(borrow), lo}
}

func widen(v int64) int128 { return int128{v >> 63, uint64(v)} }

func squared(v int64) int128 {
	u := uint64(max(v, -v))
	hi, lo := bits.Mul64(u, u)
	return int128{int64(hi), lo}
}

func (m *moments) add(v int64) {
	if m.n == 0 {
		m.min, m.max = v, v
	}
	m.n++
	m.min, m.max = min(m.min, v), max(m.max, v)
	m.sum = m.sum.plus(widen(v))
	m.square = m.square.plus(squared(v))
}

// addAll adds as add does. Nearly all values are under 4 ms and have squares of one
// word; where others are among them they are added one by one.
func (m *moments) addAll(some []Time) {
	if len(some) == 0 {
		return
	}
	var sum int64
	var square int128
	least, most := some[0], some[0]
	for _, v := range some {
		least, most = min(least, v), max(most, v)
		sum += int64(v)
		square = square.plus(int128{lo: uint64(v * v)})
	}
	const word = 1 << 32
	if least > -word && most < word {
		m.merge(moments{int64(len(some)), widen(sum), square, int64(least), int64(most)})
		return
	}
	for _, v := range some {
		m.add(int64(v))
	}
}

func (m *moments) merge(o moments) {
	switch {
	case o.n == 0:
		return
	case m.n == 0:
		*m = o
		return
	}
	m.n += o.n
	m.min, m.max = min(m.min, o.min), max(m.max, o.max)
	m.sum = m.sum.plus(o.sum)
	m.square = m.square.plus(o.square)
}

// mean returns the mean, NaN where there is nothing.
func (m *moments) mean() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	size := m.sum.size()
	return math.Copysign(wide{1: uint64(size.hi), 2: size.lo}.over(m.n), float64(m.sum.hi)+0.5)
}

// variance returns the mean squared deviation from the mean with n - 1, NaN
// under two values.
func (m *moments) variance() float64 {
	if m.n < 2 {
		return math.NaN()
	}
	return m.deviations().over(m.n, m.n-1)
}

// deviations returns the sum of the squared deviations from the mean, times n.
func (m *moments) deviations() wide {
	n := uint64(m.n)
	high, mid := bits.Mul64(uint64(m.square.hi), n)
	carried, low := bits.Mul64(m.square.lo, n)
	mid, carry := bits.Add64(mid, carried, 0)
	high += carry

	// the square of the sum is no more than that, and so has no more words
	size := m.sum.size()
	hi := uint64(size.hi)
	carried, sumLow := bits.Mul64(size.lo, size.lo)
	crossHigh, crossLow := bits.Mul64(hi, size.lo)
	sumHigh := hi*hi + crossHigh<<1 + crossLow>>63
	sumMid, carry := bits.Add64(carried, crossLow<<1, 0)
	sumHigh += carry

	low, borrow := bits.Sub64(low, sumLow, 0)
	mid, borrow = bits.Sub64(mid, sumMid, borrow)
	high, _ = bits.Sub64(high, sumHigh, borrow)
	return wide{high, mid, low}
}

// sd returns the standard deviation with n - 1, NaN under two values.
func (m *moments) sd() float64 { return math.Sqrt(m.variance()) }

// rms returns the root of the mean square, NaN where there is nothing.
func (m *moments) rms() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return math.Sqrt(wide{1: uint64(m.square.hi), 2: m.square.lo}.over(m.n))
}

// wide is a number of three words and two words of a fraction, highest first.
type wide [5]uint64

// over returns the float nearest to the number divided by each of some others. A
// fraction of 128 bits holds all that a float can of a quotient by two numbers
// of 32 bits.
func (x wide) over(divisors ...int64) float64 {
	left := uint64(0)
	for _, d := range divisors {
		rest := uint64(0)
		for i := range x {
			if rest|x[i] != 0 {
				x[i], rest = bits.Div64(rest, x[i], uint64(d))
			}
		}
		left |= rest
	}
	return x.float(left != 0)
}

// float rounds to the nearest float; more says that the number is a bit larger.
func (x wide) float(more bool) float64 {
	i := slices.IndexFunc(x[:], func(word uint64) bool { return word != 0 })
	if i < 0 {
		return 0
	}
	next, below := uint64(0), uint64(0)
	if i+1 < len(x) {
		next = x[i+1]
		for _, word := range x[i+2:] {
			below |= word
		}
	}
	shift := bits.LeadingZeros64(x[i])
	top := x[i]<<shift | next>>(64-shift)
	if more || below != 0 || next<<shift != 0 {
		top |= 1 // the float takes 53 of the 64 bits, and rounds by the others
	}
	return math.Ldexp(float64(top), 64*(2-i)-shift)
}
