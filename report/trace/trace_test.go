package trace

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"widthwise/decode"
	"widthwise/formats"
)

// measured decodes the only channel of a scenario of 22 ms frames.
func measured(t require.TestingT, lines ...string) (*decode.Analysis, *decode.ChannelAnalysis) {
	text := append([]string{
		`scenario = "a rudder (invented)"`, `seed = 4`, `length = "8s"`, `sampling = "10MHz"`, `[frames]`, `period = "22ms"`,
		`[[channel]]`, `name = "rudder"`, `kind = "servo"`, `width_us = 1500`, `jitter_us = 3`,
	}, lines...)
	reader, err := formats.NewReader(strings.NewReader(strings.Join(text, "\n")), "rudder.toml", formats.Options{})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), reader, decode.Settings{})
	require.NoError(t, err)
	a := recording.Analyse()
	require.Len(t, a.Channels, 1)
	return a, a.Channels[0]
}

var fault = []string{`[[fault]]`, `kind = "dropped-frame"`, `channels = ["rudder"]`, `at = "3s"`}

// Every pulse is in one column, and no column's extremes are others than its
// own pulses', whatever the paper's width.
func TestThinKeepsExtremes(t *testing.T) {
	a, rudder := measured(t, fault...)
	rapid.Check(t, func(t *rapid.T) {
		columns := rapid.IntRange(1, 700).Draw(t, "columns")
		from := decode.Time(rapid.Int64Range(int64(a.Start), int64(a.End)-1).Draw(t, "from"))
		to := decode.Time(rapid.Int64Range(int64(from)+1, int64(a.End)).Draw(t, "to"))
		thin := Thin(rudder, from, to, columns)
		require.Len(t, thin, columns)
		var widths, kept []decode.Time
		for p := range rudder.Pulses() {
			if p.Start >= from && p.Start <= to {
				widths = append(widths, p.Width)
			}
		}
		rest := widths
		for _, c := range thin {
			require.LessOrEqual(t, c.Pulses, len(rest))
			if c.Pulses == 0 {
				require.Equal(t, Column{}, c)
				continue
			}
			own := rest[:c.Pulses]
			rest = rest[c.Pulses:]
			kept = append(kept, own...)
			low, high := own[0], own[0]
			for _, w := range own {
				low, high = min(low, w), max(high, w)
			}
			require.Equal(t, []decode.Time{own[0], own[len(own)-1], low, high}, []decode.Time{c.First, c.Last, c.Min, c.Max})
		}
		require.Equal(t, widths, kept)
	})
}

// The pen is lifted over missing frames and nowhere else.
func TestGapsStayGaps(t *testing.T) {
	gaps := func(columns []Column) (n int) {
		for _, c := range columns {
			if c.Gap {
				n++
			}
		}
		return n
	}
	a, healthy := measured(t)
	for _, columns := range []int{1, 40, 1200} {
		assert.Zero(t, gaps(Thin(healthy, a.Start, a.End, columns)), "%d columns", columns)
	}
	a, dropped := measured(t, fault...)
	for _, columns := range []int{1, 40, 1200} {
		assert.Equal(t, 1, gaps(Thin(dropped, a.Start, a.End, columns)), "%d columns", columns)
	}
	assert.True(t, Thin(dropped, a.Start, a.End, 40)[0].Lifted, "before the first pulse there is nothing")
	assert.InDelta(t, float64(33*decode.Millisecond), float64(Reach(dropped)), float64(10*decode.Microsecond), "one and a half frames")
}

// An alternating pair reaches as far as its longer interval.
func TestReachOfAnAlternatingPair(t *testing.T) {
	reader, err := formats.Open("../../testdata/scenarios/alternating.toml", formats.Options{})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), reader, decode.Settings{})
	require.NoError(t, err)
	a := recording.Analyse()
	for _, c := range a.Measured() {
		reach := Reach(c)
		n := 0
		for p := range c.Pulses() {
			if n++; n > 1 {
				require.False(t, Lifts(p, reach), fmt.Sprint(p.Interval))
			}
		}
		require.Greater(t, n, 50)
	}
}

func TestThinOfNothing(t *testing.T) {
	a, rudder := measured(t)
	assert.Empty(t, Thin(rudder, a.Start, a.End, 0))
	assert.Equal(t, make([]Column, 3), Thin(rudder, a.End, a.Start, 3))
	assert.Equal(t, make([]Column, 3), Thin(&decode.ChannelAnalysis{}, 0, decode.Second, 3))
}

func TestSpan(t *testing.T) {
	low, high := Span([2]float64{800, 2200}, nil)
	assert.Equal(t, []float64{716, 2284}, []float64{low, high})
	low, high = Span([2]float64{}, &decode.Summary{N: 3, Min: 500 * decode.Microsecond, Max: 2500 * decode.Microsecond})
	assert.Equal(t, []float64{380, 2620}, []float64{low, high})
}
