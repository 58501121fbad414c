package decode

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
				assert.LessOrEqual(t, j.WidthRMS, 0.53/mhz)
			})
		}
	}
}
