package decode

import (
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	batches      = 20  // equal stretches of time
	leastBatched = 200 // frames; fewer say nothing about uncertainty
)

// Factors of 95 % intervals: Student's t with 19 degrees of freedom, and the
// half width of the triangular distribution that the difference of two
// uniform errors has, 1 - sqrt 0.05 (JCGM 100:2008, 4.3.9).
var (
	student95    = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: batches - 1}.Quantile(0.975)
	triangular95 = 1 - math.Sqrt(0.05)
)

// batched holds sums by stretch of time.
type batched struct {
	start, length Time
	now           int  // the batch of the last instant
	from, to      Time // instants that are surely of it
	part          [batches]moments
}

func (r *Recording) batched() *batched {
	return &batched{start: r.start, length: max(1, r.end-r.start)}
}

func (b *batched) add(at Time, v int64) {
	if at < b.from || at >= b.to {
		b.turn(at)
	}
	b.part[b.now].add(v)
}

// addAll adds values at instants in order of time.
func (b *batched) addAll(at, v []Time) {
	for len(at) > 0 {
		if at[0] < b.from || at[0] >= b.to {
			b.turn(at[0])
		}
		n := len(at)
		if at[n-1] >= b.to {
			n, _ = slices.BinarySearch(at, b.to)
		}
		b.part[b.now].addAll(v[:n])
		at, v = at[n:], v[n:]
	}
}

// turn goes to the batch of an instant. Within a part in 2^20 of its ends each
// instant is asked for, as what one is of is decided in floating point.
func (b *batched) turn(at Time) {
	place := float64(at-b.start) / float64(b.length) * batches
	b.now = min(max(int(place), 0), batches-1)
	b.from, b.to = at, at+1
	const edge = 1.0 / (1 << 20)
	if share := place - math.Floor(place); place >= 0 && place < batches && share > edge {
		b.to = at + max(1, Time((1-share-edge)*float64(b.length)/batches))
	}
}

// whole joins the batches.
func (b *batched) whole() (m moments) {
	for i := range b.part {
		m.merge(b.part[i])
	}
	return m
}

// jackknife returns the standard error of a figure from leaving out one batch
// at a time; NaN where there are too few batches or values.
func (b *batched) jackknife(figure func(*moments) float64) float64 {
	used := 0
	for i := range b.part {
		if b.part[i].n > 0 {
			used++
		}
	}
	if whole := b.whole(); whole.n < leastBatched || used < batches/2 {
		return math.NaN()
	}
	var values []float64
	for i := range b.part {
		if b.part[i].n == 0 {
			continue
		}
		var rest moments
		for k := range b.part {
			if k != i {
				rest.merge(b.part[k])
			}
		}
		values = append(values, figure(&rest))
	}
	mean, squares := 0.0, 0.0
	for _, v := range values {
		mean += v / float64(used)
	}
	for _, v := range values {
		squares += (v - mean) * (v - mean)
	}
	return math.Sqrt(squares * float64(used-1) / float64(used))
}

// half95 is the half width of the 95 % interval from a standard error (type A)
// and a time step (type B), in microseconds.
func half95(standard, step float64) float64 {
	return math.Hypot(student95*standard, triangular95*step) / float64(Microsecond)
}
