package decode

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Intervals are those between accepted pulses with no other accepted one and nothing
// blind between them, whatever else stands there and however they are cut to pieces.
func TestIntervalsOfTrain(t *testing.T) {
	kinds := []mark{0, broken, stuck, cut, stuck | cut, afterBlind, afterBlind | stuck, afterBlind | cut, afterBlind | broken}
	rapid.Check(t, func(t *rapid.T) {
		var tr train
		odd := rapid.SampledFrom([]int{0, 1, 30, 400}).Draw(t, "of 400 that are no plain pulses")
		at, last, blind := Time(0), Time(-1), false
		want := map[int]Time{} // by the beat that ends them
		pulses := 0
		for range rapid.IntRange(1, 3*piece).Draw(t, "entries") {
			at += 1 + Time(rapid.IntRange(0, 9).Draw(t, "apart"))
			e := entry{start: at, width: 1}
			if rapid.IntRange(0, 399).Draw(t, "kind") < odd {
				e.marks = rapid.SampledFrom(kinds).Draw(t, "marks")
			}
			tr.add(e)
			blind = blind || e.marks&afterBlind != 0
			if !e.accepted() {
				continue
			}
			if last >= 0 && !blind {
				want[pulses] = at - last
			}
			last, blind = at, false
			pulses++
		}
		b := tr.beats()
		require.Equal(t, pulses, b.n)
		if pulses == 0 {
			return
		}
		lo := rapid.IntRange(0, pulses-1).Draw(t, "lo")
		hi := rapid.IntRange(lo, pulses).Draw(t, "hi")
		got := map[int]Time{}
		for from, some := range b.intervals(lo, hi) {
			require.NotEmpty(t, some)
			for k, d := range some {
				got[from+k] = d
			}
		}
		for i := range pulses {
			if i <= lo || i >= hi {
				delete(want, i)
			}
		}
		require.Equal(t, want, got)
	})
}

// The histogram answers for whole bins only, and then as counting one by one would.
func TestHistogramBetween(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base := rapid.Int64Range(int64(shortestNarrowPeriod), int64(longestPeriod)).Draw(t, "base")
		spread := rapid.SampledFrom([]int64{1, 1000, base / 100, base}).Draw(t, "spread")
		var some []Time
		for _, d := range rapid.SliceOfN(rapid.Int64Range(0, spread), 0, 50).Draw(t, "over") {
			some = append(some, Time(base+d))
		}
		var h histogram
		h.add(some)
		lo := Time(rapid.Int64Range(base*9/10, base*11/10).Draw(t, "lo"))
		hi := lo + Time(rapid.Int64Range(0, base/5).Draw(t, "reach"))
		n, sum, ok := h.between(lo, hi)
		if whole := spread == 1 && base > 2*int64(shortestNarrowPeriod) && base < int64(longestPeriod)/2; whole && lo < Time(base)*99/100 && hi > Time(base)*102/100 {
			require.True(t, ok, "a bin that lies whole between")
		}
		if ok {
			wantN, wantSum := sumBetween(some, lo, hi)
			require.Equal(t, []any{wantN, wantSum}, []any{n, sum})
		}
	})
}
