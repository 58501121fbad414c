package decode

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// The worked jitter table, definitions of JEDEC JESD65B, through the whole
// pipeline. Its 13 pulses are few, so the channel is named.
func TestJitterWorked(t *testing.T) {
	var starts, widths []Time
	for _, row := range table(t, "jitter-worked.csv") {
		starts = append(starts, Time(number(t, row["rise_us"]))*Microsecond)
		widths = append(widths, Time(number(t, row["width_us"]))*Microsecond)
	}
	want := map[string]float64{}
	for _, row := range table(t, "jitter-worked-results.csv") {
		if row["quantity"] != "c2c_signed_us" && row["quantity"] != "tie_nominal_us" {
			want[row["quantity"]] = number(t, row["value"])
		}
	}
	a, _ := decoded(t, &tape{names: []string{"rudder"}, tracks: [][]change{pulsesOf(starts, widths)}, end: 260 * Millisecond})
	c := a.Channels[0]
	require.Equal(t, Servo, c.Signal)
	p := c.Period.Intervals
	assert.EqualValues(t, want["period_count"], p.N)
	assert.InDelta(t, want["period_mean_us"], p.Mean, 1e-9)
	assert.InDelta(t, want["period_min_us"], micros(p.Min), 1e-9)
	assert.InDelta(t, want["period_max_us"], micros(p.Max), 1e-9)
	assert.InDelta(t, want["period_sd_us"], p.SD, 1e-9)
	assert.InDelta(t, want["period_sd_us"], c.Jitter.PeriodRMS, 1e-9)
	assert.InDelta(t, want["c2c_rms_us"], c.Jitter.CycleToCycleRMS, 1e-9)
	assert.InDelta(t, want["width_mean_us"], c.Width.Mean, 1e-9)
	assert.InDelta(t, want["width_sd_us"], c.Width.SD, 1e-9)
	assert.InDelta(t, want["width_median_us"], c.Width.Median, 1e-9)
	assert.True(t, math.IsNaN(c.Jitter.WidthRMS), "13 pulses are too few for a rest")
}

// Cycle-to-cycle rms is sqrt 2 times the Allan deviation at tau0: NIST SP 1065,
// tables 30 and 31. The published frequencies become intervals about 20 ms.
func TestAllanDeviation(t *testing.T) {
	published := map[string]float64{}
	for _, row := range table(t, "allan-published.csv") {
		if row["statistic"] == "adev" && row["averaging_factor"] == "1" {
			published[row["dataset"]] = number(t, row["recomputed_15"])
		}
	}
	var nbs9 []float64
	for _, row := range table(t, "allan-nbs9.csv") {
		nbs9 = append(nbs9, number(t, row["frequency"]))
	}
	var lcg []float64
	for n, i := int64(1234567890), 0; i < 1000; i++ {
		lcg = append(lcg, float64(n)/2147483647)
		n = 16807 * n % 2147483647
	}
	for name, set := range map[string]struct {
		values []float64
		scale  float64 // picoseconds for a unit
	}{"nbs9": {nbs9, 1e6}, "lcg1000": {lcg, 1e9}} {
		at := 5 * Millisecond
		starts, widths := []Time{at}, []Time{1500 * Microsecond}
		for _, v := range set.values {
			at += 19500*Microsecond + Time(math.Round(v*set.scale))
			starts, widths = append(starts, at), append(widths, 1500*Microsecond)
		}
		a, _ := decoded(t, &tape{names: []string{"rudder"}, named: true, tracks: [][]change{pulsesOf(starts, widths)}, end: at + 10*Millisecond})
		got := a.Channels[0].Jitter.CycleToCycleRMS / set.scale * 1e6
		require.EqualValues(t, len(set.values), a.Channels[0].Period.Intervals.N, name)
		assert.InEpsilon(t, math.Sqrt2*published[name], got, 1e-8, name)
	}
}

// The lower bound of Clopper and Pearson (Biometrika 26, 1934) by its own
// definition: the rate at which k or more of n have a probability of 5 %.
func TestLowerBound(t *testing.T) {
	for _, c := range []struct{ k, n int64 }{{1, 50}, {1, 100}, {2, 100}, {3, 300}, {30, 600}, {50, 50}, {5, 10}, {1, 1}} {
		p := lowerBound(c.k, c.n)
		tail := 1 - distuv.Binomial{N: float64(c.n), P: p}.CDF(float64(c.k-1))
		assert.InDelta(t, 0.05, tail, 1e-9, "%d of %d", c.k, c.n)
	}
	assert.Zero(t, lowerBound(0, 50))
	assert.Zero(t, lowerBound(0, 0))
	// 0.05^(1/n), the closed form where all fail.
	assert.InDelta(t, math.Pow(0.05, 1.0/20), lowerBound(20, 20), 1e-12)
	assert.Less(t, lowerBound(1, 50), 0.01, "one drop in fifty frames is a warning")
}

// Exact Poisson limits; k = 1 and 10 as in published tables (from memory:
// 0.0253 to 5.572, 4.795 to 18.39), and by their definition.
func TestPoissonInterval(t *testing.T) {
	for k, want := range map[float64][2]float64{1: {0.0253, 5.572}, 10: {4.795, 18.39}} {
		low, high := poissonInterval(k)
		assert.InDelta(t, want[0], low, 0.0006)
		assert.InDelta(t, want[1], high, 0.006)
		assert.InDelta(t, 0.025, 1-distuv.Poisson{Lambda: low}.CDF(k-1), 1e-9)
		assert.InDelta(t, 0.025, distuv.Poisson{Lambda: high}.CDF(k), 1e-9)
	}
}

// Factors of JCGM 100:2008 for the difference of two uniform errors, and
// Student's t (its table G.2, from memory: 2.09 for 19 degrees of freedom).
func TestUncertaintyFactors(t *testing.T) {
	factor := map[string]float64{}
	for _, row := range table(t, "uncertainty-factors.csv") {
		factor[row["quantity"]] = number(t, row["factor_of_T"])
	}
	assert.InDelta(t, factor["triangular_95pct_half_width"], triangular95, 1e-9)
	assert.InDelta(t, 2.093, student95, 5e-4)

	// A sampled width of any length has that standard deviation.
	const n = 200000
	rng := rand.New(rand.NewPCG(1, 2))
	var m moments
	for range n {
		start, width := rng.Float64(), 1500+rng.Float64()
		m.add(int64(1e6 * (math.Ceil(start+width) - math.Ceil(start) - width)))
	}
	want := factor["width_or_period_unknown_phase"]
	assert.InDelta(t, want, m.sd()/1e6, 4*want/math.Sqrt(2*n), "within four of its own standard errors")
}

// The jackknife of a mean is its standard error, sd / sqrt n, and 95 % of such
// intervals hold the true mean: 20 batches, t with 19 degrees of freedom.
func TestJackknifeCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	held := 0
	const trials = 2000
	for range trials {
		b := (&Recording{start: 0, end: 1000}).batched()
		for i := range Time(1000) {
			b.add(i, int64(1e6*rng.NormFloat64()))
		}
		if mean := wholeMean(b); math.Abs(mean) <= student95*b.jackknife((*moments).mean) {
			held++
		}
	}
	// 95 % of 2000 is 1900, with a standard deviation of 9.7.
	assert.InDelta(t, 1900, held, 4*9.75)
	few := (&Recording{start: 0, end: 1000}).batched()
	for i := range Time(199) {
		few.add(i*5, 1)
	}
	assert.True(t, math.IsNaN(few.jackknife((*moments).mean)), "under 200 frames: none")
}

func wholeMean(b *batched) float64 {
	var m moments
	for i := range b.part {
		m.merge(b.part[i])
	}
	return m.mean()
}
