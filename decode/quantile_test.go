package decode

import (
	"iter"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// Type 7 quantiles: Hyndman and Fan, The American Statistician 50 (1996); worked
// samples in rational arithmetic.
func TestQuantileType7(t *testing.T) {
	samples := map[string][]int64{
		"A": {15, 20, 35, 40, 50}, "B": {1490, 1492, 1495, 1496, 1498, 1500, 1501, 1503, 1508, 1520},
		"C": {7}, "E": {3, 1, 1, 1, 2, 2, 8, 8, 5, 13, 21, 34},
	}
	cells := 0
	for _, row := range table(t, "quantile-worked.csv") {
		if row["type"] != "7" {
			continue
		}
		v := samples[row["sample"]]
		require.NotEmpty(t, v)
		for column, text := range row {
			p, ok := strings.CutPrefix(column, "p=")
			if !ok {
				continue
			}
			cells++
			want := number(t, text)
			assert.InDelta(t, want, quantile(slices.Clone(v), number(t, p)), 1e-9, "%s at %s", row["sample"], p)
			assert.InDelta(t, want, ofAll(v, number(t, p)), 1e-9, "%s at %s", row["sample"], p)
		}
	}
	assert.Equal(t, 48, cells)
}

// sortedQuantile returns the values in order and their quantile of type 7.
func sortedQuantile(v []int64, p float64) (sorted []int64, want float64) {
	sorted = slices.Clone(v)
	slices.Sort(sorted)
	h := p * float64(len(v)-1)
	i := int(h)
	want = float64(sorted[i])
	if i+1 < len(v) {
		want += (h - float64(i)) * float64(sorted[i+1]-sorted[i])
	}
	return sorted, want
}

// ofAll is quantilesOf all of some values, which come in three pieces.
func ofAll(v []int64, p float64) float64 {
	all := make([]Time, len(v))
	for i, x := range v {
		all[i] = Time(x)
	}
	return quantilesOf(inPieces(all), len(v), slices.Min(all), slices.Max(all), p)[0]
}

func inPieces(v []Time) iter.Seq[[]Time] {
	return func(yield func([]Time) bool) {
		_ = yield(v[:len(v)/3]) && yield(v[len(v)/3:len(v)/2]) && yield(v[len(v)/2:])
	}
}

// Of many values those between bounds alone take part, and several quantiles come
// of one count. Some values come so often that they are counted again in finer bins.
func TestQuantilesOfManyWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		crowd := int64(1) << rapid.IntRange(0, 12).Draw(t, "bits")
		all := make([]Time, 3*many)
		for i := range all {
			if all[i] = Time(rng.Int64N(1 << 40)); rng.IntN(4) > 0 {
				all[i] = 1<<39 + Time(rng.Int64N(crowd))
			}
		}
		lo := Time(rapid.Int64Range(0, 1<<41).Draw(t, "lo"))
		hi := lo + Time(rapid.Int64Range(0, 1<<41).Draw(t, "reach"))
		var inside []int64
		for _, v := range all {
			if v >= lo && v <= hi {
				inside = append(inside, int64(v))
			}
		}
		ps := []float64{0.01, 0.5, 0.99}
		got := quantilesOf(inPieces(all), len(all), lo, hi, ps...)
		for i, p := range ps {
			if len(inside) == 0 {
				require.True(t, math.IsNaN(got[i]))
				continue
			}
			_, want := sortedQuantile(inside, p)
			require.Equal(t, want, got[i])
		}
	})
}

// Selecting agrees with sorting, and both ways of selecting with each other.
func TestQuantileSelects(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Int64Range(0, 1<<rapid.IntRange(1, 40).Draw(t, "bits")), 1, 300).Draw(t, "values")
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		sorted, want := sortedQuantile(v, p)
		got := ofAll(v, p)
		moved := slices.Clone(v)
		require.InDelta(t, want, quantile(moved, p), 1e-3)
		require.InDelta(t, want, got, 1e-3)
		slices.Sort(moved)
		require.Equal(t, sorted, moved)
	})
}

// Many values are selected by counting, with room for them and without.
func TestQuantileOfMany(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		spread := int64(1) << rapid.IntRange(0, 45).Draw(t, "bits")
		v := make([]int64, many+1+rapid.IntRange(0, 100).Draw(t, "more"))
		for i := range v {
			v[i] = rng.Int64N(spread) - spread/2
			if rng.IntN(10) == 0 {
				v[i] = v[rng.IntN(i+1)] // some are alike
			}
			if i%1000 == 7 {
				v[i] *= 1000
			}
		}
		p := rapid.SampledFrom([]float64{0, 0.01, 0.5, 0.98, 0.99, 1, 1.0 / float64(len(v)-1)}).Draw(t, "p")
		sorted, want := sortedQuantile(v, p)
		require.Equal(t, want, ofAll(v, p))
		require.Equal(t, want, quantile(v, p))
		slices.Sort(v)
		require.Equal(t, sorted, v)
	})
}

// gonum as a second opinion on quantiles. Its linear interpolation is type 4 of
// Hyndman and Fan, h = n p; type 7, h = (n - 1) p + 1, is that at h / n.
func TestQuantileAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Uint32Range(0, 3_000_000_000), 1, 400).Draw(t, "widths")
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		floats := make([]float64, len(v))
		for i, x := range v {
			floats[i] = float64(x)
		}
		slices.Sort(floats)
		n := float64(len(v))
		want := stat.Quantile(min(1, ((n-1)*p+1)/n), stat.LinInterp, floats, nil)
		require.InDelta(t, want, quantile(v, p), 1e-2, "of picoseconds")
	})
}

// Many values are put in order as a few are, also where most of them crowd into one
// bin of the rest.
func TestSortMany(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		crowd := int64(1) << rapid.IntRange(0, 31).Draw(t, "bits")
		v := make([]int32, rapid.IntRange(many-1, 4*many).Draw(t, "n"))
		for i := range v {
			if v[i] = int32(rng.Uint32()); rng.IntN(8) > 0 {
				v[i] = int32(rng.Int64N(crowd))
			}
		}
		want := slices.Clone(v)
		slices.Sort(want)
		sortMany(v)
		require.Equal(t, want, v)
	})
}
