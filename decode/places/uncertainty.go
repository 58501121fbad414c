package places

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Sampled95 is the half width of the 95 % interval of a width for each step of
// the recorder: the difference of two uniform errors (JCGM 100:2008, 4.3.9).
var Sampled95 = 1 - math.Sqrt(0.05)

// half95 is the half width of the 95 % interval of the mean of independent
// values (type A: Student's t) read on a time step (type B); NaN for fewer than
// two values.
func half95(values []float64, step float64) float64 {
	n := float64(len(values))
	if n < 2 {
		return math.NaN()
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(0.975)
	return math.Hypot(t*stat.StdDev(values, nil)/math.Sqrt(n), Sampled95*step)
}

// batches are the means of up to 20 equal parts of a visit, which wobbles too
// slowly for its pulses to be independent.
func (t *track) batches(v Visit) []float64 {
	const most, least = 20, 5 // batches, frames in each
	var widths []float64
	for _, f := range t.frames[v.first:v.end] {
		if !f.aside {
			widths = append(widths, f.width)
		}
	}
	k := min(most, len(widths)/least)
	out := make([]float64, k)
	for i := range out {
		out[i] = stat.Mean(widths[i*len(widths)/k:(i+1)*len(widths)/k], nil)
	}
	return out
}
