package decode

import (
	"iter"
	"math"
	"math/bits"

	"golang.org/x/exp/slices"
)

// quantile returns the type 7 quantile of Hyndman and Fan (The American
// Statistician 50, 1996). It reorders v; NaN where v is empty.
func quantile[T ~int32 | ~uint32 | ~int64](v []T, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	h := p * float64(len(v)-1)
	i := int(h)
	lo := nth(v, i)
	if share := h - math.Floor(h); share > 0 && i+1 < len(v) {
		return float64(lo) + share*(float64(slices.Min(v[i+1:]))-float64(lo))
	}
	return float64(lo)
}

// many values are counted in bins and not listed.
const many = 1 << 12

// bins count values from lo to hi, 2^shift to a bin.
type bins struct {
	lo, hi Time
	shift  int
	n      int // in all of them
	cells  [many]cell
}

// cell counts the values in a bin, and notes which bits of their distance from lo
// are set in any of them and which are clear.
type cell struct {
	n          int
	set, clear uint64
}

func binsFor(lo, hi Time) bins {
	return bins{lo: lo, hi: hi, shift: max(0, bits.Len64(uint64(hi)-uint64(lo))-bits.Len(many-1))}
}

func (b *bins) of(v Time) uint64 { return (uint64(v) - uint64(b.lo)) >> b.shift }

// count counts those of some values that the bins are for.
func (b *bins) count(some []Time) {
	reach := uint64(b.hi) - uint64(b.lo)
	for _, v := range some {
		if d := uint64(v) - uint64(b.lo); d <= reach {
			x := &b.cells[d>>b.shift&(many-1)]
			x.n++
			x.set |= d
			x.clear |= ^d
			b.n++
		}
	}
}

// sortMany puts values in order, many of them bin by bin. Few are not to wait for the
// stack that the bins take.
func sortMany[T ~int32 | ~uint32 | ~int64](v []T) {
	if len(v) > many {
		sortByBin(v)
	} else {
		slices.Sort(v)
	}
}

func sortByBin[T ~int32 | ~uint32 | ~int64](v []T) {
	b := binsFor(Time(slices.Min(v)), Time(slices.Max(v)))
	for _, x := range v {
		b.cells[b.of(Time(x))&(many-1)].n++
	}
	var next [many]int // where the next value of a bin goes
	for i := range next[1:] {
		next[i+1] = next[i] + b.cells[i].n
	}
	for _, x := range slices.Clone(v) {
		to := &next[b.of(Time(x))&(many-1)]
		v[*to] = x
		*to++
	}
	for i, end := range next {
		if own := v[end-b.cells[i].n : end]; b.shift > 0 {
			sortMany(own)
		}
	}
}

// quantilesOf returns quantiles of those values from lo to hi among the up to n that
// each yields in pieces, as often as it is called. It needs no room for more than some
// of them.
func quantilesOf(each iter.Seq[[]Time], n int, lo, hi Time, ps ...float64) []float64 {
	if n > many {
		return binned(each, lo, hi).quantiles(each, ps...)
	}
	list := make([]Time, 0, n)
	for some := range each {
		for _, v := range some {
			if v >= lo && v <= hi {
				list = append(list, v)
			}
		}
	}
	out := make([]float64, len(ps))
	for i, p := range ps {
		out[i] = quantile(list, p)
	}
	return out
}

// quantiles returns those of the values counted, which each yields again where some
// must be listed.
func (b *bins) quantiles(each iter.Seq[[]Time], ps ...float64) []float64 {
	out := make([]float64, len(ps))
	ranks := make([]int, 0, 2*len(ps))
	for i, p := range ps {
		if out[i] = math.NaN(); b.n > 0 {
			k := int(p * float64(b.n-1))
			ranks = append(ranks, k, min(k+1, b.n-1))
		}
	}
	values := b.ranked(each, ranks)
	for i := 0; i < len(values); i += 2 {
		h := ps[i/2] * float64(b.n-1)
		out[i/2] = float64(values[i]) + (h-math.Floor(h))*float64(values[i+1]-values[i])
	}
	return out
}

func binned(each iter.Seq[[]Time], lo, hi Time) *bins {
	b := binsFor(lo, hi)
	for some := range each {
		b.count(some)
	}
	return &b
}

// seat is where a value is found: its bin, and its rank among the values in that.
type seat struct{ bin, rank int }

// seats finds ranks, sooner where they ascend.
func (b *bins) seats(ranks []int) []seat {
	all := make([]seat, len(ranks))
	bin, before := 0, 0
	for i, rank := range ranks {
		if rank < before {
			bin, before = 0, 0
		}
		for ; before+b.cells[bin].n <= rank; bin++ {
			before += b.cells[bin].n
		}
		all[i] = seat{bin, rank - before}
	}
	return all
}

// ranked returns the values of ranks among those counted. Where a bin has
// one value only that is it, where it has a crowd they are counted in finer bins; the
// values in the others are listed.
func (b *bins) ranked(each iter.Seq[[]Time], ranks []int) []Time {
	values := make([]Time, len(ranks))
	seats := b.seats(ranks)
	var first [many]int // of a bin's values in the list, and 1
	n := 0
	for i, s := range seats {
		x, lo := &b.cells[s.bin], b.lo+Time(s.bin)<<b.shift
		switch {
		case x.set&x.clear == 0:
			values[i] = b.lo + Time(x.set)
		case x.n > max(many, b.n/16):
			finer := binned(each, lo, min(b.hi, lo+1<<b.shift-1))
			values[i] = finer.ranked(each, []int{s.rank})[0]
		case first[s.bin] == 0:
			first[s.bin] = n + 1
			n += x.n
		}
	}
	if n == 0 {
		return values
	}
	list := make([]Time, 0, n)
	for some := range each {
		for _, v := range some {
			if v >= b.lo && v <= b.hi && first[b.of(v)&(many-1)] > 0 {
				list = append(list, v)
			}
		}
	}
	for i, s := range seats {
		if first[s.bin] > 0 {
			values[i] = nth(list, first[s.bin]-1+s.rank)
		}
	}
	return values
}

// nth moves the k smallest values of v in front of the one it returns. No branch in
// its longer loops depends on a value that nobody can foresee.
func nth[T ~int32 | ~uint32 | ~int64](v []T, k int) T {
	for len(v) > few {
		pivot := median3(v[0], v[len(v)/2], v[len(v)-1])
		n := 0
		for i, x := range v {
			v[i], v[n] = v[n], x
			less := 0
			if x < pivot {
				less = 1
			}
			n += less
		}
		if k < n {
			v = v[:n]
			continue
		}
		v, k = v[n:], k-n
		n = 0
		for i, x := range v {
			v[i], v[n] = v[n], x
			same := 0
			if x == pivot {
				same = 1
			}
			n += same
		}
		if k < n {
			return pivot
		}
		v, k = v[n:], k-n
	}
	for i := 1; i < len(v); i++ {
		x, j := v[i], i
		for ; j > 0 && v[j-1] > x; j-- {
			v[j] = v[j-1]
		}
		v[j] = x
	}
	return v[k]
}

// few values are put in order one by one.
const few = 6

func median3[T ~int32 | ~uint32 | ~int64](a, b, c T) T {
	return max(min(a, b), min(max(a, b), c))
}
