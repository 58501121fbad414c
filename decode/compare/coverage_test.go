package compare

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat"

	"widthwise/decode"
)

const pairsDrawn = 1000

// covers counts in how many drawn pairs the interval of the difference holds the
// true one. The share's own standard error is 0.7 % at 95 %.
func covers(t *testing.T, what string, truth float64, draw func(*rand.Rand) (a, b estimate)) float64 {
	hit := 0
	for seed := range uint64(pairsDrawn) {
		a, b := draw(rand.New(rand.NewPCG(seed, 11)))
		if half := half95(a, b); math.Abs(b.value-a.value-truth) <= half {
			hit++
		}
	}
	share := float64(hit) / pairsDrawn
	t.Logf("%-44s %5.1f %% ± %.1f %%", what, 100*share, 196*math.Sqrt(share*(1-share)/pairsDrawn))
	return share
}

// visits draws the means of some visits about a place.
func visits(rng *rand.Rand, n int, at, sd float64) estimate {
	e := estimate{}
	for range n {
		e.parts = append(e.parts, at+sd*rng.NormFloat64())
	}
	e.value = stat.Mean(e.parts, nil)
	return e
}

// onGrid reads widths of a place by a recorder with a time step: each edge is
// seen at the next sample.
func onGrid(rng *rand.Rand, n int, at, sd, jitter, step float64) estimate {
	e := estimate{step: step}
	for range n {
		spot, sum := at+sd*rng.NormFloat64(), 0.0
		const frames = 90
		for range frames {
			lead := rng.Float64() * step
			sum += (math.Ceil((lead+spot+jitter*rng.NormFloat64())/step) - math.Ceil(lead/step)) * step
		}
		e.parts = append(e.parts, sum/frames)
	}
	e.value = stat.Mean(e.parts, nil)
	return e
}

// still reads a width that neither jitters nor meets the samples anew, so that
// every reading is off by the same part of a step.
func still(rng *rand.Rand, at, step float64) estimate {
	lead := rng.Float64() * step
	w := (math.Ceil((lead+at)/step) - math.Ceil(lead/step)) * step
	return estimate{value: w, parts: []float64{w, w, w, w}, step: step}
}

// frames draws independent intervals and deals them out to batches of time.
func frames(rng *rand.Rand, n int, period, sd, step float64) estimate {
	a := &decode.Analysis{End: decode.Time(float64(n) * period * 1e6)}
	b := newBatched(a)
	sum, at, last := 0.0, rng.Float64()*step, 0.0
	last = at
	for i := range n {
		next := at + period + sd*rng.NormFloat64()
		interval := next - at
		if step > 0 {
			interval = (math.Ceil(next/step) - math.Ceil(last/step)) * step
		}
		b.add(decode.Time(float64(i)*period*1e6), interval)
		sum, at, last = sum+interval, next, next
	}
	return estimate{value: sum / float64(n), parts: b.means(), step: step / float64(n)}
}

// TestCoverage counts how often the 95 % intervals hold the truth.
func TestCoverage(t *testing.T) {
	within := func(what string, low, high float64, share float64) {
		assert.GreaterOrEqual(t, share, low, what)
		assert.LessOrEqual(t, share, high, what)
	}
	for _, c := range []struct {
		what   string
		na, nb int
		sa, sb float64
	}{{"visits 5 and 5, alike", 5, 5, 4, 4}, {"visits 3 and 7, alike", 3, 7, 4, 4}, {"visits 4 and 8, one steadier", 4, 8, 6, 1}} {
		within(c.what, 0.93, 0.97, covers(t, c.what, 12, func(r *rand.Rand) (estimate, estimate) {
			return visits(r, c.na, 1520, c.sa), visits(r, c.nb, 1532, c.sb)
		}))
	}
	within("frames", 0.93, 0.97, covers(t, "frames 500 and 700, independent", 4000, func(r *rand.Rand) (estimate, estimate) {
		return frames(r, 500, 18000, 3, 0), frames(r, 700, 22000, 9, 0)
	}))
	within("on a grid", 0.93, 1, covers(t, "visits on a grid of 1 us", 12, func(r *rand.Rand) (estimate, estimate) {
		return onGrid(r, 4, 1520.3, 0.3, 0.4, 1), onGrid(r, 4, 1532.3, 0.3, 0.4, 1)
	}))
	within("still", 0.93, 1, covers(t, "a width that never meets the grid anew", 12.37, func(r *rand.Rand) (estimate, estimate) {
		at := 1500 + 100*r.Float64()
		return still(r, at, 1), still(r, at+12.37, 1)
	}))
	within("frames on a grid", 0.93, 1, covers(t, "frames on a grid of 10 us", 4000, func(r *rand.Rand) (estimate, estimate) {
		return frames(r, 500, 18003.7, 3, 10), frames(r, 500, 22003.7, 3, 10)
	}))
}

// With equal rates everywhere hardly a comparison in twenty says that one
// changed, however many rates it judges.
func TestRatesThatAreEqual(t *testing.T) {
	const channels = 6
	for _, rate := range []float64{0.5, 3, 20} { // a minute
		wrong := 0
		for seed := range uint64(pairsDrawn) {
			rng := rand.New(rand.NewPCG(seed, 5))
			var pairs []*Pair
			for range channels {
				a, b := poisson(rng, rate*2), poisson(rng, rate*5)
				f := newFigure("drops_per_min", math.NaN(), true)
				f.Value, f.Difference = [2]float64{float64(a) / 2, float64(b) / 5}, float64(b)/5-float64(a)/2
				f.probability = twoRates(a, b, 2, 5)
				pairs = append(pairs, &Pair{Figures: []*Figure{f}})
			}
			judgeRates(pairs)
			for _, p := range pairs {
				if p.Figures[0].Verdict == Changed {
					wrong++
					break
				}
			}
		}
		t.Logf("%v a minute on %d channels: changed in %.1f %% of comparisons", rate, channels, 100*float64(wrong)/pairsDrawn)
		assert.Less(t, wrong, 65, "5 % and three standard errors of the count")
	}
}

func poisson(rng *rand.Rand, mean float64) int {
	n, product, floor := 0, rng.Float64(), math.Exp(-mean)
	for product > floor {
		n, product = n+1, product*rng.Float64()
	}
	return n
}

// Figures of our own arithmetic: of 10 in equal times, 10 against 0 comes by
// chance in 2/1024.
func TestTwoRates(t *testing.T) {
	assert.InDelta(t, 2.0/1024, twoRates(0, 10, 1, 1), 1e-12)
	assert.InDelta(t, 2.0/1024, twoRates(10, 0, 1, 1), 1e-12)
	assert.Equal(t, 1.0, twoRates(0, 0, 1, 3))
	assert.Equal(t, 1.0, twoRates(5, 5, 1, 1))
	assert.InDelta(t, 2*math.Pow(0.75, 4), twoRates(0, 4, 1, 3), 1e-12, "4 of 4 in three quarters of the time: doubled, 0.63")
	low, high := poisson95(0)
	assert.Zero(t, low)
	assert.InDelta(t, 3.6889, high, 1e-4, "-ln 0.025")
}
