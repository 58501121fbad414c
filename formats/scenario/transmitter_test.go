package scenario

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

// trial is a tug whose transmitter is off from 4 s to 7 s.
const trial = `
scenario = "switched off"
length = "10s"
[frames]
period = "20ms"
first = "10ms"
[transmitter]
off = "4s"
on = "7s"
[[channel]]
name = "throttle"
kind = "servo"
width_us = 1700
failsafe = { %s }
moves = [{ at = "5s", width_us = 1600 }]
`

// sentWidths lists the widths that go out, with the frame at which each begins.
func sentWidths(t *testing.T, text string) string {
	s, err := Parse("trial.toml", []byte(text))
	require.NoError(t, err)
	truth, err := s.Truth()
	require.NoError(t, err)
	var out []string
	last := ""
	for _, p := range truth.Channels[0].Pulses {
		now := p.Width.Micros(0)
		if p.Fate == Missing {
			now = "-"
		}
		if now != last {
			out = append(out, fmt.Sprintf("%s s %s", p.Start.Seconds(2), now))
		}
		last = now
	}
	return strings.Join(out, ", ")
}

func TestFailsafe(t *testing.T) {
	for does, want := range map[string]string{
		`does = "hold"`: "0.01 s 1700, 7.01 s 1600",
		`does = "preset", width_us = 1000, after = "1s"`:                 "0.01 s 1700, 5.01 s 1000, 7.01 s 1600",
		`does = "preset", width_us = 1000, after = "1s", back = "500ms"`: "0.01 s 1700, 5.01 s 1000, 7.51 s 1600",
		`does = "stop", after = "100ms"`:                                 "0.01 s 1700, 4.11 s -, 7.01 s 1600",
	} {
		assert.Equal(t, want, sentWidths(t, fmt.Sprintf(trial, does)), does)
	}
}

func TestMark(t *testing.T) {
	text := fmt.Sprintf(trial, `does = "hold"`) + "[[channel]]\nname = \"switch\"\nkind = \"mark\"\nlevel = \"high\"\noffset = \"20ms\"\n"
	s, err := Parse("trial.toml", []byte(text))
	require.NoError(t, err)
	changes := func(i int) (at []decode.Time) {
		for _, c := range s.mixer(i, nil, true).advance(10 * decode.Second)[1:] {
			at = append(at, c.At)
		}
		return at
	}
	assert.Equal(t, []decode.Time{4020 * decode.Millisecond, 7020 * decode.Millisecond}, changes(1))

	s.Channels[1].Bounce = 4e9
	bouncing := changes(1)
	assert.Greater(t, len(bouncing), 6)
	assert.Zero(t, len(bouncing)%2, "it ends as it began")
	for _, at := range bouncing {
		assert.True(t, at >= 4020*decode.Millisecond && at <= 4026*decode.Millisecond || at >= 7020*decode.Millisecond && at <= 7026*decode.Millisecond, "%v", at)
	}
}

// A hand drifts, wobbles and comes back to other spots; without one a stick is a
// machine.
func TestHand(t *testing.T) {
	stick := func(hand string) []float64 {
		text := "scenario = \"hand\"\nlength = \"8s\"\n[frames]\nperiod = \"20ms\"\n[[channel]]\nname = \"rudder\"\nkind = \"servo\"\nwidth_us = 1500\n" + hand +
			"moves = [{ at = \"2s\", width_us = 1900 }, { at = \"4s\", width_us = 1500 }]\n"
		s, err := Parse("hand.toml", []byte(text))
		require.NoError(t, err)
		truth, err := s.Truth()
		require.NoError(t, err)
		var out []float64
		for _, p := range truth.Channels[0].Pulses {
			out = append(out, float64(p.Width)/1e6)
		}
		return out
	}
	machine := stick("")
	drift := stick("hand = { drift_us_per_s = 10 }\n")
	assert.InDelta(t, 20, max(drift[99]-machine[99], machine[99]-drift[99]), 0.5, "two seconds of drift")
	assert.InDelta(t, 0, drift[100]-machine[100], 0.3, "a new place, a new drift")
	wobble := stick("hand = { wobble_us = 8, wobble_every = \"1s\" }\n")
	low, high := wobble[0], wobble[0]
	for _, w := range wobble[:100] {
		low, high = min(low, w), max(high, w)
	}
	assert.InDelta(t, 16, high-low, 0.1)
	back := stick("hand = { return_us = 10 }\n")
	assert.Equal(t, back[210], back[390])
	assert.NotEqual(t, back[0], back[210])
	assert.InDelta(t, 1500, back[210], 40)
}

func TestTransmitterThatMakesNoSense(t *testing.T) {
	good := fmt.Sprintf(trial, `does = "hold"`)
	for _, c := range []struct{ old, new, want string }{
		{`off = "4s"`, `off = "0s"`, `t.toml:8:7: off must be above zero; write off = "12s"`},
		{`on = "7s"`, `on = "3s"`, `t.toml:9:6: on is not later than off; leave it out where the transmitter stays off`},
		{`does = "hold"`, `does = "keep"`, `t.toml:14:21: does is "keep"; write "hold", "preset" or "stop"`},
		{`does = "hold"`, `does = "preset"`, `t.toml:14:12: width_us goes with a preset, and a preset with it; write { does = "preset", width_us = 1000 }`},
		{`kind = "servo"`, `kind = "mark"`, `t.toml:13:12: width_us says nothing of a mark channel; it takes level, offset, bounce, kind, active`},
	} {
		_, err := Parse("t.toml", []byte(strings.Replace(good, c.old, c.new, 1)))
		assert.EqualError(t, err, c.want)
	}
}
