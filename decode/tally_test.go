package decode

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Every duration lies in its bin, to the picosecond.
func TestBins(t *testing.T) {
	require.Equal(t, 0, bin(0))
	require.Equal(t, lastBin, bin(1<<63-1))
	for i := range lastBin {
		from, to := binStart(i), binStart(i+1)
		require.Equal(t, i, bin(from))
		require.Equal(t, i, bin(to-1))
	}
	rapid.Check(t, func(t *rapid.T) {
		d := Time(rapid.Int64Range(0, int64(binStart(lastBin))-1).Draw(t, "d"))
		require.LessOrEqual(t, binStart(bin(d)), d)
		require.Greater(t, binStart(bin(d)+1), d)
	})
}

// BenchmarkTally counts the edges of busy lines: a clock, a clock of 24 MHz
// stamped to the nanosecond, serial data of 115 200 baud.
func BenchmarkTally(b *testing.B) {
	for _, c := range []struct {
		name  string
		steps []Time
	}{
		{"clock", []Time{250 * Nanosecond}},
		{"24 MHz", []Time{20 * Nanosecond, 21 * Nanosecond, 21 * Nanosecond, 21 * Nanosecond, 21 * Nanosecond, 21 * Nanosecond}},
		{"serial", []Time{8681 * Nanosecond, 17361 * Nanosecond, 26042 * Nanosecond, 8680 * Nanosecond, 43403 * Nanosecond}},
	} {
		b.Run(c.name, func(b *testing.B) {
			const edges = 32_000
			at := make([]Time, edges)
			for i := 1; i < edges; i++ {
				at[i] = at[i-1] + c.steps[(7*i+i*i/3)%len(c.steps)]
			}
			for b.Loop() {
				var t Tally
				t.AddRun(High, at)
				if !t.Busy() {
					b.Fatal(t.Edges)
				}
			}
			b.ReportMetric(float64(edges*b.N)/b.Elapsed().Seconds(), "edges/s")
		})
	}
}
