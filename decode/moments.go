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

func (a *int128) add(b int128) {
	lo, carry := bits.Add64(a.lo, b.lo, 0)
	a.lo = lo
	a.hi += b.hi + int64(carry)
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
	m.sum.add(widen(v))
	m.square.add(squared(v))
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
	m.sum.add(o.sum)
	m.square.add(o.square)
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

// quantile returns the type 7 quantile of Hyndman and Fan (The American
// Statistician 50, 1996). It reorders v; NaN where v is empty.
func quantile[T ~int32 | ~uint32 | ~int64](v []T, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	h := p * float64(len(v)-1)
	i := int(h)
	if len(v) > many {
		v, i = gather(v, i)
	}
	lo := nth(v, i)
	if share := h - math.Floor(h); share > 0 && i+1 < len(v) {
		return float64(lo) + share*(float64(slices.Min(v[i+1:]))-float64(lo))
	}
	return float64(lo)
}

// many values are counted in bins before one is selected among those of its bin:
// no branch of that depends on a value that nobody can foresee.
const many = 1 << 12

// bins count values from lo on, 2^shift to a bin.
type bins struct {
	lo    int64
	shift int
	n     [many]int
}

func binsFor(lo, hi int64) bins {
	return bins{lo: lo, shift: max(0, bits.Len64(uint64(hi)-uint64(lo))-bits.Len(many-1))}
}

func (b *bins) of(v int64) uint64 { return (uint64(v) - uint64(b.lo)) >> b.shift }

// around returns the bins of the values of rank k and, unless it is the last, k + 1,
// and how many values come before those.
func (b *bins) around(k int) (from, to uint64, before int) {
	for ; before+b.n[from] <= k; from++ {
		before += b.n[from]
	}
	to = from
	for upTo := before + b.n[from]; upTo <= k+1 && to+1 < many; upTo += b.n[to] {
		to++
	}
	return from, to, before
}

// gather moves the values that share a bin with the two of rank k and k + 1 to the
// front, and returns them and the rank among them.
func gather[T ~int32 | ~uint32 | ~int64](v []T, k int) ([]T, int) {
	b := binsFor(int64(slices.Min(v)), int64(slices.Max(v)))
	for _, x := range v {
		b.n[b.of(int64(x))&(many-1)]++
	}
	from, to, before := b.around(k)
	n := 0
	for i, x := range v {
		if b.of(int64(x))-from <= to-from {
			v[i], v[n] = v[n], x
			n++
		}
	}
	return v[:n], k - before
}

// quantileOf is quantile over n values from lo to hi that each yields in any order,
// as often as it is called. It needs no room for them.
func quantileOf(each func(yield func(int64)), n, lo, hi int64, p float64) float64 {
	if n == 0 {
		return math.NaN()
	}
	h := p * float64(n-1)
	k := int(h)
	share := h - math.Floor(h)
	for {
		b := binsFor(lo, hi)
		each(func(v int64) {
			if v >= lo && v <= hi {
				b.n[b.of(v)&(many-1)]++
			}
		})
		from, to, before := b.around(k)
		k -= before
		held := 0
		for _, n := range b.n[from : to+1] {
			held += n
		}
		if b.shift == 0 {
			return float64(lo+int64(from)) + share*float64(to-from)
		}
		lo, hi = lo+int64(from)<<b.shift, min(hi, lo+int64(to+1)<<b.shift-1)
		if held <= many || from != to {
			return selected(each, lo, hi, held, k, share)
		}
	}
}

// selected goes a share of the way from the value of rank k of those from lo to hi
// to the next.
func selected(each func(yield func(int64)), lo, hi int64, held, k int, share float64) float64 {
	some := make([]int64, 0, held)
	each(func(v int64) {
		if v >= lo && v <= hi {
			some = append(some, v)
		}
	})
	a := nth(some, k)
	if share == 0 || k+1 == held {
		return float64(a)
	}
	return float64(a) + share*float64(slices.Min(some[k+1:])-a)
}

// nth moves the k smallest values of v in front of the one it returns.
func nth[T ~int32 | ~uint32 | ~int64](v []T, k int) T {
	lo, hi := 0, len(v)-1
	for hi-lo > few {
		pivot := median3(v[lo], v[(lo+hi)/2], v[hi])
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	for i := lo + 1; i <= hi; i++ {
		x, j := v[i], i
		for ; j > lo && v[j-1] > x; j-- {
			v[j] = v[j-1]
		}
		v[j] = x
	}
	return v[k]
}

// few values are put in order one by one.
const few = 12

func median3[T ~int32 | ~uint32 | ~int64](a, b, c T) T {
	return max(min(a, b), min(max(a, b), c))
}
