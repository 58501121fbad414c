package decode

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
)

// restsOf decodes a channel whose width at frame i is given in us.
func restsOf(t *testing.T, n int, width func(i int) float64) *ChannelAnalysis {
	var starts, widths []Time
	for i := range n {
		starts = append(starts, Time(i)*20*Millisecond+3*Millisecond)
		widths = append(widths, Time(math.Round(width(i)*1000))*Nanosecond)
	}
	a, _ := decoded(t, &tape{names: []string{"rudder"}, tracks: [][]change{pulsesOf(starts, widths)}, end: Time(n) * 20 * Millisecond})
	return a.Channels[0]
}

// A stick that rests at three places, with moves between: each mean is found,
// and the moves do not widen the jitter by 10 %.
func TestRestsBetweenMoves(t *testing.T) {
	for _, sigma := range []float64{0.3, 1, 3, 10} {
		rng := rand.New(rand.NewPCG(7, uint64(sigma*10)))
		places := []float64{1500, 1850, 1240}
		c := restsOf(t, 1000, func(i int) float64 {
			w := places[min(i/350, 2)]
			if k := i % 350; i >= 350 && k < 60 { // 60 frames from one place to the next
				from := places[i/350-1]
				w = from + (w-from)*float64(k)/60
			}
			return w + sigma*rng.NormFloat64()
		})
		for _, want := range places {
			found := 0.0
			for _, r := range c.Rests {
				if math.Abs(r.Width-want) < 6*sigma && r.Frames > 100 {
					found++
					assert.InDelta(t, want, r.Width, 4*sigma/math.Sqrt(float64(r.Frames)), "mean at %g", want)
				}
			}
			assert.NotZero(t, found, "sigma %g: rest at %g among %v", sigma, want, c.Rests)
		}
		assert.InEpsilon(t, sigma, c.Jitter.WidthRMS, 0.10)
		assert.True(t, c.Jitter.Resolved)
	}
}

// A slow ramp is no rest, however slow, and no row of them.
func TestRampIsNoRest(t *testing.T) {
	for _, perFrame := range []float64{0.2, 1, 5} {
		rng := rand.New(rand.NewPCG(8, 9))
		c := restsOf(t, 160, func(i int) float64 { return 1200 + perFrame*float64(i) + 0.3*rng.NormFloat64() })
		assert.Empty(t, c.Rests, "%g us a frame", perFrame)
		assert.True(t, math.IsNaN(c.Jitter.WidthRMS))
	}
}

// A drift too slow to be split is no rest where its slope shows: here t is 9.6,
// then 1.9 (slope x sqrt(n^3 / 12) / noise, of widths 0.3 us above and below).
func TestSlowDrift(t *testing.T) {
	drift := func(perFrame float64) *ChannelAnalysis {
		return restsOf(t, 102, func(i int) float64 { return 1500 + perFrame*float64(i) + 0.3*float64(1-i%2*2) })
	}
	assert.Empty(t, drift(0.01).Rests)
	c := drift(0.002)
	require.Len(t, c.Rests, 1)
	assert.EqualValues(t, 100, c.Rests[0].Frames)
	assert.InDelta(t, 0.3, c.Rests[0].RMS, 0.02)
}

// Spikes, torn pulses and the pulses beside a gap take no part in the jitter.
func TestSpikesTakeNoPart(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 11))
	c := restsOf(t, 500, func(i int) float64 {
		w := 1500 + 0.5*rng.NormFloat64()
		if i%50 == 25 {
			w += 90
		}
		return w
	})
	assert.InEpsilon(t, 0.5, c.Jitter.WidthRMS, 0.10)
	assert.EqualValues(t, 10, c.channel.spikes.all)
}

// A steady width between two steps reads as either: a spread of up to half a
// step is no jitter (reference/uncertainty-factors.csv, JCGM 100:2008).
func TestSteadyWidthIsUnresolved(t *testing.T) {
	for _, mhz := range []float64{1, 4, 10, 24} {
		for _, part := range []float64{0, 0.1, 0.5, 0.9} {
			t.Run(fmt.Sprintf("%g MHz %g", mhz, part), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(12, 13))
				sampled := func(us float64) Time { return Time(math.Round(math.Ceil(us*mhz) / mhz * 1e6)) }
				var starts, widths []Time
				for i := range 1000 {
					at := float64(i)*20000 + 3000 + rng.Float64()
					start := sampled(at)
					starts = append(starts, start)
					widths = append(widths, sampled(at+1500+part/mhz)-start)
				}
				c := &tape{names: []string{"rudder"}, tracks: [][]change{pulsesOf(starts, widths)}, end: 20 * Second}
				c.origin.Step = 1e6 / mhz
				a, _ := decoded(t, c)
				j := a.Channels[0].Jitter
				require.EqualValues(t, 998, j.WidthN)
				assert.False(t, j.Resolved)
				assert.True(t, math.IsNaN(j.WidthRMSCorrected))
				// One of two readings a step apart, the upper one with the
				// probability f: sd sqrt(f (1 - f)), which 998 draws miss by less
				// than four standard errors, sqrt((m4 - sd^4) / n) / (2 sd), and
				// a term of 1 / n.
				v := part * (1 - part)
				bound := 1.0 / 998
				if v > 0 {
					bound += 4 * math.Sqrt((v*(1-3*v)-v*v)/998) / (2 * math.Sqrt(v))
				}
				assert.InDelta(t, math.Sqrt(v), j.WidthRMS*mhz, bound)
			})
		}
	}
}

// Widths spread evenly over a step, each sampled at random phase, read with the
// sum of two variances: their own step^2/12 and the step^2/6 of sampling
// (JCGM 100:2008, uncertainty-factors.csv). That is half a step: not resolved.
func TestWidthsOverAStep(t *testing.T) {
	const n = 4000
	for _, mhz := range []float64{1, 4, 10, 24} {
		rng := rand.New(rand.NewPCG(17, 18))
		var starts, widths []Time
		for i := range n {
			at := float64(i)*20000 + 3000 + rng.Float64()
			starts = append(starts, Time(math.Round(at*1e6)))
			widths = append(widths, Time(math.Round((1500+rng.Float64()/mhz)*1e6)))
		}
		c := &tape{names: []string{"rudder"}, tracks: [][]change{pulsesOf(starts, widths)}, end: n * 20 * Millisecond}
		a, _ := decoded(t, c.sampled(mhz))
		j := a.Channels[0].Jitter
		require.EqualValues(t, n-2, j.WidthN)
		want := math.Sqrt(1.0/12 + 1.0/6)
		// its sd is known to sd / sqrt(2 n) and better, as no reading is far off
		assert.InDelta(t, want, j.WidthRMS*mhz, 4*want/math.Sqrt(2*n), "%g MHz", mhz)
		assert.False(t, j.Resolved, "%g MHz", mhz)
	}
}

// Normal jitter sampled at random phase reads as sqrt(sigma^2 + E[f (1 - f)])
// steps, f the fraction of a step in the jittering width, whose mean tends to
// 1/6 as jitter smears it: 1/6 - sum of cos(2 pi k f) exp(-2 (pi k sigma)^2) /
// (pi k)^2. Corrected by 1/6 it is right within 10 % wherever it is resolved.
func TestSampledJitter(t *testing.T) {
	const n = 4000
	resolved := 0
	for _, sigma := range []float64{0.3, 0.5, 1, 3, 8, 20} {
		for _, mhz := range []float64{1, 4, 10, 24} {
			for _, part := range []float64{0, 0.5} {
				rng := rand.New(rand.NewPCG(19, uint64(sigma*mhz*10)))
				var starts, widths []Time
				for i := range n {
					at := float64(i)*20000 + 3000 + 10*rng.Float64()
					starts = append(starts, Time(math.Round(at*1e6)))
					widths = append(widths, Time(math.Round((1500+part/mhz+sigma*rng.NormFloat64())*1e6)))
				}
				c := &tape{names: []string{"rudder"}, tracks: [][]change{pulsesOf(starts, widths)}, end: n * 20 * Millisecond}
				a, _ := decoded(t, c.sampled(mhz))
				j := a.Channels[0].Jitter
				require.Greater(t, j.WidthN, int64(n*98/100), "%g us at %g MHz", sigma, mhz)

				steps := sigma * mhz
				variance := 1.0 / 6
				for k := 1.0; k < 20; k++ {
					variance -= math.Cos(2*math.Pi*k*part) * math.Exp(-2*math.Pow(math.Pi*k*steps, 2)) / math.Pow(math.Pi*k, 2)
				}
				want := math.Sqrt(steps*steps + variance)
				bound := 4 * want / math.Sqrt(2*n)
				assert.InDelta(t, want, j.WidthRMS*mhz, bound, "%g us at %g MHz, read in steps", sigma, mhz)
				if want > 0.53+bound {
					assert.True(t, j.Resolved, "%g us at %g MHz", sigma, mhz)
				}
				if want < 0.53-bound {
					assert.False(t, j.Resolved, "%g us at %g MHz", sigma, mhz)
				}
				if j.Resolved {
					resolved++
					assert.InEpsilon(t, sigma, j.WidthRMSCorrected, 0.10, "%g us at %g MHz", sigma, mhz)
				} else {
					assert.True(t, math.IsNaN(j.WidthRMSCorrected))
				}
			}
		}
	}
	assert.GreaterOrEqual(t, resolved, 40)
}

// With moves between the rests the jitter is that of the same noise without
// them, to 10 %, and each rest's mean is that of its own widths.
func TestMovesDoNotCount(t *testing.T) {
	for _, sigma := range []float64{0.3, 1, 3, 10} {
		for seed := range uint64(5) {
			noise := func(i int) float64 {
				return sigma * rand.New(rand.NewPCG(20+seed, uint64(i))).NormFloat64()
			}
			still := restsOf(t, 1000, func(i int) float64 { return 1500 + noise(i) })
			moved := restsOf(t, 1000, func(i int) float64 {
				places := []float64{1500, 1500 + 300*math.Exp(-float64(seed)), 1240}
				w := places[min(i/350, 2)]
				if k := float64(i % 350); i >= 350 && k < 60 {
					w -= (w - places[i/350-1]) * (1 + math.Cos(math.Pi*k/60)) / 2
				}
				return w + noise(i)
			})
			assert.InEpsilon(t, still.Jitter.WidthRMS, moved.Jitter.WidthRMS, 0.10, "%g us, seed %d", sigma, seed)
			assert.Greater(t, moved.Jitter.WidthN, int64(700), "%g us, seed %d", sigma, seed)
		}
	}
}

// Under 100 pulses at rest there is no 99th percentile; the largest deviation
// from the mean stands for it. Under 25 there is no jitter at all.
func TestFewAtRest(t *testing.T) {
	width := func(off float64) func(i int) float64 {
		return func(i int) float64 {
			if i == 30 {
				return 1500 + off
			}
			return 1500 + 0.5*float64(i%3)
		}
	}
	c := restsOf(t, 24+2, width(0))
	assert.True(t, math.IsNaN(c.Jitter.WidthRMS), "24 at rest")
	assert.NotNil(t, c.Period)
	c = restsOf(t, 25+2, width(0))
	assert.False(t, math.IsNaN(c.Jitter.WidthRMS), "25 at rest")
	assert.True(t, math.IsNaN(c.Jitter.WidthP99), "25 at rest")
	c = restsOf(t, 99+2, width(0))
	assert.True(t, math.IsNaN(c.Jitter.WidthP99), "99 at rest")
	c = restsOf(t, 100+2, width(0))
	assert.False(t, math.IsNaN(c.Jitter.WidthP99), "100 at rest")

	c = restsOf(t, 62, width(12))
	require.EqualValues(t, 60, c.Jitter.WidthN)
	mean := 1500.5 + (12-0.0)/60 // the mean of 0, 0.5 and 1, with one 12 us off
	a := &Analysis{Channels: []*ChannelAnalysis{c}}
	a.Start, a.End = c.channel.rec.start, c.channel.rec.end
	j := a.Judge(PerChannel[Limits]{Default: DefaultLimits})
	var jitter []Finding
	for _, f := range j.Findings {
		if f.Kind == WidthJitter {
			jitter = append(jitter, f)
		}
	}
	require.Len(t, jitter, 1, "the largest of 60 lies 11 us from the mean, over the limit of 8 us")
	assert.InDelta(t, 1512-mean, jitter[0].Measured, 0.02)
	assert.Equal(t, Warn, jitter[0].Severity)
	assert.Contains(t, jitter[0].Message, "the largest of 60")
}

// whole is the standard deviation of some widths, as the reference for what is
// pooled about one mean.
func whole(n int, width func(i int) float64) float64 {
	sum, squares := 0.0, 0.0
	for i := range n {
		sum += width(i)
	}
	for i := range n {
		squares += math.Pow(width(i)-sum/float64(n), 2)
	}
	return math.Sqrt(squares / float64(n-1))
}

// Noise that is not the same all the time, or not new in every frame, is
// measured where it is: a motor that runs for a third of the time or in short
// bursts, packets that feed several frames, jitter before the receiver holds.
func TestJitterWhereItIs(t *testing.T) {
	fresh := func(i int) float64 { return rand.New(rand.NewPCG(31, uint64(i))).NormFloat64() }
	motor := func(i int) float64 { // 10 of 30 s
		if i >= 500 && i < 1000 {
			return 1500 + 6*fresh(i)
		}
		return 1500 + 0.5*fresh(i)
	}
	bursts := func(i int) float64 { // 2 of 6 s
		if i%300 < 100 {
			return 1500 + 6*fresh(i)
		}
		return 1500 + 0.5*fresh(i)
	}
	packets := func(k int) func(i int) float64 {
		return func(i int) float64 { return 1500 + 2.2*fresh(i/k) }
	}
	for name, width := range map[string]func(i int) float64{
		"a motor": motor, "bursts": bursts, "packets of two": packets(2), "packets of three": packets(3), "packets of four": packets(4),
	} {
		c := restsOf(t, 1500, width)
		assert.Greater(t, c.Jitter.WidthN, int64(1350), "%s: %v", name, c.Rests)
		assert.InEpsilon(t, whole(1500, width), c.Jitter.WidthRMS, 0.05, "%s: %v", name, c.Rests)
	}
	hold := func(i int) float64 {
		if i >= 1000 {
			return 1500.25
		}
		return 1500 + 2.2*fresh(i)
	}
	c := restsOf(t, 1200, hold)
	assert.InEpsilon(t, whole(1000, hold), c.Jitter.WidthRMS, 0.03, "a hold of a sixth of the time takes no part: %v", c.Rests)
}

// Spikes beside a gap and amid noise are told, and leave the jitter alone.
func TestSpikesNearGapsAndInNoise(t *testing.T) {
	for _, sigma := range []float64{0.3, 3, 5} {
		var starts, widths []Time
		rng := rand.New(rand.NewPCG(33, 34))
		for i := range 1000 {
			w := 1500 + sigma*rng.NormFloat64()
			switch {
			case i%100 == 50:
				continue // a frame is missing
			case i%100 == 52: // the second after it
				w += 90
			case i%100 == 80:
				w -= 90
			}
			starts = append(starts, Time(i)*20*Millisecond+3*Millisecond)
			widths = append(widths, Time(math.Round(w*1000))*Nanosecond)
		}
		a, _ := decoded(t, &tape{names: []string{"rudder"}, tracks: [][]change{pulsesOf(starts, widths)}, end: 20 * Second})
		c := a.Channels[0]
		assert.EqualValues(t, 20, c.channel.spikes.all, "%g us", sigma)
		assert.InEpsilon(t, sigma, c.Jitter.WidthRMS, 0.06, "%g us", sigma)
	}
}

// A timer of few steps, or an output that now and then is late, jitters as much as
// its widths say: most changes are small or none, and the others go to and fro.
func TestJitterOfFewWidths(t *testing.T) {
	one := func(of ...float64) func(*rand.Rand) float64 {
		return func(rng *rand.Rand) float64 { return of[rng.IntN(len(of))] }
	}
	late := func(share, least, most float64) func(*rand.Rand) float64 {
		return func(rng *rand.Rand) float64 {
			if rng.Float64() >= share {
				return 0
			}
			return least + (most-least)*rng.Float64()
		}
	}
	for name, off := range map[string]func(*rand.Rand) float64{
		"one step of 4 us up":       one(0, 4),
		"a quarter of frames up":    one(0, 0, 0, 4),
		"a step of 2 us either way": one(-2, 0, 0, 2),
		"three far apart":           one(-6, 0, 6),
		"a tenth late by 2..12 us":  late(0.1, 2, 12),
		"a tenth one step late":     late(0.1, 8, 8),
		"a third late by 2..12 us":  late(0.3, 2, 12),
	} {
		for seed := range uint64(5) {
			rng := rand.New(rand.NewPCG(35, seed))
			var all moments
			c := restsOf(t, 1500, func(int) float64 {
				w := 1500 + off(rng)
				all.add(int64(math.Round(w*1000)) * int64(Nanosecond))
				return w
			})
			assert.Greater(t, c.Jitter.WidthN, int64(1200), "%s, seed %d", name, seed)
			assert.InEpsilon(t, micros(Time(all.sd())), c.Jitter.WidthRMS, 0.1, "%s, seed %d", name, seed)
		}
	}
}

// A stick that turns, however fast, makes no spike.
func TestTurnsAreNoSpikes(t *testing.T) {
	for _, perFrame := range []float64{25, 50, 100} {
		c := restsOf(t, 600, func(i int) float64 { return 1200 + perFrame*math.Abs(math.Mod(float64(i), 10)-5) })
		assert.Zero(t, c.channel.spikes.all, "%g us a frame", perFrame)
	}
	// Nor where each packet feeds two frames: a hand drove these.
	hand := []float64{1520, 1375, 1287, 1238, 1213, 1256, 1479, 1617, 1697, 1737, 1760}
	c := restsOf(t, 600, func(i int) float64 { return hand[max(0, min(i/2-100, len(hand)-1))] + 3*float64(i%2) })
	assert.Zero(t, c.channel.spikes.all)
}

// On a receiver that steps, the end of a move is no part of the rest.
func TestMovesOfASteppingReceiver(t *testing.T) {
	for _, q := range []float64{1, 2, 4, 8} {
		for seed := range uint64(5) {
			slow := 40 + 30*float64(seed) // frames a move takes
			c := restsOf(t, 1500, stepped(func(i int) float64 {
				at, k := i/300, float64(i%300)
				from, to := 1504+96*float64(at%3), 1504+96*float64((at+1)%3)
				if k > 300-slow {
					from += (to - from) * (1 - math.Cos(math.Pi*(k-300+slow)/slow)) / 2
				}
				return from + 0.2*rand.New(rand.NewPCG(seed, uint64(i))).NormFloat64()
			}, q))
			for _, r := range c.Rests {
				assert.Less(t, r.RMS, 0.3*q+0.25, "steps of %g us, seed %d: %v", q, seed, c.Rests)
			}
			assert.Greater(t, c.Jitter.WidthN, int64(500), "steps of %g us, seed %d", q, seed)
		}
	}
}

// A stick that moves slowly and jitters, as it does to whoever drives: next to no
// rests, and a mean that steps everywhere.
func BenchmarkAnalyseMoving(b *testing.B) {
	const n = 50_000
	rng := rand.New(rand.NewPCG(5, 8))
	var starts, widths []Time
	for i := range n {
		starts = append(starts, Time(i)*20*Millisecond+3*Millisecond)
		widths = append(widths, Time(1500e6+400e6*math.Sin(float64(i)/150)+1e6*rng.NormFloat64()))
	}
	r, err := Decode(context.Background(), &tape{names: []string{"rudder"}, tracks: [][]change{pulsesOf(starts, widths)}, end: n * 20 * Millisecond}, Settings{})
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		require.EqualValues(b, n, r.Analyse().Channels[0].PulseCount)
	}
	b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpulses/s")
}

// A stick that is never still may creep for as long as a rest lasts: where it turns
// back and forth by some microseconds its width does not jitter, which noise as large
// does.
func TestCreepingStickDoesNotJitter(t *testing.T) {
	creeping := []float64{1789, 1778, 1773, 1774, 1777, 1780, 1782, 1781, 1780, 1778, 1773, 1770, 1771, 1777}
	around := func(widths []float64) func(i int) float64 { // moving, twice each
		return func(i int) float64 {
			if k := i/2 - 50; k >= 0 && k < len(widths) {
				return widths[k]
			}
			return 1500 + 300*math.Sin(float64(i/2)/5)
		}
	}
	rng := rand.New(rand.NewPCG(3, 3))
	noisy := slices.Clone(creeping)
	for i := range noisy {
		noisy[i] = 1777 + 6*rng.NormFloat64()
	}
	for _, c := range []struct {
		widths []float64
		warns  int
	}{{creeping, 0}, {noisy, 1}} {
		a, j := sticks(t, 300, around(c.widths))
		require.Equal(t, int64(28), a.Channels[0].Jitter.WidthN)
		assert.Len(t, findingsOf(j, WidthJitter), c.warns)
	}
}
