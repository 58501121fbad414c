package decode

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// receiverOf records outputs that start one after another: frame i begins at
// start(i), and output k is widths(i)[k] long. Outputs named in hidden are not
// recorded.
func receiverOf(frames int, start func(i int) float64, widths func(i int) []float64, hidden ...int) *tape {
	c := &tape{}
	n := len(widths(0))
	starts, lengths := make([][]Time, n), make([][]Time, n)
	for i := range frames {
		at := start(i)
		for k, w := range widths(i) {
			ps := func(us float64) Time { return Time(math.Round(us*1000)) * Nanosecond }
			starts[k], lengths[k] = append(starts[k], ps(at)), append(lengths[k], ps(at+w)-ps(at))
			at += w + 8
		}
		c.end = Time(at+20000) * Microsecond
	}
	for k := range n {
		skip := false
		for _, h := range hidden {
			skip = skip || h == k
		}
		if !skip {
			c.names = append(c.names, []string{"throttle", "rudder", "winch", "horn"}[k])
			c.tracks = append(c.tracks, pulsesOf(starts[k], lengths[k]))
		}
	}
	return c
}

// flipped is a switch that is flipped every 3 s of 20 ms frames.
func flipped(i int) float64 { return 1000 + 1000*float64(i/150%2) }

// steadily begins a frame every 20 ms, with a jitter of 0.3 us.
func steadily(seed uint64) func(int) float64 {
	rng := rand.New(rand.NewPCG(seed, 7))
	return func(i int) float64 { return 3000 + 20000*float64(i) + 0.3*rng.NormFloat64() }
}

// Outputs that start when another ends: a switch flipped every 3 s moves those
// after it by a millisecond and is nobody's fault. The period is the frame's.
func TestOneOutputAfterAnother(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	noisy := func(w float64) float64 { return w + 0.3*rng.NormFloat64() }
	a, j := decoded(t, receiverOf(1500, steadily(1), func(i int) []float64 {
		return []float64{noisy(flipped(i)), noisy(1500 + 400*math.Sin(float64(i)/40)), noisy(1520), noisy(1200)}
	}))
	assert.Empty(t, j.Findings)
	assert.Equal(t, Passed, j.Outcome)
	for i, c := range a.Channels {
		assert.Equal(t, []string{"", "throttle", "rudder", "winch"}[i], c.Follows)
		assert.Equal(t, i+1, c.Place)
		assert.InDelta(t, 20000, c.Period.Nominal, 0.5, c.Name)
		assert.InDelta(t, 0.42, c.Period.Intervals.SD, 0.1, c.Name) // 0.3 times the root of two
		assert.InDelta(t, 0.42, c.Jitter.PeriodRMS, 0.1, c.Name)
		assert.InDelta(t, 0, c.Period.DriftPPM, 10, c.Name)
		assert.Zero(t, c.Period.Others, c.Name)
		assert.Equal(t, Steady, c.Period.Pattern, c.Name)
	}
}

// A follower behind an output that was not recorded follows the one before it.
func TestFollowingAcrossAnOutputNotRecorded(t *testing.T) {
	a, j := decoded(t, receiverOf(1500, steadily(2), func(i int) []float64 { return []float64{flipped(i), 1500, 1300} }, 1))
	require.Len(t, a.Channels, 2)
	assert.Equal(t, "throttle", a.Channels[1].Follows)
	assert.Empty(t, findings(j, CoarseSampling))
}

// Outputs that start together, or at fixed times, follow nobody.
func TestOutputsThatFollowNobody(t *testing.T) {
	for _, offset := range []float64{1.5, 2250} {
		rng := rand.New(rand.NewPCG(5, 6))
		var tracks [2][]change
		for k := range tracks {
			var starts, widths []Time
			for i := range 600 {
				starts = append(starts, Time((3000+20000*float64(i)+offset*float64(k)+0.2*rng.NormFloat64())*1000)*Nanosecond)
				widths = append(widths, Time((flipped(i)+0.3*rng.NormFloat64())*1000)*Nanosecond)
			}
			tracks[k] = pulsesOf(starts, widths)
		}
		a, _ := decoded(t, &tape{names: []string{"throttle", "rudder"}, tracks: tracks[:], end: 12010 * Millisecond})
		for _, c := range a.Channels {
			assert.Empty(t, c.Follows, "%g us after one another", offset)
		}
	}
}

// A late frame is told once, of the output that was late: those after it were
// on time behind it.
func TestLateFrameOfAReceiver(t *testing.T) {
	late := func(i int) float64 {
		at := 3000 + 20000*float64(i)
		if i == 300 {
			at += 2500
		}
		return at
	}
	widths := func(i int) []float64 {
		return []float64{1500 + 300*math.Sin(float64(i)/30), 1500 + 300*math.Sin(float64(i)/50), 1200}
	}
	_, j := decoded(t, receiverOf(600, late, widths))
	require.Len(t, findings(j), 1, "%v", j.Findings)
	assert.Equal(t, PeriodOutOfRange, j.Findings[0].Kind)
	assert.Equal(t, []string{"throttle"}, j.Findings[0].Channels)

	// The second output late by itself.
	c := receiverOf(600, func(i int) float64 { return 3000 + 20000*float64(i) }, widths)
	for k := 1; k < 3; k++ {
		c.tracks[k][2*300+1].at += 2500 * Microsecond
		c.tracks[k][2*300+2].at += 2500 * Microsecond
	}
	a, j := decoded(t, c)
	assert.Equal(t, "rudder", a.Channels[2].Follows)
	require.Len(t, findings(j), 1, "%v", j.Findings)
	assert.Equal(t, []string{"rudder"}, j.Findings[0].Channels)
}

// A wire that fails moves nobody: where the pulse before is missing, the
// receiver is taken to have kept its width.
func TestFollowingAMissingPulse(t *testing.T) {
	c := receiverOf(900, func(i int) float64 { return 3000 + 20000*float64(i) }, func(i int) []float64 { return []float64{flipped(i), 1500} })
	c.tracks[0] = append(c.tracks[0][:2*200+1], c.tracks[0][2*203+1:]...)
	a, j := decoded(t, c)
	assert.Equal(t, "throttle", a.Channels[1].Follows)
	assert.Equal(t, []told{{DroppedFrame, 4003, 4063, 3}}, findings(j, CoarseSampling))
	assert.EqualValues(t, 900, a.Channels[1].FrameCount)
}

// A single channel behind a switch that was not recorded: its start moves and
// stays, which is a note; more than 1.5 ms is no switch.
func TestStartMoved(t *testing.T) {
	for _, c := range []struct {
		why  string
		by   float64
		want []told
	}{
		{"a switch flipped three times", 1000, []told{{StartMoved, 3005, 9005, 3}}},
		{"half way", 500, []told{{StartMoved, 3004, 9004, 3}}},
		{"too little to tell", 60, nil},
	} {
		_, j := decoded(t, receiverOf(600, func(i int) float64 { return 3000 + 20000*float64(i) },
			func(i int) []float64 { return []float64{1000 + c.by*float64(i/150%2), 1500} }, 0))
		assert.Equal(t, c.want, findings(j, CoarseSampling), c.why)
		assert.Equal(t, Passed, j.Outcome, c.why)
	}
	_, j := one(t, "L3000 "+every(22000, 50)+"L2000 "+every(22000, 50))
	require.Len(t, findings(j), 1)
	assert.Equal(t, PeriodOutOfRange, j.Findings[0].Kind, "2 ms are a restart of the phase")
	_, j = one(t, "L3000 "+every(22000, 50)+"L1300 "+every(22000, 50))
	require.Len(t, findings(j), 1)
	assert.Equal(t, StartMoved, j.Findings[0].Kind)
	assert.Equal(t, Note, j.Findings[0].Severity)
	assert.Equal(t, "the pulse's start moved once by up to 1300 us and stayed: an output before it, not recorded, changed its width", j.Findings[0].Message)
}
