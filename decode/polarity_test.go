package decode

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// 333 Hz at 1750 us: either level could be the pulse, and the shorter is not it.
// Its leading edges are steadier, if only by what jitters; the line rests at the
// other level; or the other channels show which.
func TestActiveLevelOfFastPulses(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	var starts, widths []Time
	for i := range 2000 {
		starts = append(starts, Time(i+1)*3003*Microsecond)
		widths = append(widths, Time(1750e6+0.35e6*rng.NormFloat64()))
	}
	jittering := (&tape{names: []string{"a"}, tracks: [][]change{pulsesOf(starts, widths)}, end: 6100 * Millisecond})
	// 4 MHz in seven decimals: rounding is another one for either edge.
	rounded := newTape(t, "L1000")
	for i := range 8000 {
		if i < 7200 || i%2 == 0 {
			start := Time(i+1) * 2486967 * Nanosecond
			for _, x := range []change{{start, High}, {start + 760300*Nanosecond, Low}} {
				x.at = ((x.at/Nanosecond+249)/250*250 + 50) / 100 * 100 * Nanosecond
				rounded.tracks[0] = append(rounded.tracks[0], x)
			}
		}
	}
	rounded.end, rounded.origin = 20*Second, Origin{Unit: 100 * Nanosecond, UnitAtEnd: 100 * Nanosecond}
	for why, c := range map[string]*tape{
		"stamps that are rounded":             rounded,
		"a jittering width at 24 MHz":         jittering.sampled(24),
		"a jittering width at 1 MHz":          jittering.sampled(1),
		"low before it begins":                newTape(t, "L200000 2000*(H1750 L1253)"),
		"low for a moment":                    newTape(t, "L1000 1000*(H1750 L1253) L9009 1000*(H1750 L1253)"),
		"beside a servo that is active high":  newTape(t, "L1000 2000*(H1750 L1253)", "L3000 300*(H1500 L18500)"),
		"beside two that are, and one is not": newTape(t, "L1000 2000*(H1750 L1253)", "L3000 300*(H1500 L18500)", "H3000 300*(L1500 H18500)", "L7000 300*(H1500 L18500)"),
	} {
		a, _ := decoded(t, c)
		require.Equal(t, Servo, a.Channels[0].Signal, why)
		assert.Equal(t, High, a.Channels[0].Active, why)
		assert.False(t, noted(a, EitherLevel, "a"), why)
	}
	a, _ := decoded(t, newTape(t, "H1000 2000*(L1750 H1253)", "H3000 300*(L1500 H18500)"))
	assert.Equal(t, Low, a.Channels[0].Active, "beside one that is active low")
	a, _ = decoded(t, newTape(t, "L1000 2000*(H1750 L1253)"))
	assert.Equal(t, Low, a.Channels[0].Active, "nothing tells: the shorter, and a note")
	assert.True(t, noted(a, EitherLevel, "a"))
}
