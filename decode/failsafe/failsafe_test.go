package failsafe_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/failsafe"
	"widthwise/formats"
	"widthwise/formats/scenario"
)

// trial is a scenario in which a transmitter is switched off, written out.
func trial(t testing.TB, text string, q failsafe.Question) *failsafe.Answer {
	t.Helper()
	a := analysis(t, text)
	var judged []*decode.ChannelAnalysis
	for _, c := range a.Channels {
		if c.Signal == decode.Servo {
			judged = append(judged, c)
		}
	}
	return failsafe.Examine(a, judged, q)
}

func analysis(t testing.TB, text string) *decode.Analysis {
	t.Helper()
	s, err := scenario.Parse("trial.toml", []byte(text))
	require.NoError(t, err, text)
	source, err := s.Open(formats.Options{})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), source, decode.Settings{})
	require.NoError(t, err)
	return recording.Analyse()
}

func at(seconds float64) *decode.Time {
	t := decode.Time(seconds * float64(decode.Second))
	return &t
}

func us(widths ...float64) (all []failsafe.Safe) {
	for _, w := range widths {
		all = append(all, failsafe.Safe{From: failsafe.Flag, Width: w})
	}
	return all
}

var stop = []failsafe.Safe{{From: failsafe.Flag, Stop: true}}

// tug writes a capture of one channel whose transmitter is off from 10 s to 16 s.
func tug(width float64, does, more string) string {
	return fmt.Sprintf(`
scenario = "switched off"
length = "20s"
sampling = "4MHz"
[frames]
period = "20ms"
jitter_us = 0.5
[transmitter]
off = "10s"
on = "16s"
[[channel]]
name = "throttle"
kind = "servo"
width_us = %v
jitter_us = 0.6
failsafe = { %s }
%s
`, width, does, more)
}

// What the table of verdicts says, line by line.
func TestVerdicts(t *testing.T) {
	preset := `does = "preset", after = "1s", width_us = 1000, back = "300ms"`
	kick := "[[fault]]\nkind = \"width-out-of-range\"\nwidth_us = 1500\nat = \"12s\"\ncount = 5\nrepeat = \"1s\"\ntimes = 2\n"
	gap := "[[fault]]\nkind = \"dropped-frame\"\nat = \"12s\"\ncount = 10\n"
	noise := ""
	for i, w := range []int{1100, 1850, 1350, 1950, 1250, 1600, 1050, 1450} {
		noise += fmt.Sprintf("[[fault]]\nkind = \"width-out-of-range\"\nwidth_us = %d\nat = \"%.2fs\"\ncount = 12\n", w, 14+0.24*float64(i))
	}
	cases := map[string]struct {
		width   float64
		does    string
		more    string
		safe    []failsafe.Safe
		on      bool
		within  decode.Time
		outcome failsafe.Outcome
		verdict decode.Outcome
		reason  string
	}{
		"goes to the preset":                    {1700, preset, "", us(1000), true, 0, failsafe.Preset, decode.Passed, "goes from 1700 us to 1000 us after 1.0"},
		"any of two":                            {1700, preset, "", us(1500, 1000), true, 0, failsafe.Preset, decode.Passed, ""},
		"in time":                               {1700, preset, "", us(1000), true, 1100 * decode.Millisecond, failsafe.Preset, decode.Passed, ""},
		"too late":                              {1700, preset, "", us(1000), true, 900 * decode.Millisecond, failsafe.Preset, decode.Failed, "later than the 0.90 s it may take"},
		"another preset":                        {1700, preset, "", us(1500), true, 0, failsafe.Preset, decode.Failed, "safe would be 1500 us within 20 us"},
		"preset 15 us off":                      {1700, preset, "", us(1015), true, 0, failsafe.Preset, decode.Passed, ""},
		"preset 25 us off":                      {1700, preset, "", us(1025), true, 0, failsafe.Preset, decode.Failed, ""},
		"stops":                                 {1700, `does = "stop"`, "", stop, true, 0, failsafe.Stops, decode.Passed, "stops pulsing after 0.0"},
		"stops after a hold":                    {1700, `does = "stop", after = "800ms"`, "", stop, true, 900 * decode.Millisecond, failsafe.Stops, decode.Passed, "after 0.8"},
		"stops, to be 1000":                     {1700, `does = "stop"`, "", us(1000), true, 0, failsafe.Stops, decode.Failed, ""},
		"preset, to be silent":                  {1700, preset, "", stop, true, 0, failsafe.Preset, decode.Failed, "safe would be to stop"},
		"holds":                                 {1700, `does = "hold"`, "", us(1000), true, 0, failsafe.Holds, decode.Failed, "holds 1700 us"},
		"holds where it is safe":                {1000, `does = "hold"`, "", us(1000), true, 0, failsafe.Holds, decode.Undecided, "the stick rested at the safe width"},
		"holds near where it is safe":           {1014, `does = "hold"`, "", us(1000), true, 0, failsafe.Holds, decode.Undecided, "the stick rested at the safe width"},
		"preset where the stick was":            {1000, preset, "", us(1000), true, 0, failsafe.Holds, decode.Undecided, "holding and presetting look the same"},
		"silent, then where it was":             {1000, `does = "hold"`, "[[fault]]\nkind = \"dropped-frame\"\nat = \"10.2s\"\ncount = 20\n", us(1000), true, 0, failsafe.Preset, decode.Undecided, "only silent in between: a wire or a supply that fails for a while looks the same"},
		"no safe state known":                   {1700, preset, "", nil, true, 0, failsafe.Preset, decode.Undecided, "option safe throttle=1000us"},
		"a twitch on the way":                   {1700, preset, "[[fault]]\nkind = \"width-out-of-range\"\nwidth_us = 2000\nat = \"10.5s\"\ncount = 4\n", us(1000), true, 0, failsafe.Preset, decode.Failed, "lie beyond both: the machine twitches"},
		"two pulses are none":                   {1700, preset, "[[fault]]\nkind = \"width-out-of-range\"\nwidth_us = 2000\nat = \"10.5s\"\ncount = 2\n", us(1000), true, 0, failsafe.Preset, decode.Passed, ""},
		"kicks back to where it was":            {1700, preset, kick, us(1000), true, 0, failsafe.Preset, decode.Failed, "but leaves it 2 times again, first at 12.0"},
		"kicks, and nobody says when it is on":  {1700, preset, kick, us(1000), false, 0, failsafe.Preset, decode.Undecided, "did the transmitter come back?"},
		"kicks once stopped":                    {1700, `does = "stop"`, "[[fault]]\nkind = \"extra-pulse\"\noffset_us = 900\nwidth_us = 1700\nat = \"12s\"\ncount = 6\n", stop, true, 0, failsafe.Stops, decode.Failed, "had been safe before and left that again at 12.0"},
		"falls silent again":                    {1700, preset, gap, us(1000), true, 0, failsafe.Preset, decode.Undecided, "but falls silent again at 12.0"},
		"stops, and text comes instead":         {1700, `does = "stop"`, "[[fault]]\nkind = \"serial-text\"\nat = \"10.2s\"\nfor = \"5s\"\nbit_us = 100\n", stop, true, 0, failsafe.Stops, decode.Undecided, "but the line is not still: it carries something else (serial) from 10.2"},
		"stops, and the line stays high":        {1700, `does = "stop", after = "500ms"`, "[[fault]]\nkind = \"stuck-level\"\nlevel = \"high\"\nat = \"10.6s\"\nfor = \"8s\"\n", stop, true, 0, failsafe.Stops, decode.Undecided, "but the line stays high from 10.60 to 16.00 s: no controller sees a pulse end there"},
		"high, where it is to go to 1000":       {1700, `does = "stop", after = "500ms"`, "[[fault]]\nkind = \"stuck-level\"\nlevel = \"high\"\nat = \"10.6s\"\nfor = \"8s\"\n", us(1000), true, 0, failsafe.Stops, decode.Failed, "but the line stays high from 10.60 to 16.00 s; safe would be"},
		"stops, pulses, and stops":              {1700, `does = "hold"`, "[[fault]]\nkind = \"signal-loss\"\nat = \"10.5s\"\nfor = \"500ms\"\n[[fault]]\nkind = \"signal-loss\"\nat = \"13s\"\nfor = \"7s\"\n", stop, true, 0, failsafe.Stops, decode.Failed, "stops pulsing after 3.01 s, but had been safe before and left that again at 11.0"},
		"high for a while on the way":           {1700, preset, "[[fault]]\nkind = \"stuck-level\"\nlevel = \"high\"\nat = \"10.2s\"\nfor = \"600ms\"\n", us(1000), true, 0, failsafe.Preset, decode.Undecided, "but the line stays high from 10.2"},
		"low for a while on the way":            {1700, preset, "[[fault]]\nkind = \"stuck-level\"\nlevel = \"low\"\nat = \"10.2s\"\nfor = \"600ms\"\n", us(1000), true, 0, failsafe.Preset, decode.Passed, ""},
		"goes back to where it was":             {1700, `does = "preset", width_us = 1000`, "[[fault]]\nkind = \"width-out-of-range\"\nwidth_us = 1700\nat = \"11s\"\ncount = 400\n", us(1000), true, 0, failsafe.Preset, decode.Failed, "leaves 1700 us and is back there after 1.0"},
		"below both on the way":                 {1700, preset, "[[fault]]\nkind = \"width-out-of-range\"\nwidth_us = 900\nat = \"10.5s\"\ncount = 4\n", us(1000), true, 0, failsafe.Preset, decode.Failed, "4 pulses of down to 900 us lie beyond both"},
		"elsewhere before it stops":             {1700, `does = "preset", width_us = 1200`, "[[fault]]\nkind = \"signal-loss\"\nat = \"12s\"\nfor = \"10s\"\n", stop, true, 0, failsafe.Stops, decode.Failed, "us lie beyond where it was"},
		"safe on the way to another safe state": {1300, `does = "preset", width_us = 1500`, "[[fault]]\nkind = \"signal-loss\"\nat = \"12s\"\nfor = \"10s\"\n", append(us(1500), stop...), true, 0, failsafe.Stops, decode.Passed, ""},
		"may fall silent":                       {1700, preset, gap, append(us(1000), stop...), true, 0, failsafe.Preset, decode.Passed, ""},
		"whatever it hears":                     {1700, `does = "hold"`, noise, us(1000), true, 0, failsafe.Drifts, decode.Failed, "keeps moving"},
		"a stick that moves as the link goes":   {1200, `does = "hold"`, "moves = [{ at = \"9.4s\", width_us = 1900, rate_us_per_s = 700 }]\n", us(1000), true, 0, failsafe.Holds, decode.Undecided, "repeat with the stick at rest"},
		"a preset far from a stick that moves":  {1200, `does = "preset", width_us = 1000`, "moves = [{ at = \"9.4s\", width_us = 1900, rate_us_per_s = 500 }]\n", us(1000), true, 0, failsafe.Preset, decode.Passed, ""},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			q := failsafe.Question{Off: at(10), Safe: map[string][]failsafe.Safe{"throttle": c.safe}, Within: c.within}
			if c.on {
				q.On = at(16)
			}
			a := trial(t, tug(c.width, c.does, c.more), q)
			require.Len(t, a.Channels, 1)
			assert.Equal(t, c.outcome, a.Channels[0].Outcome)
			assert.Equal(t, c.verdict, a.Channels[0].Verdict)
			assert.Contains(t, a.Channels[0].Reason, c.reason)
			assert.Equal(t, c.verdict, a.Verdict)
		})
	}
}

func TestStatesAndFigures(t *testing.T) {
	q := failsafe.Question{Off: at(10), On: at(16), Safe: map[string][]failsafe.Safe{"throttle": us(1000)}}
	a := trial(t, tug(1700, `does = "preset", after = "1s", width_us = 1000, back = "300ms"`, ""), q)
	c := a.Channels[0]
	assert.InDelta(t, 1700, c.Before, 0.5)
	assert.InDelta(t, 1000, c.Final, 0.5)
	assert.InDelta(t, 1.01, float64(*c.SettledAfter)/1e12, 0.011)
}

// drawn is a trial drawn by chance: what every receiver does is known, and so is
// whether that is safe.
type drawn struct {
	text     string
	question failsafe.Question
	safe     map[string]bool   // what is true, by channel
	class    map[string]string // what the receiver does
}

// draw makes up a trial. A fair one is stated right and has its stick at rest
// away from the safe state; another may be stated seconds off, move, break and
// glitch.
func draw(seed uint64, fair bool) drawn {
	rng := rand.New(rand.NewPCG(seed, 7))
	pick := func(of ...float64) float64 { return of[rng.IntN(len(of))] }
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	off, on := between(6, 9), between(14, 16)
	d := drawn{safe: map[string]bool{}, class: map[string]string{}, question: failsafe.Question{Off: at(off), On: at(on), Safe: map[string][]failsafe.Safe{}}}
	d.text = fmt.Sprintf("scenario = \"drawn\"\nseed = %d\nlength = \"20s\"\nsampling = \"%vMHz\"\n[frames]\nperiod = \"%vms\"\njitter_us = %.1f\n[transmitter]\noff = \"%.4fs\"\non = \"%.4fs\"\n",
		seed, pick(1, 4, 24), pick(7, 14, 18, 20, 22), between(0, 3), off, on)
	if !fair {
		d.question.Off = at(off + pick(0, 0, between(-1.5, 1.5)))
		d.question.On = nil
		if rng.IntN(2) == 0 {
			d.question.On = at(on + pick(0, between(-1, 1)))
		}
	}
	faults := ""
	for _, name := range []string{"throttle", "rudder", "winch"} {
		safe, stick := pick(1000, 1100, 1500), between(1300, 1440)
		if !fair {
			stick = pick(safe+between(-30, 30), stick, between(1000, 1900))
		}
		does, preset := []string{"hold", "preset", "stop"}[rng.IntN(3)], pick(safe+between(-14, 14), safe+between(60, 300))
		what := fmt.Sprintf("does = %q, after = \"%.3fs\", back = \"%.3fs\"", does, pick(0, between(0, 2)), between(0, 1))
		if does == "preset" {
			what += fmt.Sprintf(", width_us = %.1f", preset)
		}
		wants := us(safe)
		if does == "stop" && rng.IntN(2) == 0 {
			wants = stop
		}
		d.question.Safe[name] = wants
		d.safe[name] = does == "preset" && preset-safe < 20 || does == "stop" && wants[0].Stop
		d.class[name] = map[string]string{"hold": "holds", "preset": "preset, safe", "stop": "stops, safe"}[does]
		if !d.safe[name] && does != "hold" {
			d.class[name] = map[string]string{"preset": "preset, elsewhere", "stop": "stops, to pulse"}[does]
		}
		moves := ""
		if !fair && rng.IntN(2) == 0 { // a throw of 80 ms or more, when it suits least
			to, takes := pick(safe+between(-15, 15), between(1000, 1900)), between(0.08, 1)
			moves = fmt.Sprintf("moves = [{ at = \"%.3fs\", width_us = %.1f, rate_us_per_s = %.0f }]\n",
				off+between(-1.5, 0.2), to, max(1, math.Abs(to-stick))/takes)
			if rng.IntN(2) == 0 {
				moves += fmt.Sprintf("hand = { drift_us_per_s = %.1f, wobble_us = %.1f }\n", between(0, 10), between(0, 6))
			}
		}
		d.text += fmt.Sprintf("[[channel]]\nname = %q\nkind = \"servo\"\nwidth_us = %.1f\njitter_us = %.1f\nfailsafe = { %s }\n%s", name, stick, between(0, 1.5), what, moves)
		if !fair && rng.IntN(3) == 0 {
			faults += fmt.Sprintf("[[fault]]\nchannels = [%q]\nat = \"%.3fs\"\n%s\n", name, off+between(-1, 3), []string{
				"kind = \"dropped-frame\"\ncount = 3", "kind = \"width-spike\"\nby_us = 150", "kind = \"width-spike\"\nby_us = -90\ncount = 4",
				"kind = \"glitch\"\nwidth_us = 80\noffset_us = 4000\nchance = 0.3\nfor = \"2s\"", "kind = \"loose-wire\"\nfor = \"1s\"\nopen = \"3ms\"\nclosed = \"90ms\"",
				"kind = \"jitter-burst\"\nfor = \"1s\"\nsigma_us = 8",
			}[rng.IntN(6)])
		}
	}
	d.text += faults
	return d
}

// Where a trial is fair every verdict is the true one; where it is not, nothing
// unsafe ever passes.
func TestTrialsDrawnByChance(t *testing.T) {
	type cell struct{ pass, fail, undecided int }
	for _, kind := range []string{"fair", "unfair"} {
		table := map[string]*cell{"holds": {}, "preset, safe": {}, "preset, elsewhere": {}, "stops, safe": {}, "stops, to pulse": {}}
		for seed := range uint64(trials) {
			d := draw(seed, kind == "fair")
			for _, c := range trial(t, d.text, d.question).Channels {
				at := table[d.class[c.Name]]
				switch c.Verdict {
				case decode.Passed:
					at.pass++
				case decode.Failed:
					at.fail++
				default:
					at.undecided++
				}
				want := map[bool]decode.Outcome{true: decode.Passed, false: decode.Failed}[d.safe[c.Name]]
				if kind == "fair" {
					assert.Equal(t, want, c.Verdict, "seed %d, %s: %s", seed, c.Name, c.Reason)
				} else if !d.safe[c.Name] {
					assert.NotEqual(t, decode.Passed, c.Verdict, "seed %d, %s: %s\n%s\noff %v", seed, c.Name, c.Reason, d.text, d.question.Off.Seconds(3))
				}
			}
		}
		t.Logf("%-8s %-18s %6s %6s %10s", kind, "receiver", "pass", "fail", "undecided")
		for _, class := range []string{"holds", "preset, safe", "preset, elsewhere", "stops, safe", "stops, to pulse"} {
			c := table[class]
			t.Logf("%-8s %-18s %6d %6d %10d", "", class, c.pass, c.fail, c.undecided)
			require.Positive(t, c.pass+c.fail+c.undecided, class)
		}
		assert.Positive(t, table["preset, safe"].pass, "what is safe can pass")
	}
}

// trials are drawn of either kind, three channels each.
const trials = 100

// An inferred switch-off can fail a channel and never pass it.
func TestInferredSwitchOff(t *testing.T) {
	two := tug(1700, `does = "preset", after = "1s", width_us = 1000`, "") + "[[channel]]\nname = \"winch\"\nkind = \"servo\"\nwidth_us = 1300\nfailsafe = { does = \"stop\", after = \"1s\" }\n"
	two = stayOff(two)
	a := trial(t, two, failsafe.Question{Safe: map[string][]failsafe.Safe{"throttle": us(1000), "winch": us(1000)}})
	assert.Equal(t, failsafe.Inferred, a.OffFrom)
	assert.InDelta(t, 11.01, float64(*a.Off)/1e12, 0.03)
	assert.Equal(t, failsafe.Preset, a.Channels[0].Outcome)
	assert.Equal(t, decode.Undecided, a.Channels[0].Verdict)
	assert.Contains(t, a.Channels[0].Reason, "the time of the switch-off is inferred; option off-at T")
	assert.Equal(t, failsafe.Stops, a.Channels[1].Outcome)
	assert.Equal(t, decode.Failed, a.Channels[1].Verdict)
	assert.Equal(t, decode.Failed, a.Verdict)

	one := trial(t, stayOff(tug(1700, `does = "preset", after = "1s", width_us = 1000`, "")), failsafe.Question{Safe: map[string][]failsafe.Safe{"throttle": us(1000)}})
	assert.Nil(t, one.Off, "one channel alone may be its stick")
	assert.Equal(t, decode.Undecided, one.Verdict)
	assert.Contains(t, one.Channels[0].Reason, "no switch-off is known; option off-at T or option off-mark CHANNEL")
}

// Channels that come to their presets one after the other and leave them together
// tell when the transmitter came back, which looks like one that went.
func TestInferredSwitchOn(t *testing.T) {
	two := tug(1700, `does = "preset", after = "1s", width_us = 1000`, "") + "[[channel]]\nname = \"winch\"\nkind = \"servo\"\nwidth_us = 1300\nfailsafe = { does = \"preset\", after = \"2s\", width_us = 1500 }\n"
	a := trial(t, two, failsafe.Question{Safe: map[string][]failsafe.Safe{"throttle": us(1000), "winch": us(1200)}})
	require.NotNil(t, a.Off)
	assert.InDelta(t, 16.0, float64(*a.Off)/1e12, 0.03)
	assert.Equal(t, decode.Undecided, a.Channels[0].Verdict)
	assert.Contains(t, a.Channels[0].Reason, "goes from 1000 us to 1700 us, and was safe before: a transmitter that came back then looks the same")
	assert.Equal(t, decode.Failed, a.Channels[1].Verdict, "safe neither before nor after")
}

// stayOff leaves the transmitter off to the end.
func stayOff(text string) string { return strings.Replace(text, "on = \"16s\"\n", "", 1) }

func TestMovementAfterTheSwitch(t *testing.T) {
	text := tug(1700, `does = "preset", after = "1s", width_us = 1000`, "moves = [{ at = \"16.5s\", width_us = 1900, rate_us_per_s = 800 }, { at = \"18s\", width_us = 1000, rate_us_per_s = 800 }]\n")
	q := failsafe.Question{Off: at(10), Safe: map[string][]failsafe.Safe{"throttle": us(1000)}}
	a := trial(t, text, q)
	assert.Equal(t, decode.Undecided, a.Verdict)
	assert.Contains(t, a.Channels[0].Reason, "did the transmitter come back? option on-at T says when")
	q.On = at(16)
	assert.Equal(t, decode.Passed, trial(t, text, q).Verdict)
}

func TestStatesInOrder(t *testing.T) {
	q := failsafe.Question{Off: at(10), On: at(16), Safe: map[string][]failsafe.Safe{"throttle": us(1000)}}
	text := tug(1700, `does = "preset", after = "1s", width_us = 1000, back = "300ms"`, "[[fault]]\nkind = \"dropped-frame\"\nat = \"12s\"\ncount = 30\n")
	c := trial(t, text, q).Channels[0]
	var told []string
	for _, s := range c.States {
		told = append(told, fmt.Sprintf("%s %.2f..%.2f %.0f", s.Kind, float64(s.Start)/1e12, float64(s.End)/1e12, s.Width))
	}
	assert.Equal(t, []string{"pulsing 10.01..11.01 1700", "pulsing 11.01..12.01 1000", "silent 12.01..12.61 NaN", "pulsing 12.61..16.00 1000"}, told)
	assert.InDelta(t, 2.61, float64(*c.SettledAfter)/1e12, 0.011)
}

func TestReturn(t *testing.T) {
	q := failsafe.Question{Off: at(10), On: at(16)}
	c := trial(t, tug(1700, `does = "preset", width_us = 1000, back = "300ms"`, ""), q).Channels[0].Return
	require.NotNil(t, c)
	assert.InDelta(t, 16.01, float64(*c.FirstPulse)/1e12, 0.001)
	assert.InDelta(t, 0.31, float64(*c.LiveAfter)/1e12, 0.01)
	assert.InDelta(t, 700, c.Jump, 3)
	assert.InDelta(t, 1000, c.Excursion[0], 3)
	assert.InDelta(t, 1700, c.Excursion[1], 3)

	c = trial(t, tug(1700, `does = "stop", back = "400ms"`, "[[fault]]\nkind = \"late-frame\"\nby = \"4ms\"\nat = \"16.44s\"\ncount = 3\n"), q).Channels[0].Return
	assert.InDelta(t, 0.41, float64(*c.LiveAfter)/1e12, 0.01)
	assert.InDelta(t, 16.41, float64(*c.FirstPulse)/1e12, 0.01)
	assert.True(t, math.IsNaN(c.Jump))
	assert.Positive(t, c.StartUpPulses)

	late := failsafe.Question{Off: at(10.5), On: at(16)}
	c = trial(t, tug(1700, `does = "stop", back = "400ms"`, ""), late).Channels[0].Return
	require.NotNil(t, c.LiveAfter, "silent at the switch-off that is stated, and back all the same")
	assert.InDelta(t, 0.41, float64(*c.LiveAfter)/1e12, 0.01)

	assert.Nil(t, trial(t, stayOff(tug(1700, `does = "stop"`, "")), failsafe.Question{Off: at(10)}).Channels[0].Return)
}

// A mark that bounces is pressed once; one that never moves marks nothing.
func TestMarked(t *testing.T) {
	text := tug(1700, `does = "preset", after = "1s", width_us = 1000`, "") + "[[channel]]\nname = \"switch\"\nkind = \"mark\"\nbounce = \"60ms\"\n"
	s, err := scenario.Parse("trial.toml", []byte(text))
	require.NoError(t, err)
	source, err := s.Open(formats.Options{})
	require.NoError(t, err)
	w := failsafe.Watch(source, 1)
	recording, err := decode.Decode(context.Background(), w, decode.Settings{})
	require.NoError(t, err)
	require.Len(t, w.Edges(), 2)
	assert.InDelta(t, 10, float64(w.Edges()[0])/1e12, 1e-6)
	assert.InDelta(t, 16, float64(w.Edges()[1])/1e12, 1e-6)
	a := recording.Analyse()
	q := failsafe.Question{Mark: w.Edges(), Marked: true, Safe: map[string][]failsafe.Safe{"throttle": us(1000)}}
	out := failsafe.Examine(a, a.Channels[:1], q)
	assert.Equal(t, decode.Passed, out.Verdict)
	assert.Equal(t, []failsafe.From{failsafe.Mark, failsafe.Mark}, []failsafe.From{out.OffFrom, out.OnFrom})

	q.Mark = append(w.Edges(), *at(19))
	out = failsafe.Examine(a, a.Channels[:1], q)
	assert.Equal(t, failsafe.MarkBusy, out.Notes[0].Kind)
	assert.Contains(t, out.Notes[0].Text, "only the trial between its first two changes is told; option from 17.5s tells the next")

	q.Mark = nil
	out = failsafe.Examine(a, a.Channels[:1], q)
	assert.Nil(t, out.Off)
	assert.Equal(t, failsafe.MarkStill, out.Notes[0].Kind)
}

// A mark that goes on tells of further trials, each with an answer of its own.
func TestSeveralTrials(t *testing.T) {
	text := tug(1700, `does = "preset", after = "500ms", width_us = 1000`, "")
	text = strings.Replace(text, `on = "16s"`, `on = "14s"`, 1)
	a := analysis(t, text)
	q := failsafe.Question{Marked: true, Mark: []decode.Time{*at(-1), *at(10), *at(14), *at(16), *at(19), *at(19.5)}, Safe: map[string][]failsafe.Safe{"throttle": us(1000)}}
	trials := q.Trials(a)
	require.Len(t, trials, 3)
	var told []string
	for _, q := range trials {
		c := failsafe.Examine(a, a.Channels, q)
		told = append(told, fmt.Sprintf("%s to %v: %s", c.Off.Seconds(1), c.On != nil, c.Channels[0].Reason))
		for _, n := range c.Notes {
			assert.NotEqual(t, failsafe.MarkBusy, n.Kind)
		}
	}
	assert.Equal(t, []string{
		"10.0 to true: goes from 1700 us to 1000 us after 0.51 s, which is safe",
		"16.0 to true: holds 1700 us; safe would be 1000 us within 20 us",
		"19.5 to false: holds 1700 us; safe would be 1000 us within 20 us",
	}, told)

	for i := range 70 {
		q.Mark = append(q.Mark, *at(19.6 + 0.001*float64(i)))
	}
	require.Len(t, q.Trials(a), 1)
	assert.Equal(t, decode.Undecided, failsafe.Examine(a, a.Channels, q).Verdict, "noise is no mark")
}

// Where the level is unknown to the end, nothing is held to the end.
func TestUnknownToTheEnd(t *testing.T) {
	text := tug(1700, `does = "preset", after = "200ms", width_us = 1000`, "[[fault]]\nkind = \"unknown-level\"\nat = \"11s\"\nfor = \"9s\"\n")
	a := trial(t, stayOff(text), failsafe.Question{Off: at(10), Safe: map[string][]failsafe.Safe{"throttle": us(1000)}})
	assert.Empty(t, a.Channels[0].Outcome)
	assert.Equal(t, decode.Undecided, a.Verdict)
	assert.Contains(t, a.Channels[0].Reason, "what the line does is not known from 11.0")
}

// A table of changes ends where all channels stop, whether or not the recorder went
// on: what they did then cannot be seen.
func TestChangesThatEnd(t *testing.T) {
	var table strings.Builder
	table.WriteString("time_s,throttle,rudder\n0,0,0\n")
	for at := 0.01; at < 10.5; at += 0.02 {
		fmt.Fprintf(&table, "%.6f,1,1\n%.6f,1,0\n%.6f,0,0\n", at, at+0.0015, at+0.0017)
	}
	reader, err := formats.NewReader(strings.NewReader(table.String()), "changes.csv", formats.Options{})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), reader, decode.Settings{})
	require.NoError(t, err)
	a := recording.Analyse()
	for _, off := range []float64{9, 10.4} {
		q := failsafe.Question{Off: at(off), Safe: map[string][]failsafe.Safe{"throttle": stop, "rudder": us(1000)}}
		c := failsafe.Examine(a, a.Channels, q).Channels
		assert.Equal(t, decode.Undecided, c[0].Verdict, "off at %v", off)
		assert.Contains(t, c[0].Reason, "whether all channels stopped then cannot be seen", "off at %v", off)
	}
	q := failsafe.Question{Off: at(4), Safe: map[string][]failsafe.Safe{"throttle": stop}}
	assert.Equal(t, decode.Failed, failsafe.Examine(a, a.Channels, q).Channels[0].Verdict, "a receiver that stops does so within seconds")
	q = failsafe.Question{Off: at(9), Safe: map[string][]failsafe.Safe{"rudder": us(1000)}}
	assert.Equal(t, decode.Failed, failsafe.Examine(a, a.Channels, q).Channels[1].Verdict, "it may neither hold nor stop")
}

// A preset that a stick reaches as well tells firmware nothing.
func TestPresetAtTheLowEnd(t *testing.T) {
	low := "moves = [{ at = \"2s\", width_us = 1006 }, { at = \"4s\", width_us = 1700 }]\n"
	q := failsafe.Question{Off: at(10), On: at(16), Safe: map[string][]failsafe.Safe{"throttle": us(1000)}}
	a := trial(t, tug(1006, `does = "preset", width_us = 1000`, low), q)
	assert.Equal(t, decode.Passed, a.Verdict)
	assert.Equal(t, failsafe.PresetAtLow, a.Notes[0].Kind)
	a = trial(t, tug(1006, `does = "preset", width_us = 990`, low), q)
	assert.NotEqual(t, failsafe.PresetAtLow, a.Notes[0].Kind)
	a = trial(t, tug(1100, `does = "hold"`, "[[fault]]\nkind = \"dropped-frame\"\nat = \"10s\"\nfor = \"1s\"\n"), q)
	assert.NotEqual(t, failsafe.PresetAtLow, a.Notes[0].Kind, "a stick that was held at one place shows no low end")
}

func TestIdle(t *testing.T) {
	text := tug(1000, `does = "preset", after = "1s", width_us = 1004`, "moves = [{ at = \"5s\", width_us = 1700 }]\n")
	a := trial(t, text, failsafe.Question{Off: at(10), On: at(16), Idle: &[2]decode.Time{*at(1), *at(4)}})
	require.Len(t, a.Channels[0].Safe, 1)
	assert.Equal(t, failsafe.Idle, a.Channels[0].Safe[0].From)
	assert.InDelta(t, 1000, a.Channels[0].Safe[0].Width, 0.5)
	assert.Equal(t, decode.Passed, a.Verdict)
	a = trial(t, text, failsafe.Question{Off: at(10), On: at(16), Idle: &[2]decode.Time{*at(3), *at(7)}})
	assert.Empty(t, a.Channels[0].Safe, "it did not rest")
	assert.Contains(t, a.Channels[0].Reason, "between 3.000 and 7.000 s it does not keep to one place")
	assert.Equal(t, decode.Undecided, a.Verdict)
}

// What never comes to rest drifts: a failure where the transmitter is known to
// have been off, else perhaps a transmitter that was on.
func TestDrifts(t *testing.T) {
	text := "scenario = \"drifts\"\nlength = \"20s\"\nsampling = \"4MHz\"\n[frames]\nperiod = \"20ms\"\n[[channel]]\nname = \"throttle\"\nkind = \"servo\"\nwidth_us = 1700\n" +
		"moves = [{ at = \"10.5s\", sweep_us = 150, every = \"3s\" }]\n"
	q := failsafe.Question{Off: at(10), Safe: map[string][]failsafe.Safe{"throttle": us(1700)}}
	c := trial(t, text, q).Channels[0]
	assert.Equal(t, failsafe.Drifts, c.Outcome)
	assert.Equal(t, decode.Undecided, c.Verdict)
	assert.Contains(t, c.Reason, "did the transmitter come back")
	assert.Nil(t, c.SettledAfter)
	q.On = at(19)
	c = trial(t, text, q).Channels[0]
	assert.Equal(t, failsafe.Drifts, c.Outcome)
	assert.Equal(t, decode.Failed, c.Verdict, c.Reason)
}

// A switch that is stated too late, by hand, is asked about.
func TestStatedTooLate(t *testing.T) {
	text := tug(1700, `does = "stop"`, "")
	for name, c := range map[string]struct {
		off, on float64
		reason  string
	}{
		"off": {10.4, 16, "from 9.99 s on: is the stated time right?"},
		"on":  {10, 16.2, "changes again at 16.01 s, before the switch-on that is stated: is its time right?"},
	} {
		a := trial(t, text, failsafe.Question{Off: at(c.off), On: at(c.on), Safe: map[string][]failsafe.Safe{"throttle": stop}})
		assert.Equal(t, decode.Undecided, a.Verdict, name)
		assert.Contains(t, a.Channels[0].Reason, c.reason, name)
	}
}

// Too short, or silent before the switch, is no outcome at all.
func TestNoOutcome(t *testing.T) {
	var c failsafe.Channel
	for frames := range 25 {
		on := *at(10) + decode.Time(frames)*20*decode.Millisecond
		short := failsafe.Question{Off: at(10), On: &on, Safe: map[string][]failsafe.Safe{"throttle": us(1000)}}
		c = trial(t, tug(1700, `does = "preset", width_us = 1000`, ""), short).Channels[0]
		assert.Empty(t, c.Outcome, "%d frames", frames)
		assert.Equal(t, decode.Undecided, c.Verdict, "%d frames: %s", frames, c.Reason)
		assert.Contains(t, c.Reason, "too soon to tell")
	}

	q := failsafe.Question{Off: at(10), On: at(16), Safe: map[string][]failsafe.Safe{"throttle": stop}}
	c = trial(t, tug(1700, `does = "stop"`, "[[fault]]\nkind = \"dropped-frame\"\nat = \"9s\"\nfor = \"1.5s\"\n"), q).Channels[0]
	assert.Empty(t, c.Outcome)
	assert.Equal(t, decode.Undecided, c.Verdict)
	assert.Contains(t, c.Reason, "silent before the transmitter was switched off")
}

// A stream of which no slot is known is no reason to pass.
func TestStreamWithoutSlots(t *testing.T) {
	a := analysis(t, tug(1700, `does = "stop"`, ""))
	stream := &decode.ChannelAnalysis{Name: "sum", Signal: decode.PulsePosition}
	q := failsafe.Question{Off: at(10), On: at(16), Safe: map[string][]failsafe.Safe{"throttle": stop}}
	require.Equal(t, decode.Passed, failsafe.Examine(a, a.Channels[:1], q).Verdict)
	assert.Equal(t, decode.Undecided, failsafe.Examine(a, []*decode.ChannelAnalysis{a.Channels[0], stream}, q).Verdict)
}
