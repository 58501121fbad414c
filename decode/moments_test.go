package decode

import (
	"bufio"
	"encoding/csv"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

const reference = "../testdata/reference"

// table reads a CSV file of reference figures as rows by column name.
func table(t testing.TB, name string) []map[string]string {
	f, err := os.Open(filepath.Join(reference, name))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, h := range rows[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t testing.TB, text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

// strd returns a data set of the NIST Statistical Reference Datasets as whole
// numbers of 10^-5: its decimal text, not what a float makes of it.
func strd(t testing.TB, row map[string]string) []int64 {
	var texts []string
	switch {
	case row["data"] == "recipe":
		base := map[string]string{"NumAcc2": "1", "NumAcc3": "1000000", "NumAcc4": "10000000"}[row["dataset"]]
		texts = append(texts, base+".2")
		for range 500 {
			texts = append(texts, base+".1", base+".3")
		}
	default:
		text, err := os.ReadFile(filepath.Join(reference, row["data"]))
		require.NoError(t, err)
		if row["dataset"] == "PiDigits" {
			texts = strings.Split(strings.ReplaceAll(string(text), "\n", ""), "")
			break
		}
		lines := bufio.NewScanner(strings.NewReader(string(text)))
		for lines.Scan() {
			texts = append(texts, strings.TrimSpace(lines.Text()))
		}
	}
	var out []int64
	for _, s := range texts {
		r, ok := new(big.Rat).SetString(s)
		require.True(t, ok, s)
		r.Mul(r, big.NewRat(100000, 1))
		require.True(t, r.IsInt(), s)
		out = append(out, r.Num().Int64())
	}
	return out
}

// Certified means and standard deviations: NIST StRD, univariate summary
// statistics. The textbook formula in floating point must fail the same check,
// or the check would prove nothing; so must a running update on the sets with
// large means.
func TestStRD(t *testing.T) {
	const digits = 1e-14 // the certified figures have 15
	var naiveFails, updateFails []string
	for _, row := range table(t, "strd-certified.csv") {
		values := strd(t, row)
		require.Len(t, values, int(number(t, row["n"])), row["dataset"])
		var m moments
		var sum, squares float64
		for _, v := range values {
			m.add(v)
			sum += float64(v) / 1e5
			squares += float64(v) / 1e5 * float64(v) / 1e5
		}
		sd := number(t, row["certified_sd"])
		assert.InEpsilon(t, number(t, row["certified_mean"]), m.mean()/1e5, 1e-14, row["dataset"])
		assert.InEpsilon(t, sd, m.sd()/1e5, 1e-14, row["dataset"])
		n := float64(len(values))
		if naive := math.Sqrt((squares - sum*sum/n) / (n - 1)); !(math.Abs(naive-sd)/sd < digits) {
			naiveFails = append(naiveFails, row["dataset"])
		}
		mean, about := 0.0, 0.0
		for i, v := range values {
			d := float64(v)/1e5 - mean
			mean += d / float64(i+1)
			about += d * (float64(v)/1e5 - mean)
		}
		if update := math.Sqrt(about / (n - 1)); !(math.Abs(update-sd)/sd < digits) {
			updateFails = append(updateFails, row["dataset"])
		}
	}
	for _, hard := range []string{"Mavro", "Michelso", "NumAcc2", "NumAcc3", "NumAcc4"} {
		assert.Contains(t, naiveFails, hard)
	}
	for _, hard := range []string{"Mavro", "Michelso", "NumAcc3", "NumAcc4"} {
		assert.Contains(t, updateFails, hard)
	}
}

// Sums do not depend on how values are grouped, nor on the order in which the
// groups are joined, two by two.
func TestMomentsMerge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		most := rapid.SampledFrom([]int64{100, 1<<32 - 1, 1 << 32, 2e18}).Draw(t, "most")
		values := rapid.SliceOfN(rapid.Int64Range(-most, most), 1, 40).Draw(t, "values")
		groups := make([]moments, rapid.IntRange(1, 8).Draw(t, "groups"))
		var whole, atOnce moments
		sum, squares := new(big.Int), new(big.Int)
		var times []Time
		for _, v := range values {
			whole.add(v)
			times = append(times, Time(v))
			groups[rapid.IntRange(0, len(groups)-1).Draw(t, "group")].add(v)
			b := big.NewInt(v)
			sum.Add(sum, b)
			squares.Add(squares, new(big.Int).Mul(b, b))
		}
		for len(groups) > 1 {
			i := rapid.IntRange(0, len(groups)-1).Draw(t, "one")
			joined := groups[i]
			groups = slices.Delete(groups, i, i+1)
			groups[rapid.IntRange(0, len(groups)-1).Draw(t, "other")].merge(joined)
		}
		require.Equal(t, whole, groups[0])
		atOnce.addAll(times)
		require.Equal(t, whole, atOnce)
		require.Equal(t, sum.String(), big128(whole.sum).String())
		require.Equal(t, squares.String(), big128(whole.square).String())
		require.Equal(t, [2]int64{slices.Min(values), slices.Max(values)}, [2]int64{whole.min, whole.max})
	})
}

func big128(a int128) *big.Int {
	v := new(big.Int).Lsh(big.NewInt(a.hi), 64)
	return v.Add(v, new(big.Int).SetUint64(a.lo))
}

// Figures are the floats nearest to those of rational arithmetic, wherever the
// values lie and however little they scatter.
func TestMomentsRoundOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		about := rapid.Int64Range(-2e18, 2e18).Draw(t, "about")
		spread := rapid.Int64Range(0, 1<<rapid.IntRange(0, 60).Draw(t, "bits")).Draw(t, "spread")
		values := rapid.SliceOfN(rapid.Int64Range(about-spread, about+spread), 2, 40).Draw(t, "values")
		times := rapid.SampledFrom([]int{0, 3, 25}).Draw(t, "times doubled")
		var m moments
		sum, squares := new(big.Int), new(big.Int)
		for _, v := range values {
			m.add(v)
			b := big.NewInt(v)
			sum.Add(sum, b)
			squares.Add(squares, new(big.Int).Mul(b, b))
		}
		for range times {
			if m.square.hi > math.MaxInt64/2 || m.sum.size().hi > math.MaxInt64/2 {
				break // more than a sum of 128 bits holds
			}
			m.merge(m)
			sum.Lsh(sum, 1)
			squares.Lsh(squares, 1)
		}
		n := big.NewInt(m.n)
		mean, _ := new(big.Rat).SetFrac(sum, n).Float64()
		require.Equal(t, mean, m.mean())
		square, _ := new(big.Rat).SetFrac(squares, n).Float64()
		require.Equal(t, math.Sqrt(square), m.rms())
		deviations := new(big.Int).Mul(squares, n)
		deviations.Sub(deviations, new(big.Int).Mul(sum, sum))
		variance, _ := new(big.Rat).SetFrac(deviations, new(big.Int).Mul(n, big.NewInt(m.n-1))).Float64()
		require.Equal(t, math.Sqrt(variance), m.sd())
	})
}

// Eleven hours of intervals near 20 ms, each a picosecond longer than the one
// before, lose no digit: their sums have a closed form.
func TestMomentsOfManyIntervals(t *testing.T) {
	const n, base = 2_000_000, int64(20e9)
	var m moments
	for i := range int64(n) {
		m.add(base + i)
	}
	assert.Equal(t, float64(base)+(n-1)/2.0, m.mean())
	// the numbers 0 .. n-1 have the variance n (n + 1) / 12
	assert.InEpsilon(t, math.Sqrt(float64(n)*float64(n+1)/12), m.sd(), 1e-15)
}

// gonum as a second opinion on random data.
func TestMomentsAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	var m moments
	var v []float64
	for range 5000 {
		x := int64(rng.NormFloat64()*1e6) + 1500e6
		m.add(x)
		v = append(v, float64(x))
	}
	mean, sd := stat.MeanStdDev(v, nil)
	assert.InEpsilon(t, mean, m.mean(), 1e-12)
	assert.InEpsilon(t, sd, m.sd(), 1e-9)
}
