package decode

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// readingsIn draws readings of a stick that moves and of packets that feed several
// frames each, in rows, with widths that scatter and come in steps.
func readingsIn(t *rapid.T, n int) []reading {
	all := make([]reading, n)
	step := rapid.SampledFrom([]int{1, 250, 1000}).Draw(t, "step")
	feeds := rapid.IntRange(1, 4).Draw(t, "frames of a packet")
	speed := rapid.IntRange(-30_000, 30_000).Draw(t, "speed")
	scatter := rapid.SampledFrom([]int{0, 300, 3000}).Draw(t, "scatter")
	rows := rapid.SampledFrom([]int{0, 1, 20}).Draw(t, "of 100 that begin a row")
	packet := 0
	for i := range all {
		if i%feeds == 0 {
			packet = 1_500_000_000 + i*speed*100 + 1000*rapid.IntRange(-scatter, scatter).Draw(t, "packet")
		}
		w := packet + 100*rapid.IntRange(-scatter, scatter).Draw(t, "output")
		all[i].width = uint32(w / step * step)
		if rapid.IntRange(0, 99).Draw(t, "row") < rows {
			all[i].note |= rowStart
		}
	}
	return all
}

// What rules packets out never does so where they are found.
func TestPacketsAreNotRuledOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := readingsIn(t, rapid.IntRange(2, noiseFrames).Draw(t, "readings"))
		f := noiseFinder{same: Time(rapid.SampledFrom([]int{1, 2000, 300_000, 2_000_000}).Draw(t, "same"))}
		f.lay(all, 0)
		if _, ok := f.packets(all); ok {
			require.True(t, f.mayRepeat(0, len(all)))
		}
	})
}

// Packets that feed 2 to 4 frames each, to and fro by 10 us, are found at any place.
func TestPacketsAreFound(t *testing.T) {
	for feeds := 2; feeds <= 4; feeds++ {
		for first := range feeds {
			all := make([]reading, noiseFrames)
			for i := range all {
				all[i].width = 1_500_000_000 + uint32((i+first)/feeds%2)*10_000_000
			}
			f := noiseFinder{same: 1_000_000}
			f.lay(all, 0)
			k, ok := f.packets(all)
			require.True(t, ok, "%d frames of a packet", feeds)
			require.Equal(t, feeds, k)
			require.True(t, f.mayRepeat(0, len(all)))
		}
	}
}

// A quantile that may be that of the part before is that of its own part.
func TestLikelyQuantile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l likely
		p := rapid.SampledFrom([]float64{0.25, 0.5}).Draw(t, "p")
		require.True(t, math.IsNaN(l.quantile(nil, p)))
		values := rapid.Int64Range(0, rapid.SampledFrom([]int64{1, 3, 1000}).Draw(t, "values"))
		for range 5 {
			v := rapid.SliceOfN(values, 1, noiseFrames).Draw(t, "part")
			some := make([]Time, len(v))
			for i, x := range v {
				some[i] = Time(x)
			}
			_, want := sortedQuantile(v, p)
			require.Equal(t, want, l.quantile(some, p))
		}
	})
}

// Of places where the means differ as much the first is taken.
func TestSplitsAtTheFirstOfEqualPlaces(t *testing.T) {
	const n, side = 90, 30
	for _, noise := range []float64{0.5, 1, 3} { // whose squares add up exactly
		var sums, noises [n + 1]float64
		for i := range n {
			w := 0.0
			if i >= side && i < n-side {
				w = 1e4
			}
			sums[i+1], noises[i+1] = sums[i]+w, float64(i+1)*noise*noise
		}
		require.Equal(t, side, splitPoint(sums[:], noises[:], 0, n))
	}
}
