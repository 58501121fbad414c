package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

// limitsOf reads text as a limits file and returns its rules, or the refusal
// with the file called FILE.
func limitsOf(t testing.TB, text string, args ...string) (*rules, string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "limits.toml")
	require.NoError(t, os.WriteFile(name, []byte(text), 0o666))
	o, refusal := parse(append(args, "--limits", name)...)
	require.Empty(t, refusal)
	r, err := newRules(o)
	if err != nil {
		return nil, strings.ReplaceAll(wording(err), name, "FILE")
	}
	return r, ""
}

func TestLimitsFile(t *testing.T) {
	r, refusal := limitsOf(t, `
width_warn_us = [900, 2100.5]
width_jitter_warn_us = 5
period = "22ms"
dropped_fail_percent = 0
active = "low"

[channel.winch]
period = "11ms"
loss_after = "0.5s"
min_frames = 10
glitch_below_us = 250.5
signal = "pulse-position"

[channel]
"bus[3]" = { width_jitter_fail_us = 4 }
`)
	require.Empty(t, refusal)
	all := decode.DefaultLimits
	all.WidthWarn, all.WidthJitterWarn, all.DroppedFailPercent = [2]float64{900, 2100.5}, 5, 0
	all.WidthStated = true
	assert.Equal(t, all, r.limits().Default)
	assert.Equal(t, decode.Stated{Period: 22 * decode.Millisecond, Active: decode.Low}, r.stated().Default)

	winch := all
	winch.MinFrames = 10
	assert.Equal(t, winch, r.limits().For("winch"))
	assert.Equal(t, decode.Stated{Period: 11 * decode.Millisecond, LossAfter: 500 * decode.Millisecond, GlitchBelow: 250_500 * decode.Nanosecond,
		Signal: decode.PulsePosition, Active: decode.Low}, r.stated().For("winch"))
	assert.Equal(t, []string{"bus[3]", "winch"}, r.names())
}

// Only the stricter of a pair was stated: the usual milder one gives way.
func TestStricterLimitTakesTheMilderAlong(t *testing.T) {
	r, refusal := limitsOf(t, "width_fail_us = [950, 2050]\nwidth_jitter_fail_us = 4\nperiod_fail_percent = 0.5")
	require.Empty(t, refusal)
	l := r.limits().Default
	assert.Equal(t, [2]float64{950, 2050}, l.WidthWarn)
	assert.Equal(t, 4.0, l.WidthJitterWarn)
	assert.Equal(t, 0.5, l.PeriodWarnPercent)

	r, refusal = limitsOf(t, "width_fail_us = [400, 800]")
	require.Empty(t, refusal)
	assert.Equal(t, [2]float64{400, 800}, r.limits().Default.WidthWarn)
}

// A channel may be held to more than all are, and not to less than it says.
func TestChannelStricterThanAll(t *testing.T) {
	r, refusal := limitsOf(t, "width_warn_us = [885, 2115]\n[channel.winch]\nwidth_fail_us = [950, 2050]")
	require.Empty(t, refusal)
	assert.Equal(t, [2]float64{885, 2115}, r.limits().Default.WidthWarn)
	assert.Equal(t, [2]float64{950, 2050}, r.limits().For("winch").WidthWarn)
	_, refusal = limitsOf(t, "width_fail_us = [950, 2050]\n[channel.winch]\nwidth_warn_us = [900, 2100]")
	assert.Equal(t, "FILE:3:1: width_warn_us = [900, 2100] reaches past width_fail_us = [950, 2050]; limits that warn before they fail", refusal)
}

// Flags weigh more than the top of a limits file, a channel's own part more
// than flags.
func TestFlagsBesideLimits(t *testing.T) {
	r, refusal := limitsOf(t, "period = \"20ms\"\nactive = \"high\"\n[channel.winch]\nperiod = \"11ms\"",
		"--period", "22ms", "--loss-after", "200ms", "--active", "low")
	require.Empty(t, refusal)
	assert.Equal(t, 22*decode.Millisecond, r.stated().Default.Period)
	assert.Equal(t, 11*decode.Millisecond, r.stated().For("winch").Period)
	assert.Equal(t, 200*decode.Millisecond, r.stated().For("winch").LossAfter)
	assert.Equal(t, decode.Low, r.stated().For("winch").Active)
}

// refusedLimits are limits and what is said of them.
var refusedLimits = []struct{ text, want string }{
	{"width_warm_us = [885, 2115]", `FILE:1:1: unknown key "width_warm_us"; did you mean width_warn_us?`},
	{"Period = \"22ms\"", `FILE:1:1: unknown key "Period"; did you mean period?`},
	{"[channel.winch]\nWidth_Fail_US = [800, 2200]", `FILE:2:1: unknown key "Width_Fail_US"; did you mean width_fail_us?`},
	{"[Channel.winch]\nperiod = \"22ms\"", `FILE:1:2: unknown key "Channel"; did you mean channel?`},
	{"\n[channel.winch]\n  colour = 3", `FILE:3:3: unknown key "colour"; the keys here are width_warn_us, width_fail_us, width_jitter_warn_us, width_jitter_fail_us, period, period_warn_percent, period_fail_percent, frame_warn_percent, period_jitter_warn_us, dropped_fail_percent, glitch_fail_percent, glitch_below_us, loss_after, min_frames, active, signal`},
	{"[chanel.winch]\nperiod = \"22ms\"", `FILE:1:2: unknown key "chanel"; did you mean channel?`},
	{"min_frames = \"many\"", `FILE:1:14: min_frames is a text; write a whole number`},
	{"min_frames = 1.5", `FILE:1:14: min_frames is a number; write a whole number`},
	{"period = 22", `FILE:1:10: period: a duration needs a unit; 22s, 22ms, 22us or 22ns`},
	{"width_warn_us = 885", `FILE:1:17: width_warn_us is a whole number; write a list in square brackets`},
	{"width_warn_us = [885, \"2115\"]", `FILE:1:23: width_warn_us[1] is a text; write a number`},
	{"width_warn_us = [885]", `FILE:1:1: width_warn_us has 1 number; two numbers, such as [885, 2115]`},
	{"width_warn_us = [2115, 885]", `FILE:1:1: width_warn_us = [2115, 885] does not rise from lowest to highest; two numbers, such as [885, 2115]`},
	{"width_warn_us = [nan, 885]", `FILE:1:1: width_warn_us = [NaN, 885] does not rise from lowest to highest; two numbers, such as [885, 2115]`},
	{"width_warn_us = [700, 2115]", `FILE:1:1: width_warn_us = [700, 2115] reaches past width_fail_us = [800, 2200]; limits that warn before they fail`},
	{"width_fail_us = [900, 2100]\n\n  width_warn_us = [885, 2115]", `FILE:3:3: width_warn_us = [885, 2115] reaches past width_fail_us = [900, 2100]; limits that warn before they fail`},
	{"width_jitter_warn_us = 30", `FILE:1:24: width_jitter_warn_us = 30 is above width_jitter_fail_us = 20; a warning that comes before the failure`},
	{"period_warn_percent = 4", `FILE:1:23: period_warn_percent = 4 is above period_fail_percent = 3; a warning that comes before the failure`},
	{"dropped_fail_percent = 101", `FILE:1:24: dropped_fail_percent = 101 is more than 100 %; a number, such as 1`},
	{"frame_warn_percent = -1", `FILE:1:22: frame_warn_percent = -1 is below zero; a number, such as 5, or 0 for no limit`},
	{"frame_warn_percent = inf", `FILE:1:22: frame_warn_percent = +Inf is below zero; a number, such as 5, or 0 for no limit`},
	{"min_frames = 0", `FILE:1:14: min_frames = 0 would let a dead wire pass; at least 1`},
	{"glitch_below_us = 900", `FILE:1:19: glitch_below_us = 900 is above the lowest width of width_fail_us = [800, 2200]; at most 800`},
	{"glitch_below_us = 0", `FILE:1:19: glitch_below_us = 0 would leave no pulse apart from a glitch; a number from 1 to 3000`},
	{"period = \"22\"", `FILE:1:10: period: a duration needs a unit; 22s, 22ms, 22us or 22ns`},
	{"period = \"22ms\"\nloss_after = \"20ms\"", `FILE:2:14: loss_after = 20ms is no longer than period = 22ms, so every frame would be a loss; several periods`},
	{"period = \"22ms\"\n[channel.winch]\nloss_after = \"20ms\"", `FILE:3:14: loss_after = 20ms is no longer than period = 22ms, so every frame would be a loss; several periods`},
	{"active = \"up\"", `FILE:1:10: active = "up" is not a level; "high" or "low"`},
	{"signal = \"silent\"", `FILE:1:10: signal = "silent" is no kind of signal; "servo", "pulse-position", "duty" or "serial"`},
	{"[channel.winch]\nwidth_fail_us = [1, 2]\nwidth_fail_us = [1, 2]", `FILE:3:1: key width_fail_us is already defined; TOML 1.0, such as key = value`},
	{"period = ", `FILE:1:9: expected value, not end of input; TOML 1.0, such as key = value`},
	{"channel = 3", `FILE:1:11: channel is a whole number; write a table`},
}

func TestLimitsRefusals(t *testing.T) {
	for _, c := range refusedLimits {
		t.Run(c.text, func(t *testing.T) {
			_, got := limitsOf(t, c.text)
			assert.Equal(t, c.want, got)
		})
	}
	_, got := limitsOf(t, "loss_after = \"20ms\"", "--period", "22ms")
	assert.Equal(t, "FILE:1:14: loss_after = 20ms is no longer than period = 22ms, so every frame would be a loss; several periods", got)
}

// The printed example is a limits file, and its keys are the usual values.
func TestLimitsExample(t *testing.T) {
	r, refusal := limitsOf(t, limitsExample)
	require.Empty(t, refusal)
	want := decode.DefaultLimits
	want.WidthStated = true
	assert.Equal(t, want, r.limits().Default)
	assert.Equal(t, decode.Stated{GlitchBelow: 300 * decode.Microsecond}, r.stated().Default)
	for key := range accepted {
		assert.Contains(t, limitsExample, key)
	}

	uncommented := regexpReplace(limitsExample, `(?m)^# ([a-z_]+ = |\[channel)`, "$1")
	r, refusal = limitsOf(t, uncommented)
	require.Empty(t, refusal, uncommented)
	assert.Equal(t, []string{"winch"}, r.names())
	assert.Equal(t, 22*decode.Millisecond, r.stated().Default.Period)
}

// No text crashes the reader, and every refusal is one line that names the file.
func FuzzLimits(f *testing.F) {
	for _, c := range refusedLimits {
		f.Add(c.text)
	}
	f.Add(limitsExample)
	f.Add("[channel.a]\nb.c = {d = 1}\n[[e]]")
	f.Add("width_warn_us = {a = [1,2]}\nperiod.x = 3")
	f.Add("\"\" = 1\n[channel.\"\"]\nactive = \"low\"\n\x00")
	f.Add("channel.rudder.period = \"22ms\"\nchannel.rudder.loss_after = \"1ms\"")
	f.Fuzz(func(t *testing.T, text string) {
		file := &limitsFile{name: "FILE"}
		err := file.parse([]byte(text))
		if err == nil {
			_, err = file.rules(&options{})
		}
		if err != nil {
			require.Regexp(t, `^FILE`, err.Error())
		}
	})
}

func TestLimitsThatAreNone(t *testing.T) {
	_, refusal := limitsOf(t, strings.Repeat("0.1,0\n", mostSmall/6+1))
	assert.Equal(t, "FILE: more than 16 MiB; a file as widthwise help shows it, and no capture", refusal)
	_, refusal = limitsOf(t, "Time,rudder\n0.0,1\n")
	assert.Regexp(t, `^FILE:1:5: .*; TOML 1.0, such as key = value$`, refusal)
}
