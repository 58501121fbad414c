package compare

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"widthwise/decode"
	"widthwise/decode/places"
)

// estimate is a figure of one side with what bounds it.
type estimate struct {
	value float64
	parts []float64 // independent values of it: visits' means, or batches'
	u95   float64   // half width of its 95 % interval; NaN where nothing bounds it
	step  float64   // of sampling, on the figure itself
}

const leastParts = 3 // for the spread of the parts to be known

// half95 is the half width of the 95 % interval of b - a: Welch and
// Satterthwaite (Biometrics Bulletin 2, 1946) from three parts a side, else the
// root of the sum of squares of both intervals; sampling comes on top. NaN where
// nothing bounds a side.
func half95(a, b estimate) float64 {
	if len(a.parts) < leastParts || len(b.parts) < leastParts {
		return math.Hypot(a.u95, b.u95)
	}
	na, nb := float64(len(a.parts)), float64(len(b.parts))
	va, vb := stat.Variance(a.parts, nil)/na, stat.Variance(b.parts, nil)/nb
	sampled := places.Sampled95 * math.Hypot(a.step, b.step)
	if va+vb == 0 {
		return sampled
	}
	freedom := (va + vb) * (va + vb) / (va*va/(na-1) + vb*vb/(nb-1))
	return math.Hypot(student95(freedom)*math.Sqrt(va+vb), sampled)
}

func student95(freedom float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(0.975)
}

// compare fills in the difference of two estimates and holds its interval
// against a tolerance. clock is what two clocks may add to the difference.
func (f *Figure) compare(a, b estimate, clock float64) {
	f.Value = [2]float64{a.value, b.value}
	f.Difference = b.value - a.value
	half := half95(a, b) + clock
	f.Low, f.High = f.Difference-half, f.Difference+half
	switch t := f.Tolerance; {
	case math.IsNaN(half):
		f.Verdict = Undecided
	case f.Low >= -t && f.High <= t:
		f.Verdict = Same
	case f.Low > t || f.High < -t:
		f.Verdict = Changed
	default:
		f.Verdict = Undecided
	}
}

// clocks is what two clocks that are each off by so many millionths add to the
// difference of two times.
func clocks(ppm, a, b float64) float64 { return ppm * 1e-6 * (math.Abs(a) + math.Abs(b)) }

const batches = 20 // equal stretches of time

// batched deals values out to equal stretches of time.
type batched struct {
	start, length decode.Time
	parts         [batches][]float64
}

func newBatched(a *decode.Analysis) *batched {
	return &batched{start: a.Start, length: max(1, a.End-a.Start)}
}

func (b *batched) add(at decode.Time, v float64) {
	i := int(float64(at-b.start) / float64(b.length) * batches)
	i = min(max(i, 0), batches-1)
	b.parts[i] = append(b.parts[i], v)
}

// all are the values, in order of time.
func (b *batched) all() []float64 {
	var out []float64
	for _, p := range b.parts {
		out = append(out, p...)
	}
	return out
}

// means are those of the batches that have values enough to count.
func (b *batched) means() []float64 {
	var out []float64
	least := max(1, len(b.all())/batches/4)
	for _, p := range b.parts {
		if len(p) >= least {
			out = append(out, stat.Mean(p, nil))
		}
	}
	return out
}

// logHalf95 is the half width of the 95 % interval of the logarithm of a
// standard deviation, from leaving out one batch at a time (the jackknife); NaN
// for fewer than ten batches.
func (b *batched) logHalf95() float64 {
	all := b.all()
	var logs []float64
	from := 0
	for _, p := range b.parts {
		if n := len(p); n > 0 {
			rest := append(append(make([]float64, 0, len(all)), all[:from]...), all[from+n:]...)
			from += n
			if sd := stat.StdDev(rest, nil); sd > 0 {
				logs = append(logs, math.Log(sd))
			}
		}
	}
	k := float64(len(logs))
	if k < batches/2 {
		return math.NaN()
	}
	return student95(k-1) * math.Sqrt((k-1)/k*stat.Variance(logs, nil)*(k-1))
}
