package decode

import (
	"math"
	"math/big"
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

func (a int128) big() *big.Int {
	v := new(big.Int).Lsh(big.NewInt(a.hi), 64)
	return v.Add(v, new(big.Int).SetUint64(a.lo))
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
	f, _ := new(big.Rat).SetFrac(m.sum.big(), big.NewInt(m.n)).Float64()
	return f
}

// squares returns the exact sum of squared deviations from the mean, times n.
func (m *moments) squares() *big.Int {
	s := new(big.Int).Mul(m.square.big(), big.NewInt(m.n))
	sum := m.sum.big()
	return s.Sub(s, sum.Mul(sum, sum))
}

// sd returns the standard deviation with n - 1, NaN under two values.
func (m *moments) sd() float64 {
	if m.n < 2 {
		return math.NaN()
	}
	f, _ := new(big.Rat).SetFrac(m.squares(), new(big.Int).Mul(big.NewInt(m.n), big.NewInt(m.n-1))).Float64()
	return math.Sqrt(f)
}

// rms returns the root of the mean square, NaN where there is nothing.
func (m *moments) rms() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	f, _ := new(big.Rat).SetFrac(m.square.big(), big.NewInt(m.n)).Float64()
	return math.Sqrt(f)
}

// quantile returns the type 7 quantile of Hyndman and Fan (The American
// Statistician 50, 1996). It reorders v; NaN where v is empty.
func quantile[T ~int32 | ~uint32 | ~int64](v []T, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	h := p * float64(len(v)-1)
	i := int(h)
	lo := nth(v, i)
	if i+1 == len(v) || h == float64(i) {
		return float64(lo)
	}
	return float64(lo) + (h-float64(i))*(float64(slices.Min(v[i+1:]))-float64(lo))
}

// quantileOf is quantile over n values from lo to hi that each yields in any
// order, as often as it is called. It needs no room for them.
func quantileOf(each func(yield func(int64)), n, lo, hi int64, p float64) float64 {
	if n == 0 {
		return math.NaN()
	}
	h := p * float64(n-1)
	i := int64(h)
	a := ranked(each, lo, hi, i)
	if i+1 == n || h == float64(i) {
		return float64(a)
	}
	return float64(a) + (h-float64(i))*float64(ranked(each, a, hi, i+1)-a)
}

// ranked returns the value with k smaller or equal ones before it.
func ranked(each func(yield func(int64)), lo, hi, k int64) int64 {
	var bins [1 << 12]int64
	for lo < hi {
		width := (hi-lo)>>12 + 1
		below := int64(0)
		clear(bins[:])
		each(func(v int64) {
			if v < lo {
				below++
			} else if v <= hi {
				bins[(v-lo)/width]++
			}
		})
		for i, n := range bins {
			if below += n; below > k {
				lo += int64(i) * width
				hi = min(hi, lo+width-1)
				break
			}
		}
	}
	return lo
}

// nth moves the k smallest values of v in front of the one it returns.
func nth[T ~int32 | ~uint32 | ~int64](v []T, k int) T {
	lo, hi := 0, len(v)-1
	for hi-lo > 32 {
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
	slices.Sort(v[lo : hi+1])
	return v[k]
}

func median3[T ~int32 | ~uint32 | ~int64](a, b, c T) T {
	return max(min(a, b), min(max(a, b), c))
}
