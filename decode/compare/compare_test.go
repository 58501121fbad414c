package compare

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/places"
	"widthwise/formats"
	"widthwise/formats/scenario"
)

// radio is one capture of a sweep, written out.
type radio struct {
	seed               int
	name               string
	period             string
	low, neutral, high float64
	jitter             float64
	active             string
	step               float64
	more               string
}

var before = radio{seed: 1, name: "throttle", period: "18ms", low: 1104, neutral: 1520, high: 1896, jitter: 0.1, active: "high", step: 2}

func (r radio) side(t *testing.T) *Side {
	var moves []string
	at := 1.5
	for range 4 {
		for _, w := range []float64{r.high, r.neutral, r.low, r.neutral} {
			moves = append(moves, fmt.Sprintf("{ at = \"%.1fs\", width_us = %v, rate_us_per_s = 500, shape = \"smooth\" }", at, w))
			at += 2.2
		}
	}
	text := fmt.Sprintf("scenario = \"radio\"\nseed = %d\nlength = \"40s\"\nsampling = \"4MHz\"\n[frames]\nperiod = %q\njitter_us = 1\n[[channel]]\nname = %q\nkind = \"servo\"\nactive = %q\nwidth_us = %v\njitter_us = %v\nstep_us = %v\nhand = { return_us = 3 }\nmoves = [%s]\n%s",
		r.seed, r.period, r.name, r.active, r.neutral, r.jitter, r.step, strings.Join(moves, ", "), r.more)
	s, err := scenario.Parse("radio.toml", []byte(text))
	require.NoError(t, err)
	source, err := s.Open(formats.Options{})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), source, decode.Settings{})
	require.NoError(t, err)
	a := recording.Analyse()
	return &Side{Name: fmt.Sprintf("radio %d", r.seed), Analysis: a, Channels: a.Measured()}
}

func compared(t *testing.T, b radio, s Settings) *Comparison {
	b.seed = 2
	out, err := Captures(before.side(t), b.side(t), s)
	require.NoError(t, err)
	return out
}

// verdicts writes what is not the same; what is only told may be undecided.
func verdicts(p *Pair) string {
	var out []string
	for _, f := range p.Figures {
		if f.Verdict == Changed || f.Judged && f.Verdict != Same {
			out = append(out, f.Name+" "+string(f.Verdict))
		}
	}
	return strings.Join(out, ", ")
}

// One thing is changed at a time: that thing is told, nothing else is, and the
// advice says what to do about it.
func TestWhatChanged(t *testing.T) {
	with := func(change func(*radio)) radio {
		r := before
		change(&r)
		return r
	}
	for name, c := range map[string]struct {
		after   radio
		verdict decode.Outcome
		changed string
		advice  string
	}{
		"nothing":        {before, decode.Passed, "", ""},
		"the period":     {with(func(r *radio) { r.period = "22ms" }), decode.Failed, "period_us changed", "wait at least 110 ms"},
		"a fast period":  {with(func(r *radio) { r.period = "11ms" }), decode.Failed, "period_us changed", "overheat many analog servos"},
		"half a percent": {with(func(r *radio) { r.period = "18.09ms" }), decode.Passed, "", ""},
		"neutral":        {with(func(r *radio) { r.neutral = 1560 }), decode.Failed, "neutral_us changed", "set throttle's neutral to 15"},
		"10 us":          {with(func(r *radio) { r.neutral = 1530 }), decode.Passed, "", ""},
		"the high end":   {with(func(r *radio) { r.high = 1840 }), decode.Failed, "high_us changed", "full command is no longer reached: set throttle's high end"},
		"the low end":    {with(func(r *radio) { r.low = 1040 }), decode.Failed, "low_us changed", "full command comes before the stick's end"},
		"the level":      {with(func(r *radio) { r.active = "low" }), decode.Failed, "active changed", "pulses are active low now"},
		"jitter":         {with(func(r *radio) { r.jitter = 1 }), decode.Passed, "width_jitter_rms_us changed", "the dead zone still covers it"},
		"the step":       {with(func(r *radio) { r.step = 4 }), decode.Passed, "step_us changed", ""},
		"dropped frames": {with(func(r *radio) { r.more = "[[fault]]\nkind = \"dropped-frame\"\nchance = 0.02\n" }), decode.Failed, "drops_per_min changed", "frames go missing more often"},
		"losses": {with(func(r *radio) {
			r.more = "[[fault]]\nkind = \"signal-loss\"\nat = \"2s\"\nfor = \"300ms\"\nrepeat = \"3s\"\n"
		}), decode.Failed, "losses_per_min changed", "look for the cause"},
		"three losses": {with(func(r *radio) {
			r.more = "[[fault]]\nkind = \"signal-loss\"\nat = \"2s\"\nfor = \"300ms\"\nrepeat = \"9s\"\ntimes = 3\n"
		}), decode.Passed, "", "too few to tell from chance and each of them one too many"},
		"two dropped": {with(func(r *radio) {
			r.more = "[[fault]]\nkind = \"dropped-frame\"\nat = \"3s\"\nrepeat = \"9s\"\ntimes = 2\n"
		}), decode.Passed, "", "a firmware that stops after 25 ms"},
	} {
		t.Run(name, func(t *testing.T) {
			out := compared(t, c.after, Settings{ClockPPM: 50})
			require.Len(t, out.Pairs, 1)
			assert.Equal(t, c.verdict, out.Verdict, verdicts(out.Pairs[0]))
			assert.Equal(t, c.changed, verdicts(out.Pairs[0]))
			var told []string
			for _, a := range out.Advice {
				told = append(told, a.Message)
				assert.NotEmpty(t, a.Because)
			}
			if c.advice == "" {
				assert.Empty(t, told)
			} else {
				assert.Contains(t, strings.Join(told, "\n"), c.advice)
			}
		})
	}
}

// The clocks of two recorders are added to the interval of a time, linearly:
// 50 ppm of 18 and of 22 ms are 2 us.
// A channel that begins where another ends does not jitter because that one's
// stick moves.
func TestFollowerIsTimedByItsLeader(t *testing.T) {
	still, moved := before, before
	rudder := "[[channel]]\nname = \"rudder\"\nkind = \"servo\"\nafter = \"throttle\"\nwidth_us = 1500\njitter_us = 0.3\n"
	still.more, moved.more = rudder, rudder
	still.low, still.high = 1519, 1521
	out, err := Captures(still.side(t), moved.side(t), Settings{})
	require.NoError(t, err)
	require.Len(t, out.Pairs, 2)
	for _, p := range out.Pairs {
		i := slices.IndexFunc(p.Figures, func(f *Figure) bool { return f.Name == "period_sd_us" })
		assert.Equal(t, Same, p.Figures[i].Verdict, "%s: %v", p.Before, p.Figures[i].Value)
		assert.Less(t, p.Figures[i].Value[1], 2.0, p.Before)
	}
}

func TestClocks(t *testing.T) {
	after := before
	after.period = "22ms"
	wide, narrow := compared(t, after, Settings{ClockPPM: 50}), compared(t, after, Settings{})
	a, b := wide.Pairs[0].figure("period_us"), narrow.Pairs[0].figure("period_us")
	assert.InDelta(t, 2.0, (a.High-a.Low)/2-(b.High-b.Low)/2, 1e-3)
	assert.InDelta(t, 4000, b.Difference, 1)
	assert.Less(t, b.High-b.Low, 1.0)
	assert.True(t, b.Low <= 4000 && 4000 <= b.High, "%v..%v", b.Low, b.High)
}

func TestDirection(t *testing.T) {
	turned := radio{seed: 2, name: "throttle", period: "18ms", low: 1896, neutral: 1520, high: 1104, jitter: 0.1, active: "high", step: 2}
	x, y := before.side(t), turned.side(t)
	out, err := Captures(x, y, Settings{})
	require.NoError(t, err)
	f := out.Pairs[0].figure("direction")
	assert.Equal(t, [2]string{"up first", "down first"}, f.Words)
	assert.False(t, f.Judged)
	assert.Equal(t, decode.Passed, out.Verdict)

	up := func(string) places.Arrival { return places.Upward }
	x.First, y.First = up, up
	out, err = Captures(x, y, Settings{})
	require.NoError(t, err)
	assert.Equal(t, [2]string{"with the stick", "reversed"}, out.Pairs[0].figure("direction").Words)
	assert.Equal(t, decode.Failed, out.Verdict)
	assert.Contains(t, out.Advice[0].Message, "propeller off or drive disconnected")
}

// What one side does not show says which capture would; what neither shows is
// left out.
func TestWhatOneSideLacks(t *testing.T) {
	x := before.side(t)
	still := before
	still.low, still.high = still.neutral, still.neutral
	y := still.side(t)
	y.Name = "after.csv"
	out, err := Captures(x, y, Settings{})
	require.NoError(t, err)
	f := out.Pairs[0].figure("low_us")
	assert.Equal(t, Undecided, f.Verdict)
	assert.True(t, math.IsNaN(f.Value[1]) && math.IsNaN(f.Low))
	assert.Equal(t, "after.csv does not show it; a sweep that holds low three times or more would", f.Message)
	assert.Equal(t, decode.Undecided, out.Verdict)
	out, err = Captures(y, y, Settings{})
	require.NoError(t, err)
	assert.Nil(t, out.Pairs[0].figure("low_us"))
	assert.Equal(t, decode.Passed, out.Verdict)
}

func TestMatching(t *testing.T) {
	side := func(labels map[string]string, names ...string) *Side {
		s := &Side{Name: "x.csv", Labels: labels}
		for i, n := range names {
			s.Channels = append(s.Channels, &decode.ChannelAnalysis{Name: n, InFrame: decode.InFrame{Place: i + 1}})
		}
		return s
	}
	told := func(a, b *Side, stated ...[2]string) string {
		pairs, left, err := match(a, b, stated)
		if err != nil {
			return err.Error()
		}
		var out []string
		for _, p := range pairs {
			out = append(out, fmt.Sprintf("%s-%s by %s", p.before.Name, p.after.Name, p.by))
		}
		return strings.TrimSpace(strings.Join(out, ", ") + " " + strings.Join(append(left[0], left[1]...), " "))
	}
	assert.Equal(t, "b-b by name, a-c by order", told(side(nil, "a", "b"), side(nil, "b", "c")))
	assert.Equal(t, "a-c by flag, b-b by name", told(side(nil, "a", "b"), side(nil, "b", "c"), [2]string{"a", "c"}))
	assert.Equal(t, "D0-throttle by label, D1-S1 by label", told(side(map[string]string{"D0": "throttle", "D1": "rudder"}, "D0", "D1"), side(map[string]string{"S1": "rudder"}, "S1", "throttle")))
	assert.Equal(t, "a-a by name b c", told(side(nil, "a", "b", "c"), side(nil, "a")))
	assert.Equal(t, `x.csv has no judged channel "z" left to match`, told(side(nil, "a"), side(nil, "a"), [2]string{"a", "z"}))
}

// A channel without a partner leaves the whole undecided, unless another fails.
func TestUnmatched(t *testing.T) {
	x, y := before.side(t), before.side(t)
	y.Channels = append(y.Channels, &decode.ChannelAnalysis{Name: "winch"})
	out, err := Captures(x, y, Settings{})
	require.NoError(t, err)
	assert.Equal(t, decode.Undecided, out.Verdict)
	assert.Equal(t, []string{"winch"}, out.Unmatched[1])
}

// Pairs drawn by chance: what changed by half as much again as its tolerance is
// told as changed, what changed by half of it as the same, and nothing the other
// way round; undecided is a matter of how often a place was visited.
func TestPairsDrawnByChance(t *testing.T) {
	const pairs = 40
	type count struct{ right, undecided, wrong int }
	table := map[string]*count{}
	for seed := range uint64(pairs) {
		rng := rand.New(rand.NewPCG(seed, 3))
		shift := func(tolerance float64) float64 { // inside, or well outside
			return []float64{-2, -1.5, -0.5, 0, 0, 0.5, 1.5, 2}[rng.IntN(8)] * tolerance
		}
		after := before
		after.seed = int(seed) + 10
		dn, dl, dh := shift(20), shift(30), shift(30)
		dp := []float64{-9, 0, 0, 0.3, 4}[rng.IntN(5)]
		after.neutral, after.low, after.high = before.neutral+dn, before.low+dl, before.high+dh
		after.period = fmt.Sprintf("%.1fms", 18+dp)
		out, err := Captures(before.side(t), after.side(t), Settings{ClockPPM: 50})
		require.NoError(t, err)
		for name, d := range map[string]float64{"neutral_us": dn / 20, "low_us": dl / 30, "high_us": dh / 30, "period_us": dp / 0.18} {
			f := out.Pairs[0].figure(name)
			require.NotNil(t, f, name)
			if table[name] == nil {
				table[name] = &count{}
			}
			want := Same
			if math.Abs(d) > 1 {
				want = Changed
			}
			switch f.Verdict {
			case want:
				table[name].right++
			case Undecided:
				table[name].undecided++
			default:
				table[name].wrong++
				assert.Fail(t, "wrong", "seed %d %s: %+v", seed, name, f)
			}
		}
	}
	t.Logf("%-12s %6s %10s %6s", "figure", "right", "undecided", "wrong")
	for _, name := range []string{"period_us", "neutral_us", "low_us", "high_us"} {
		t.Logf("%-12s %6d %10d %6d", name, table[name].right, table[name].undecided, table[name].wrong)
		assert.Greater(t, table[name].right, pairs/2, name)
	}
}
