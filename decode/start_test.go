package decode

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What comes before the first ten regular frames of a channel that was silent
// before is start-up, if it lasts 2 s or is 20 pulses at most: no loss, no drop,
// also where a stray pulse happens to be on the grid of what follows.
func TestStartUpOfASilentChannel(t *testing.T) {
	lucky := "H1500 L458500 " // 23 periods of 20 ms before
	for _, c := range []struct {
		why, track string
		want       []told
		frames     int64
	}{
		{"a lucky pulse", "L500000 " + lucky + every(20000, 100), []told{{StartUp, 500, 960, 1}}, 100},
		{"a lucky pulse two frames before", "L500000 H1500 L38500 " + every(20000, 100), []told{{StartUp, 500, 540, 1}}, 100},
		{"six frames, a pause, then all", "L500000 " + every(20000, 6) + "L280000 " + every(20000, 100), []told{{StartUp, 500, 900, 6}}, 100},
		{"fifteen stray pulses in 4 s", "L500000 14*(H1500 L267500) H1500 L58500 " + every(20000, 100), []told{{StartUp, 500, 4326, 15}}, 100},
		{"forty stray pulses in 1.5 s", "L500000 20*(H1500 L30500 H900 L41100) " + every(20000, 100), []told{{StartUp, 500, 1980, 40}}, 100},
	} {
		ca, j := one(t, c.track)
		assert.Equal(t, c.want, findings(j, CoarseSampling), c.why)
		assert.Equal(t, []int64{c.frames, 0, 0}, []int64{ca.FrameCount, ca.DroppedCount, ca.LossCount}, c.why)
		assert.Equal(t, Passed, j.Outcome, c.why)
	}
}

// More than that is no start-up: it is judged.
func TestRaggedBeginningIsJudged(t *testing.T) {
	text := "L500000 " + strings.Repeat("H1500 L18500 H1500 L18500 H1500 L98500 ", 20) + every(20000, 300)
	c, j := one(t, text)
	assert.EqualValues(t, 360, c.PulseCount)
	assert.EqualValues(t, 80, c.DroppedCount)
	for _, f := range findings(j, StartUp) { // that it came late, as all there is
		assert.Equal(t, DroppedFrame, f.kind)
	}
	assert.Equal(t, Failed, j.Outcome)
}

// Two channels that start together, each with a lucky pulse, are in order.
func TestLuckyPulsesOnAllChannels(t *testing.T) {
	_, j := decoded(t, newTape(t,
		"L540000 H1500 L458500 "+every(20000, 100),
		"L762000 H1500 L238500 "+every(20000, 100),
		"L324000 H1500 L678500 "+every(20000, 100)))
	for _, f := range findings(j, CoarseSampling) {
		assert.Equal(t, StartUp, f.kind)
	}
	require.Equal(t, Passed, j.Outcome)
}
