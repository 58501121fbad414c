package decode

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// every writes so many frames of a period in microseconds.
func every(period float64, frames int) string {
	return fmt.Sprintf("%d*(H1500 L%g) ", frames, period-1500)
}

// The frame period changes: that is told, once for each change, and each
// stretch is held against its own period.
func TestPeriodChanges(t *testing.T) {
	for _, c := range []struct {
		periods []float64 // microseconds, one after the other
		frames  []int
		nominal float64
	}{
		{[]float64{20000, 16000}, []int{250, 200}, 20000},
		{[]float64{20000, 16000}, []int{100, 400}, 16000},
		{[]float64{20000, 20500}, []int{250, 200}, 20000},
		{[]float64{20000, 9000}, []int{250, 200}, 20000},
		{[]float64{9000, 20000}, []int{300, 200}, 20000},
		{[]float64{18000, 22000}, []int{100, 300}, 22000},
		{[]float64{22000, 11000}, []int{300, 200}, 22000},
		{[]float64{14000, 14300}, []int{300, 310}, 14300},
		{[]float64{20000, 20500, 20000}, []int{100, 200, 100}, 20500},
		{[]float64{20000, 16000, 18000, 14000}, []int{50, 60, 70, 80}, 18000},
		{[]float64{20000, 10000, 20000}, []int{200, 40, 100}, 20000},
		{[]float64{20000, 16000}, []int{200, 10}, 20000},
		{[]float64{20000, 16000}, []int{10, 400}, 16000},
	} {
		text, at := "L3000 ", 3000.0
		var want []PeriodChange
		var told []told
		frames := 0
		for i, p := range c.periods {
			text += every(p, c.frames[i])
			frames += c.frames[i]
			if i > 0 {
				start := Time(at * float64(Microsecond))
				want = append(want, PeriodChange{start, c.periods[i-1], p})
				told = append(told, findingOf(PeriodChanged, start, start+Time(p)*Microsecond))
			}
			at += p * float64(c.frames[i])
		}
		why := fmt.Sprint(c.periods, c.frames)
		ca, j := one(t, text+"H1500 L3000")
		require.NotNil(t, ca.Period, why)
		assert.Equal(t, want, ca.Period.Changes, why)
		assert.InDelta(t, c.nominal, ca.Period.Nominal, 1e-6, why)
		assert.Equal(t, told, findings(j, PeriodOutOfRange), why)
		assert.Equal(t, []int64{int64(frames) + 1, 0, 0}, []int64{ca.FrameCount, ca.DroppedCount, ca.LossCount}, why)
		assert.InDelta(t, 0, ca.Period.Intervals.SD, 1e-9, "the figures are those of the nominal period: %s", why)
		assert.Equal(t, Passed, j.Outcome, why)
		for _, f := range j.Findings {
			if f.Kind == PeriodOutOfRange {
				assert.Equal(t, Note, f.Severity, "only that analog servos may overheat: %s", why)
			}
		}
	}
}

func findingOf(k Kind, start, end Time) told {
	return told{k, start / Millisecond, end / Millisecond, 1}
}

// What is no change: nine frames of another period, a clock that drifts, a
// train in which every second frame goes missing and comes back.
func TestNoPeriodChange(t *testing.T) {
	drift := "L3000 "
	for i := range 1000 {
		drift += every(20000+float64(i)/2, 1)
	}
	for why, text := range map[string]string{
		"nine intervals":  "L3000 " + every(20000, 200) + every(16000, 9) + every(20000, 200),
		"drift":           drift,
		"half rate":       "L3000 " + every(20000, 200) + every(40000, 30) + every(20000, 200),
		"a third":         "L3000 " + every(20000, 200) + every(60000, 30) + every(20000, 200),
		"half to the end": "L3000 " + every(20000, 200) + every(40000, 60),
	} {
		c, j := one(t, text)
		assert.Empty(t, c.Period.Changes, why)
		for _, f := range j.Findings {
			assert.NotEqual(t, PeriodChanged, f.Kind, why)
		}
	}
}

// Frames missing on either side of a change are counted by the period there.
func TestDropsBesideAPeriodChange(t *testing.T) {
	text := "L3000 " + every(20000, 100) + "L20000 " + every(20000, 100) + every(16000, 50) + "L32000 " + every(16000, 100)
	c, j := one(t, text)
	require.Len(t, c.Period.Changes, 1)
	assert.Equal(t, "4.023", c.Period.Changes[0].At.Seconds(3))
	assert.EqualValues(t, 3, c.DroppedCount)
	assert.EqualValues(t, 353, c.FrameCount)
	assert.Equal(t, []told{{DroppedFrame, 2003, 2023, 1}, {PeriodChanged, 4023, 4039, 1}, {DroppedFrame, 4823, 4855, 2}}, findings(j))

	// A receiver that comes back at another rate: a loss and a change.
	c, j = one(t, "L3000 "+every(20000, 200)+"L400000 "+every(16000, 200))
	require.Len(t, c.Period.Changes, 1)
	assert.Equal(t, []told{{SignalLoss, 4003, 4403, 1}, {PeriodChanged, 4403, 4419, 1}}, findings(j))
	assert.Zero(t, c.DroppedCount)
}

// A slow start is no start-up because the rest is faster.
func TestSlowBeginningIsJudged(t *testing.T) {
	c, j := one(t, "L3000 "+every(22000, 200)+"L22000 "+every(22000, 180)+every(9000, 3000))
	assert.EqualValues(t, 3381, c.FrameCount)
	assert.EqualValues(t, 1, c.DroppedCount)
	assert.Equal(t, []told{{DroppedFrame, 4403, 4425, 1}, {PeriodChanged, 8385, 8394, 1}}, findings(j, PeriodOutOfRange))
}

// A change is told in words.
func TestPeriodChangeInWords(t *testing.T) {
	_, j := one(t, "L3000 "+every(20000, 250)+every(16000, 200))
	require.NotEmpty(t, j.Findings)
	assert.Equal(t, "the frame period changed: 20.00 ms until 5.0 s, then 16.00 ms", j.Findings[0].Message)
	_, j = one(t, "L3000 "+every(22000, 250)+every(11000, 200))
	assert.Equal(t, "frames every 11.00 ms: digital servos only; an analog servo may overheat under 15 ms", j.Findings[0].Message)
	assert.True(t, strings.HasSuffix(j.Findings[1].Message, "then 11.00 ms; or only one frame in 2 came before"), j.Findings[1].Message)
}

// A change of 500 us shows in frames that jitter by 100 us, and jitter alone is
// none.
func TestPeriodChangeInJitter(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 21))
		at, period := 3000.0, 20000.0
		var starts, widths []Time
		for i := range 900 {
			starts = append(starts, Time((at+100*rng.NormFloat64())*float64(Microsecond)))
			widths = append(widths, 1500*Microsecond)
			if i == 450 && seed%2 == 0 {
				period = 20500
			}
			at += period
		}
		a, j := decoded(t, &tape{names: []string{"a"}, tracks: [][]change{pulsesOf(starts, widths)}, end: Time(at) * Microsecond})
		changes := a.Channels[0].Period.Changes
		if seed%2 == 1 {
			assert.Empty(t, changes, "%d", seed)
			assert.Empty(t, j.Findings, "%d", seed)
			continue
		}
		require.Len(t, changes, 1, "%d", seed)
		assert.InDelta(t, 9.0, float64(changes[0].At)/float64(Second), 0.11, "%d: within five frames", seed)
		assert.InDelta(t, 20500, changes[0].To, 25, "%d", seed)
		require.Len(t, j.Findings, 1, "%d", seed)
	}
}

// A train that alternates may change its period as well, to another pair or to
// frames that are all alike, and each stretch is walked with its own.
func TestAlternatingFramesChangeTheirPeriod(t *testing.T) {
	pair := func(a, b float64, pairs int) string {
		return fmt.Sprintf("%d*(H1500 L%g H1500 L%g) ", pairs, a-1500, b-1500)
	}
	slow := "L3000 " + pair(17000, 19000, 100) // 18 ms up to 3.603 s
	for _, c := range []struct {
		why, then string
		to        float64
		dropped   int64
	}{
		{"to a faster pair", pair(8500, 9500, 90), 9000, 0},
		{"to a slower pair", pair(20000, 24000, 80), 22000, 0},
		{"to even frames", every(14000, 150), 14000, 0},
		{"to even frames that follow one another as fast as the shorter of the pair", every(17000, 150), 17000, 0},
		{"to a pair of which one is missing", pair(8500, 9500, 40) + "H1500 L16500 " + pair(8500, 9500, 40), 9000, 1},
	} {
		ca, j := one(t, slow+c.then+"H1500 L3000")
		require.Equal(t, Alternating, ca.Period.Pattern, c.why)
		assert.Equal(t, 18000.0, ca.Period.Nominal, c.why)
		require.Len(t, ca.Period.Changes, 1, c.why)
		x := ca.Period.Changes[0]
		assert.InDelta(t, 3603, float64(x.At)/float64(Millisecond), 20, c.why)
		assert.Equal(t, []float64{18000, c.to}, []float64{x.From, x.To}, c.why)
		assert.Equal(t, []int64{c.dropped, 0}, []int64{ca.DroppedCount, ca.LossCount}, c.why)
		assert.Empty(t, findings(j, PeriodChanged, DroppedFrame, PeriodOutOfRange), c.why)
	}
}
