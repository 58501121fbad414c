package calibrate_test

import (
	"context"
	"fmt"
	"iter"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/calibrate"
	"widthwise/decode/places"
	"widthwise/formats"
	"widthwise/formats/scenario"
)

const us = decode.Microsecond

// The worked example: full scale 1000 at neutral +-500 us, neutral 1520, deadband
// 25 (arithmetic of our own).
func TestWorkedExample(t *testing.T) {
	k := calibrate.Constants{Low: 1020, Neutral: 1520, High: 2020, Deadband: 25}
	m := calibrate.Mapping{Full: 1000}
	for width, want := range map[decode.Time]int64{
		1520: 0, 1544: 0, 1545: 0, 1546: 52, 1495: 0, 1494: -52, 1020: -1000, 1770: 500, 2020: 1000, 2100: 1000, 900: -1000,
	} {
		assert.Equal(t, want, k.Command(width*us, m), "%d us", width)
	}
	k.Reversed = true
	assert.Equal(t, int64(1000), k.Command(1020*us, m))
	assert.Equal(t, int64(-500), k.Command(1770*us, m))
}

// 250.25 us of 500 are 500.5 of 1000, which goes away from zero on either side.
func TestHalvesRoundAwayFromZero(t *testing.T) {
	k := calibrate.Constants{Low: 1020, Neutral: 1520, High: 2020}
	m := calibrate.Mapping{Full: 1000}
	assert.Equal(t, int64(501), k.Command(1770*us+us/4, m))
	assert.Equal(t, int64(-501), k.Command(1270*us-us/4, m))
	assert.Equal(t, int64(500), k.Command(1770*us+us/4-1, m))
}

func TestMargins(t *testing.T) {
	k := calibrate.Constants{Low: 1000, Neutral: 1500, High: 2000, Deadband: 20, EndMargin: 10}
	m := calibrate.Mapping{Full: 490}
	assert.Equal(t, int64(490), k.Command(1990*us, m), "full command that far inside the end")
	assert.Equal(t, int64(489), k.Command(1989*us, m))
	assert.Equal(t, int64(-490), k.Command(1010*us, m))
	edge := calibrate.Mapping{Full: 470, FromEdge: true}
	assert.Equal(t, int64(0), k.Command(1520*us, edge))
	assert.Equal(t, int64(1), k.Command(1521*us, edge), "no jump at the edge")
	assert.Equal(t, int64(470), k.Command(1990*us, edge))
	oneWay := calibrate.Constants{Low: 1000, Neutral: math.NaN(), High: 2000, EndMargin: 10}
	one := calibrate.Mapping{Full: 980}
	assert.Equal(t, []int64{0, 0, 490, 980, 980}, []int64{
		oneWay.Command(900*us, one), oneWay.Command(1010*us, one), oneWay.Command(1500*us, one), oneWay.Command(1990*us, one), oneWay.Command(2050*us, one)})
	oneWay.Reversed = true
	assert.Equal(t, []int64{980, 0}, []int64{oneWay.Command(1000*us, one), oneWay.Command(2000*us, one)}, "a reversed throttle stands still at its high end")
}

// pulses makes a train of widths in microseconds, 20 ms apart; 0 is a frame that
// is missing.
func pulses(widths ...decode.Time) iter.Seq[decode.Pulse] {
	return func(yield func(decode.Pulse) bool) {
		last := decode.Time(0)
		for i, w := range widths {
			if w == 0 {
				continue
			}
			p := decode.Pulse{Start: decode.Time(i) * 20 * decode.Millisecond, Width: w * us}
			if i > 0 {
				p.Interval = p.Start - last
			}
			last = p.Start
			if !yield(p) {
				return
			}
		}
	}
}

// replayed writes commands as a row of words.
func replayed(k calibrate.Constants, end decode.Time, widths ...decode.Time) string {
	var out []string
	for c := range k.Replay(pulses(widths...), end, calibrate.Mapping{Full: 100}) {
		word := fmt.Sprint(c.Value)
		if c.Stop {
			word = fmt.Sprintf("stop@%s", (c.Start / 1000).Micros(0))
		}
		out = append(out, word)
	}
	return strings.Join(out, " ")
}

func TestReplay(t *testing.T) {
	k := calibrate.Constants{Low: 1000, Neutral: 1500, High: 2000, Deadband: 10, LossAfter: 70 * decode.Millisecond}
	assert.Equal(t, "0 50 100", replayed(k, 0, 1500, 1750, 2000))
	assert.Equal(t, "50 50", replayed(k, 0, 1750, 0, 0, 1750), "a gap of 60 ms")
	assert.Equal(t, "50 stop@70 50", replayed(k, 0, 1750, 0, 0, 0, 1750), "a gap of 80 ms")
	assert.Equal(t, "50 50 stop@90", replayed(k, decode.Second, 1750, 1750), "a silent end")
	assert.Equal(t, "50 50 50 50 stop@70 0 50", replayed(k, 0, 1750, 2300, 700, 2300, 2300, 1750), "pulses that count as none")
}

func TestMix(t *testing.T) {
	k := calibrate.Constants{Low: 1000, Neutral: 1500, High: 2000, LossAfter: 70 * decode.Millisecond}
	m := calibrate.Mapping{Full: 100}
	a := k.Replay(pulses(1500, 1750, 2000, 2000), 0, m)
	b := k.Replay(pulses(1500, 1600, 2000, 1250), 0, m)
	sum, difference, seen := calibrate.Mix(a, b, 20*decode.Millisecond, 100)
	assert.Equal(t, calibrate.Range{Min: 0, Max: 100, Clipped: 1}, sum, "0, 70, 200, 50")
	assert.Equal(t, calibrate.Range{Min: 0, Max: 100, Clipped: 1}, difference, "0, 30, 0, 150")
	assert.Equal(t, 4, seen)
	_, _, seen = calibrate.Mix(a, k.Replay(pulses(1500, 0, 0, 1500), 0, m), 20*decode.Millisecond, 100)
	assert.Equal(t, 3, seen, "b's first serves two frames, its second one")
}

// sweep is a class's sweep of a rudder by hand, written out.
const sweep = `
scenario = "sweep"
seed = %d
length = "34s"
sampling = "4MHz"
[frames]
period = "18ms"
[[channel]]
name = "rudder"
kind = "servo"
width_us = 1518
jitter_us = 0.5
step_us = 1
hand = { drift_us_per_s = 4, wobble_us = 3, return_us = 6 }
moves = [%s]
`

func analysed(t *testing.T, text string) *decode.Analysis {
	s, err := scenario.Parse("sweep.toml", []byte(text))
	require.NoError(t, err)
	source, err := s.Open(formats.Options{})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), source, decode.Settings{})
	require.NoError(t, err)
	return recording.Analyse()
}

func swept(seed int, widths ...float64) string {
	var moves []string
	for i, w := range widths {
		moves = append(moves, fmt.Sprintf("{ at = \"%.1fs\", width_us = %v, rate_us_per_s = 900, shape = \"smooth\" }", 2+2.6*float64(i), w))
	}
	return fmt.Sprintf(sweep, seed, strings.Join(moves, ", "))
}

// Constants from a hand's sweep keep their promise on the sweep: neutral commands
// nothing, and both ends all.
func TestConstantsKeepTheirPromise(t *testing.T) {
	for seed := range 20 {
		a := analysed(t, swept(seed, 1888, 1518, 1112, 1518, 1888, 1518, 1112, 1518, 1888, 1518, 1112, 1518))
		c := calibrate.Of(a, a.Channels[0], places.Upward)
		require.Empty(t, c.Missing)
		assert.InDelta(t, 1112, c.Low, 30)
		assert.InDelta(t, 1518, c.Neutral, 12)
		assert.InDelta(t, 1888, c.High, 30)
		require.NotNil(t, c.Turned)
		assert.False(t, *c.Turned)
		p := c.Prove(c.Constants, a.End, calibrate.Mapping{Full: 1000})
		assert.Zero(t, p.IdleNotZero, "seed %d, deadband %v", seed, c.Deadband)
		assert.Greater(t, p.IdleFrames, 300)
		assert.True(t, p.ReachesLow && p.ReachesHigh)
		assert.Zero(t, p.StopsOnLoss)
		assert.Less(t, c.Deadband, 60.0)
	}
}

func TestReversed(t *testing.T) {
	a := analysed(t, swept(1, 1888, 1518, 1112, 1518, 1888, 1518))
	c := calibrate.Of(a, a.Channels[0], places.Downward)
	assert.True(t, *c.Turned)
	assert.True(t, c.Reversed)
	assert.Nil(t, calibrate.Of(a, a.Channels[0], places.Unseen).Turned)
	still := analysed(t, strings.Replace(swept(1), "drift_us_per_s = 4, ", "", 1))
	c = calibrate.Of(still, still.Channels[0], places.Upward)
	assert.Nil(t, c.Turned)
	assert.Contains(t, strings.Join(c.Missing, "\n"), "reversed: the stick did not travel")
}

// At a loss a machine drops what it was doing, and takes it up again at once.
func TestProofOfALoss(t *testing.T) {
	a := analysed(t, strings.Replace(swept(1, 1888), "hand = { drift_us_per_s = 4, wobble_us = 3, return_us = 6 }\n", "", 1)+
		"[[fault]]\nkind = \"dropped-frame\"\nat = \"20s\"\ncount = 20\n[[fault]]\nkind = \"dropped-frame\"\nat = \"1s\"\ncount = 20\n")
	c := calibrate.Of(a, a.Channels[0], places.Unseen)
	k := calibrate.Constants{Low: 1148, Neutral: 1518, High: 1888, Deadband: 10, LossAfter: 110 * decode.Millisecond}
	p := c.Prove(k, a.End, calibrate.Mapping{Full: 100})
	assert.Equal(t, 2, p.StopsOnLoss)
	assert.Equal(t, int64(100), p.JumpAtLoss)
	assert.Equal(t, int64(100), p.JumpAfterLoss)
	assert.Less(t, p.LargestJump, int64(20), "none across a loss")
	assert.False(t, p.ReachesLow)
	assert.True(t, p.ReachesHigh)
}

func TestLossAfter(t *testing.T) {
	gaps := func(count int, more string) *calibrate.Channel {
		a := analysed(t, swept(1, 1888)+fmt.Sprintf("[[fault]]\nkind = \"dropped-frame\"\nat = \"30s\"\ncount = %d\n%s", count, more))
		return calibrate.Of(a, a.Channels[0], places.Unseen)
	}
	assert.Equal(t, 110*decode.Millisecond, gaps(1, "").LossAfter)
	assert.Equal(t, 135*decode.Millisecond, gaps(4, "").LossAfter, "one and a half times a gap of 90 ms")
	assert.Equal(t, 110*decode.Millisecond, gaps(20, "").LossAfter, "a loss is no gap to wait for")
	assert.Contains(t, strings.Join(gaps(2, "").Said, "\n"), "a wait of 25 ms would have stopped it once, of 50 ms once, of 100 ms never")
}

// A throttle has no centre, but two stops of a hand at nearly the same place look
// like one. What two visits leave in doubt may reach an end.
func TestNeutralOfTwoVisits(t *testing.T) {
	of := func(widths ...float64) *calibrate.Channel {
		steady := strings.Replace(swept(1, widths...), "hand = { drift_us_per_s = 4, wobble_us = 3, return_us = 6 }\n", "", 1)
		a := analysed(t, strings.Replace(steady, "width_us = 1518", "width_us = 1100", 1))
		return calibrate.Of(a, a.Channels[0], places.Unseen)
	}
	c := of(1500, 1900, 1100, 1504, 1900, 1100, 1900)
	assert.InDelta(t, 1502, c.Neutral, 1)
	assert.True(t, c.Complete())
	assert.Contains(t, strings.Join(c.Said, "\n"), "neutral was visited less often than the ends")

	c = of(1250, 1900, 1100, 1280, 1900, 1100, 1900)
	assert.InDelta(t, 1265, c.Neutral, 1)
	assert.True(t, math.IsNaN(c.Deadband), "a deadband of %v us about %v us swallows low", c.Deadband, c.Neutral)
	assert.False(t, c.Complete())
	assert.Contains(t, strings.Join(c.Missing, "\n"), "which leaves no way from neutral to low")
}
