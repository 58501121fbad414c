package decode

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Eight slots in 22.5 ms: three switches are flipped and the throttle is raised,
// so that the sync shrinks from 12.1 to 8.9 ms. That is no fault.
func TestSyncThatShrinks(t *testing.T) {
	text := "L3000 "
	for i := range 400 {
		slots := []float64{1100, 1500, 1500, 1500, 1200, 1200, 1200, 1200}
		slots[0] += 0.8 * min(1000, max(0, float64(i-100)*10))
		for s, at := range []int{180, 230, 290} {
			if i >= at {
				slots[5+s] = 2000
			}
		}
		text += stream(22500, slots...)
	}
	text += "H300 L3000"
	for _, text := range []string{text, upsideDown(text)} {
		a, j := decoded(t, newTape(t, text))
		c := a.Channels[0]
		require.Equal(t, PulsePosition, c.Signal)
		require.Len(t, c.Slots, 8)
		assert.Equal(t, []int64{400, 0, 0}, []int64{c.FrameCount, c.DroppedCount, c.LossCount})
		assert.Equal(t, []float64{1100, 1900}, []float64{micros(c.Slots[0].Width.Min), micros(c.Slots[0].Width.Max)})
		assert.Equal(t, []float64{1200, 2000}, []float64{micros(c.Slots[7].Width.Min), micros(c.Slots[7].Width.Max)})
		assert.Equal(t, Passed, j.Outcome, "%v", j.Findings)
		assert.Empty(t, j.Findings)
		for _, s := range c.Slots { // timed by the frame, whatever the slots before are
			assert.InDelta(t, 0, s.Period.Intervals.SD, 1e-6, s.Name)
			assert.InDelta(t, 0, s.Period.DriftPPM, 1e-3, s.Name)
		}
	}
}

// A stream that changes from eight slots to six, or back, has changed and lost
// nothing: each stretch is read with its own number.
func TestNumberOfSlotsChanges(t *testing.T) {
	eight := stream(22500, 1500, 1100, 1900, 1300, 1600, 1400, 1000, 1200)
	six := stream(22500, 1500, 1100, 1900, 1300, 1600, 1400)
	for _, c := range []struct{ first, then, says string }{
		{eight, six, "8 slots until 4.5 s, then 6"},
		{six, eight, "6 slots until 4.5 s, then 8"},
	} {
		a, j := decoded(t, newTape(t, "L3000 200*("+c.first+") 150*("+c.then+") H300 L3000"))
		ca := a.Channels[0]
		require.Len(t, ca.Slots, 8, c.says)
		assert.Equal(t, []int64{350, 0, 0}, []int64{ca.FrameCount, ca.DroppedCount, ca.LossCount}, c.says)
		assert.EqualValues(t, 350, ca.Slots[5].Width.N, c.says)
		assert.NotEqualValues(t, 350, ca.Slots[6].Width.N, c.says)
		assert.InDelta(t, 1600, ca.Slots[4].Width.Median, 1e-6, c.says)
		assert.Equal(t, ca.Slots[4].Width.Min, ca.Slots[4].Width.Max, c.says)
		assert.Empty(t, findings(j, CoarseSampling), c.says)
		assert.Equal(t, []Remark{{SlotsChanged, ca.Name, c.says}}, a.Notes)
	}
}

// What a stream lost its slots lost too, at the end as well as amid it; a slot that
// is no longer sent is not lost.
func TestSlotsOfAStreamThatStops(t *testing.T) {
	eight := stream(22500, 1500, 1100, 1900, 1300, 1600, 1400, 1000, 1200)
	six := stream(22500, 1500, 1100, 1900, 1300, 1600, 1400)
	a, _ := decoded(t, newTape(t, "L3000 200*("+eight+") 100*("+six+") H300 L700000 150*("+six+") H300 L900000"))
	c := a.Channels[0]
	require.Len(t, c.Slots, 8)
	assert.EqualValues(t, 2, c.LossCount)
	for i, s := range c.Slots {
		want := int64(2)
		if i >= 6 {
			want = 0
		}
		assert.EqualValues(t, want, s.LossCount, s.Name)
	}
	assert.InDelta(t, float64(c.LostTime), float64(c.Slots[0].LostTime), float64(Microsecond))
}

// A frame with a marker too many, or with one too few wherever it is, is one
// dropped frame: its slots are not used, and the next one is whole again.
func TestFramesWithAWrongCount(t *testing.T) {
	slots := []float64{1500, 1100, 1900, 1300, 1600, 1400, 1000, 1200}
	whole := stream(22500, slots...)
	wrong := map[string]string{
		"a marker too many": strings.Replace(whole, "H300 L1600", "H300 L700 H300 L600", 1),
	}
	for i := 1; i < len(slots); i++ {
		var run []float64
		run = append(run, slots[:i-1]...)
		run = append(run, slots[i-1]+slots[i])
		wrong[fmt.Sprintf("marker %d missing", i)] = stream(22500, append(run, slots[i+1:]...)...)
	}
	for why, frame := range wrong {
		a, _ := decoded(t, newTape(t, "L3000 60*("+whole+")"+frame+"60*("+whole+") H300 L3000"))
		c := a.Channels[0]
		require.Len(t, c.Slots, 8, why)
		assert.Equal(t, []int64{121, 1, 0}, []int64{c.FrameCount, c.DroppedCount, c.LossCount}, why)
		for i, s := range c.Slots {
			want := Time(slots[i]) * Microsecond
			assert.Equal(t, [2]Time{want, want}, [2]Time{s.Width.Min, s.Width.Max}, "%s: %s", why, s.Name)
			assert.EqualValues(t, 120, s.Width.N, "%s: %s", why, s.Name)
		}
	}
}

// A second that looks like nothing in particular, as where the number of slots
// changes, keeps its markers; what is unknown is no loss.
func TestStreamAroundAnUnknownStretch(t *testing.T) {
	whole := stream(22500, 1500, 1100, 1900, 1300, 1600, 1400)
	a, j := decoded(t, newTape(t, "L3000 100*("+whole+") x400000 L5000 100*("+whole+") H300 L3000"))
	c := a.Channels[0]
	assert.EqualValues(t, []int64{0, 0}, []int64{c.DroppedCount, c.LossCount}, "%v", j.Findings)
	assert.InDelta(t, 200, c.FrameCount, 1)
}

// Eight slots of 2.2 ms in 20 ms leave a sync that only its moving against the
// others tells; frames are followed by their length, also past a gap.
func TestSyncLikeASlotPastAGap(t *testing.T) {
	text := "L3000 "
	for i := range 300 {
		slots := []float64{2200, 2200, 2200, 2200, 2200, 2200, 2200, 2200}
		slots[2] += 90 * min(1, max(0, float64(i-60)/40))
		slots[5] -= 80 * min(1, max(0, float64(i-120)/40))
		text += stream(20000, slots...)
		if i == 200 {
			text += "L40000 "
		}
	}
	a, _ := decoded(t, newTape(t, text+"H300 L3000"))
	c := a.Channels[0]
	require.Len(t, c.Slots, 8)
	assert.Equal(t, []int64{302, 2, 0}, []int64{c.FrameCount, c.DroppedCount, c.LossCount})
	for i, s := range c.Slots {
		assert.Equal(t, i == 2 || i == 5, s.Width.Max-s.Width.Min > 50*Microsecond, s.Name)
	}
}

// A stream whose sync has one length, so that frames last as long as their slots
// take, is timed by widths: sticks that move change neither period nor count.
func TestStreamTimedByItsSlots(t *testing.T) {
	text := "L3000 "
	for i := range 400 {
		slots := []float64{1500 + 400*math.Sin(float64(i)/9), 1500 + 300*math.Sin(float64(i)/23), 1200, 1500, 1000 + 800*float64(i/100%2), 1500}
		frame := 5000.0
		for _, s := range slots {
			frame += s
		}
		text += stream(frame, slots...)
	}
	a, j := decoded(t, newTape(t, text+"H300 L3000"))
	c := a.Channels[0]
	require.Len(t, c.Slots, 6)
	assert.Equal(t, WidthTimed, c.Period.Pattern)
	assert.Equal(t, []int64{400, 0, 0}, []int64{c.FrameCount, c.DroppedCount, c.LossCount})
	assert.Empty(t, c.Period.Changes)
	for _, f := range j.Findings {
		assert.Equal(t, Note, f.Severity, f.Message)
	}
}
