package decode

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
	"pgregory.net/rapid"
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
	assert.EqualValues(t, want["width_count"], c.Width.N)
	assert.InDelta(t, want["width_pp_us"], micros(c.Width.Max-c.Width.Min), 1e-9)
	assert.InDelta(t, want["c2c_rms_over_adev"]*want["adev_tau0_of_periods_us"], c.Jitter.CycleToCycleRMS, 1e-9)
	assert.InDelta(t, 20000, c.Period.Nominal, 1e-6, "the median of the twelve, by hand from the edges given: -5 -3 -2 -1 0 0 0 1 2 3 4 10 us about 20 ms")
	assert.EqualValues(t, 0, c.Period.Others)
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
// definition: the rate at which k or more of n have a probability of 5 %,
// summed in rational arithmetic, which shares nothing with the beta function.
func TestLowerBound(t *testing.T) {
	for _, c := range []struct{ k, n int64 }{{1, 50}, {1, 100}, {2, 100}, {3, 300}, {30, 600}, {50, 50}, {5, 10}, {1, 1}, {199, 200}, {1, 2}} {
		p := lowerBound(c.k, c.n)
		assert.InDelta(t, 0.05, orMore(c.k, c.n, p), 1e-9, "%d of %d", c.k, c.n)
	}
	assert.Zero(t, lowerBound(0, 50))
	assert.Zero(t, lowerBound(0, 0))
	// 0.05^(1/n) where all fail, 1 - 0.95^(1/n) where one does.
	assert.InDelta(t, math.Pow(0.05, 1.0/20), lowerBound(20, 20), 1e-12)
	assert.InDelta(t, 1-math.Pow(0.95, 1.0/50), lowerBound(1, 50), 1e-12)
	assert.Less(t, lowerBound(1, 50), 0.01, "one drop in fifty frames is a warning")
}

// orMore is the probability of k or more of n at a rate p.
func orMore(k, n int64, p float64) float64 {
	rate := new(big.Rat).SetFloat64(p) // a / (a + b)
	a, b := rate.Num(), new(big.Int).Sub(rate.Denom(), rate.Num())
	power := func(x *big.Int, n int64) *big.Int { return new(big.Int).Exp(x, big.NewInt(n), nil) }
	sum := new(big.Int)
	for i := k; i <= n; i++ {
		term := new(big.Int).Binomial(n, i)
		sum.Add(sum, term.Mul(term, new(big.Int).Mul(power(a, i), power(b, n-i))))
	}
	tail := new(big.Float).Quo(new(big.Float).SetInt(sum), new(big.Float).SetInt(power(rate.Denom(), n)))
	f, _ := tail.Float64()
	return f
}

// How many runs show at 95 % that a plant does well 95 % of the time, with none
// to four bad: 59, 93, 124, 153, 181. The order statistics of S. S. Wilks
// (Annals of Mathematical Statistics 12, 1941), a table used for safety margins;
// its values from memory.
func TestLowerBoundAgainstWilks(t *testing.T) {
	for bad, runs := range []int64{59, 93, 124, 153, 181} {
		assert.GreaterOrEqual(t, lowerBound(runs-int64(bad), runs), 0.95, "%d runs, %d bad", runs, bad)
		assert.Less(t, lowerBound(runs-1-int64(bad), runs-1), 0.95, "one run fewer, %d bad", bad)
	}
}

// Exact two-sided 95 % limits on the mean of a Poisson count, F. Garwood
// (Biometrika 28, 1936), as in published tables (from memory), and by their
// definition, the terms summed one by one.
func TestPoissonInterval(t *testing.T) {
	upTo := func(k int, mean float64) float64 {
		term := math.Exp(-mean)
		sum := term
		for i := 1; i <= k; i++ {
			term *= mean / float64(i)
			sum += term
		}
		return sum
	}
	for k, want := range map[int][2]float64{
		1: {0.0253, 5.572}, 2: {0.242, 7.225}, 3: {0.619, 8.767}, 4: {1.09, 10.24}, 5: {1.62, 11.67}, 10: {4.795, 18.39}, 20: {12.22, 30.89}, 50: {37.11, 65.92},
	} {
		low, high := poissonInterval(float64(k))
		assert.InDelta(t, want[0], low, 0.006, "%d", k)
		assert.InDelta(t, want[1], high, 0.006, "%d", k)
		assert.InDelta(t, 0.025, 1-upTo(k-1, low), 1e-9, "%d", k)
		assert.InDelta(t, 0.025, upTo(k, high), 1e-9, "%d", k)
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
	assert.InDelta(t, 0.776393202250021, triangular95, 1e-12)
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

// Values go to the twentieth of the capture that their instant lies in, one by one or
// many at once, also where it is an end of one.
func TestBatchesByTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := Time(rapid.Int64Range(-1e12, 1e12).Draw(t, "start"))
		length := Time(rapid.Int64Range(1, 1e13).Draw(t, "length"))
		at := []Time{start - 1, start, start + length - 1, start + length, start + length + 1}
		for i := range Time(batches) {
			at = append(at, start+i*length/batches-1, start+i*length/batches, start+i*length/batches+1)
		}
		for _, share := range rapid.SliceOfN(rapid.Float64Range(0, 1), 0, 60).Draw(t, "shares") {
			at = append(at, start+Time(share*float64(length)))
		}
		slices.Sort(at)
		v := make([]Time, len(at))
		r := &Recording{start: start, end: start + length}
		oneByOne, atOnce := r.batched(), r.batched()
		var want [batches]moments
		for i, x := range at {
			v[i] = Time(i * i)
			oneByOne.add(x, int64(v[i]))
			share := float64(x-start) / float64(length)
			want[min(max(int(share*batches), 0), batches-1)].add(int64(v[i]))
		}
		atOnce.addAll(at, v)
		require.Equal(t, want, oneByOne.part)
		require.Equal(t, want, atOnce.part)
	})
}

func wholeMean(b *batched) float64 {
	var m moments
	for i := range b.part {
		m.merge(b.part[i])
	}
	return m.mean()
}
