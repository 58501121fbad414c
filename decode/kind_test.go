package decode

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// bytes writes text as serial data at rest high: a low start bit, eight bits
// from the lowest, a high stop bit, each so many us long, and idle after it.
func bytes(bit float64, text string, idle float64) string {
	levels := ""
	for _, b := range []byte(text) {
		levels += "L"
		for i := range 8 {
			levels += string("LH"[b>>i&1])
		}
		levels += "H"
	}
	var out strings.Builder
	for len(levels) > 0 {
		n := len(levels) - len(strings.TrimLeft(levels, levels[:1]))
		fmt.Fprintf(&out, "%s%g ", levels[:1], float64(n)*bit)
		levels = levels[n:]
	}
	return out.String() + fmt.Sprintf("H%g ", idle)
}

// stream writes one frame of a pulse-position stream: markers of 300 us, a
// slot from each to the next, and the sync that fills the frame.
func stream(frame float64, slots ...float64) string {
	var out strings.Builder
	for _, s := range slots {
		fmt.Fprintf(&out, "H300 L%g ", s-300)
		frame -= s
	}
	return out.String() + fmt.Sprintf("H300 L%g ", frame-300)
}

// upsideDown turns the levels of a track about.
func upsideDown(track string) string {
	return strings.NewReplacer("L", "H", "H", "L").Replace(track)
}

// ragged writes frames of 20 ms of which so many in a hundred are missing.
func ragged(frames, missing int) string {
	rng := rand.New(rand.NewPCG(4, 5))
	text := "L3000 "
	for range frames {
		if rng.IntN(100) < missing {
			text += "L20000 "
		} else {
			text += "H1500 L18500 "
		}
	}
	return text
}

// What a wire carries, and what it must be called.
func TestKinds(t *testing.T) {
	boot := "H5000 " + bytes(104.17, strings.Repeat("tug ready, link up ", 12), 5000)
	for _, c := range []struct {
		why, track string
		want       Signal
	}{
		{"low for ever", "L4000000", Silent},
		{"high for ever", "H4000000", Silent},

		{"a servo", "L3000 150*(H1500 L18500)", Servo},
		{"a servo at 1520 us", "L3000 150*(H1520 L20480)", Servo},
		{"a servo, active low", "H3000 150*(L1500 H18500)", Servo},
		{"a servo every 2.5 ms", "L3000 1500*(H1500 L1000)", Servo},
		{"a servo every 11 ms", "L3000 400*(H1100 L9900)", Servo},
		{"a servo every 100 ms", "L3000 100*(H1500 L98500)", Servo},
		{"a servo that moves", "L3000 60*(H1100 L18900 H1300 L18700 H1500 L18500 H1700 L18300 H1900 L18100)", Servo},
		{"a narrow servo at 560 Hz", "L3000 2000*(H760 L1025.714)", Servo},
		{"a narrow servo at 333 Hz", "L3000 1500*(H760 L2243)", Servo},
		{"a narrow servo at its ends", "L3000 400*(H510 L2490 H1010 L1990)", Servo},
		{"a servo with 30 % missing", ragged(400, 30), Servo},
		{"a servo with 45 % missing", ragged(400, 45), Servo},
		{"a servo with a runt in each pause", "L3000 150*(H1500 L9000 H60 L9440)", Servo},
		{"a few stray seconds, then a servo", "L5000 H900 L400000 H1700 L2000000 200*(H1500 L18500)", Servo},
		{"four pulses that nobody asked for", "L3000 4*(H1500 L18500)", Irregular},

		{"a motor drive at 1 kHz", "L3000 4000*(H400 L600)", Duty},
		{"a motor drive at 50 kHz", "L3000 30000*(H5 L15)", Duty},
		{"a lamp at 10 Hz, half on", "L3000 40*(H50000 L50000)", Duty},
		{"a motor drive that speeds up", "L3000 " + drive(4000), Duty},

		{"text at 9600", "H5000 40*(" + bytes(104.17, "rudder 1500", 20000) + ")", Serial},
		{"text at 57600", "H5000 60*(" + bytes(17.36, "rudder 1500", 20000) + ")", Serial},
		{"text at 115200", "H5000 60*(" + bytes(8.68, "rudder 1500", 20000) + ")", Serial},
		{"text without a pause", "H5000 " + bytes(26.04, strings.Repeat("the tug turns. ", 300), 10), Serial},
		{"text, upside down", upsideDown("H5000 60*(" + bytes(26.04, "rudder 1500", 20000) + ")"), Serial},
		{"text, then a servo", boot + "L20000 200*(H1500 L18500)", Servo},

		{"eight slots", "L3000 200*(" + stream(22500, 1500, 1100, 1900, 1300, 1500, 1500, 1000, 1200) + ")", PulsePosition},
		{"eight slots, upside down", upsideDown("L3000 200*(" + stream(22500, 1500, 1100, 1900, 1300, 1500, 1500, 1000, 1200) + ")"), PulsePosition},
		{"four slots", "L3000 200*(" + stream(18000, 1500, 1100, 1900, 1300) + ")", PulsePosition},
		{"four slots that are alike", "L3000 200*(" + stream(18000, 1500, 1500, 1500, 1500) + ")", PulsePosition},
		{"sixteen slots", "L3000 100*(" + stream(40000, 1500, 1100, 1900, 1300, 1500, 1500, 1000, 1200, 1500, 1100, 1900, 1300, 1500, 1500, 1000, 1200) + ")", PulsePosition},
		{"eight slots of 2.2 ms in 20 ms", "L3000 200*(" + stream(20000, 2200, 2200, 2200, 2200, 2200, 2200, 2200, 2200) + ")", PulsePosition},

		{"hum", "L3000 " + hum(3000, 4000), Irregular},
		{"fast hum", "L3000 " + hum(8000, 300), Irregular},
	} {
		capture := newTape(t, c.track)
		for _, mhz := range []float64{0, 24, 1} {
			x := capture.copy()
			if mhz > 0 {
				x = capture.sampled(mhz)
			}
			a, _ := decoded(t, x)
			assert.Equal(t, c.want, a.Channels[0].Signal, "%s, %g MHz", c.why, mhz)
		}
	}
}

// drive is a motor drive at 1 kHz whose duty grows from 10 to 90 %.
func drive(n int) string {
	var out strings.Builder
	for i := range n {
		on := 100 + 800*float64(i)/float64(n)
		fmt.Fprintf(&out, "H%.3f L%.3f ", on, 1000-on)
	}
	return out.String()
}

// hum is n stretches of any length up to so many us.
func hum(n int, most float64) string {
	rng := rand.New(rand.NewPCG(14, 15))
	var out strings.Builder
	for i := range n {
		fmt.Fprintf(&out, "%c%.3f ", "HL"[i%2], 5+most*rng.Float64()*rng.Float64())
	}
	return out.String()
}

// A silent wire is told with the level it holds.
func TestSilentLevel(t *testing.T) {
	a, _ := decoded(t, newTape(t, "L3000000", "H3000000", "L3000 140*(H1500 L18500)"))
	assert.Equal(t, Low, a.Channels[0].Level)
	assert.Equal(t, High, a.Channels[1].Level)
	assert.Nil(t, a.Channels[0].Width)
	assert.Nil(t, a.Channels[0].Period)
	assert.Nil(t, a.Channels[0].Jitter)
}

// The bit time is that of the runs, whatever samples them: 9600 and 115200 bits
// a second have bits of 104.17 and 8.68 us.
func TestBitTime(t *testing.T) {
	for _, bit := range []float64{104.17, 52.08, 26.04, 17.36, 8.68} {
		c := newTape(t, "H5000 60*("+bytes(bit, "rudder 1500", 20000)+")")
		for _, mhz := range []float64{24, 1} {
			a, _ := decoded(t, c.sampled(mhz))
			require.Equal(t, Serial, a.Channels[0].Signal, "%g us at %g MHz", bit, mhz)
			assert.InEpsilon(t, bit, a.Channels[0].BitTime, 0.01, "%g us at %g MHz", bit, mhz)
		}
	}
}

// Text before the servo pulses, as a receiver prints it when it starts: all
// pulses are there, none of the text is a glitch or a loss, and it is told.
func TestBootText(t *testing.T) {
	text := "H5000 " + bytes(104.17, strings.Repeat("tug ready, link up ", 60), 5000)
	a, j := decoded(t, newTape(t, text+"L20000 200*(H1500 L18500)"))
	c := a.Channels[0]
	require.Equal(t, Servo, c.Signal)
	assert.EqualValues(t, 200, c.PulseCount)
	assert.EqualValues(t, 200, c.FrameCount)
	assert.Zero(t, c.GlitchCount)
	assert.Zero(t, c.LossCount)
	assert.Equal(t, Passed, j.Outcome, "%v", j.Findings)
	require.Len(t, c.OtherKinds, 1)
	assert.Equal(t, Serial, c.OtherKinds[0].Signal)
	assert.InDelta(t, 0.005, micros(c.OtherKinds[0].Start)/1e6, 0.002)
	assert.InDelta(t, 1.2, micros(c.OtherKinds[0].End)/1e6, 0.02, "1140 characters of 1.0417 ms and what is before them")
}

// A wire that floats beside another picks up some of its edges.
func TestEchoOfAnother(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 7))
	for _, share := range []float64{0.1, 0.3, 0.4} {
		real, echo := "L3000 ", "L3000 "
		for range 300 {
			width := 1200 + 600*rng.Float64()
			real += fmt.Sprintf("H%.3f L%.3f ", width, 20000-width)
			if rng.Float64() < share {
				echo += fmt.Sprintf("L0.4 H%.3f L%.3f ", width, 20000-width-0.4)
			} else {
				echo += "L20000 "
			}
		}
		a, j := decoded(t, newTape(t, real, echo))
		assert.Equal(t, Servo, a.Channels[0].Signal)
		assert.Equal(t, Echo, a.Channels[1].Signal, "%g of it", share)
		assert.False(t, j.Channels[1].Judged)
	}
	// One edge in twenty may be its own: of some 42 a second two, then six.
	for runts, want := range map[int]Signal{1: Echo, 3: Servo} {
		real, echo := "L3000 ", "L3000 "
		for i := range 300 {
			width := 1200 + 600*rng.Float64()
			real += fmt.Sprintf("H%.3f L%.3f ", width, 20000-width)
			switch {
			case i%5 < 2:
				echo += fmt.Sprintf("H%.3f L%.3f ", width, 20000-width)
			case i%50/5 < runts && i%5 == 3:
				echo += "L7000 H100 L12900 "
			default:
				echo += "L20000 "
			}
		}
		a, _ := decoded(t, newTape(t, real, echo))
		assert.Equal(t, want, a.Channels[1].Signal, "%d runts of its own a second", runts)
	}
	moving := "L3000 60*(H1100 L18900 H1300 L18700 H1500 L18500 H1700 L18300 H1900 L18100)"
	for _, track := range []string{moving, "L3000 300*(H1500 L18500)"} {
		a, _ := decoded(t, newTape(t, track, track))
		assert.Equal(t, Servo, a.Channels[1].Signal, "a whole copy may be a second output of the same stick")
	}
}

// A rate and the range of the duty.
func TestDuty(t *testing.T) {
	for _, c := range []struct {
		track           string
		rate, low, high float64
	}{
		{"L3000 4000*(H400 L600)", 1000, 0.4, 0.4},
		{"L3000 40000*(H5 L15)", 50000, 0.25, 0.25},
		{"L3000 2000*(H100 L900) 2000*(H850 L150)", 1000, 0.1, 0.85},
	} {
		a, _ := decoded(t, newTape(t, c.track))
		require.Equal(t, Duty, a.Channels[0].Signal)
		assert.InEpsilon(t, c.rate, a.Channels[0].RateHz, 0.005, c.track)
		assert.InDelta(t, c.low, a.Channels[0].DutyLow, 0.005, c.track)
		assert.InDelta(t, c.high, a.Channels[0].DutyHigh, 0.005, c.track)
	}
}

// Slots are channels whose width is the spacing of the markers, to the
// picosecond, in either polarity, whatever their number.
func TestSlots(t *testing.T) {
	for n := 4; n <= 16; n++ {
		var slots []float64
		total := 0.0
		for i := range n {
			slots = append(slots, 1000.25+float64(i*370%1000))
			total += slots[i]
		}
		track := "L3000 120*(" + stream(total+5000, slots...) + ") H300 L3000"
		for _, text := range []string{track, upsideDown(track)} {
			a, j := decoded(t, newTape(t, text))
			c := a.Channels[0]
			require.Equal(t, PulsePosition, c.Signal, "%d slots", n)
			assert.EqualValues(t, 120*(n+1)+1, c.PulseCount, "markers")
			assert.EqualValues(t, 120, c.FrameCount)
			assert.InDelta(t, total+5000, c.Period.Nominal, 1e-6)
			assert.Equal(t, Passed, j.Outcome, "%d slots: %v", n, j.Findings)
			require.Len(t, c.Slots, n)
			for i, s := range c.Slots {
				assert.Equal(t, fmt.Sprintf("a.%d", i+1), s.Name)
				assert.EqualValues(t, 120, s.FrameCount, s.Name)
				want := Time(slots[i] * float64(Microsecond))
				assert.Equal(t, [2]Time{want, want}, [2]Time{s.Width.Min, s.Width.Max}, "%d slots: %s", n, s.Name)
			}
		}
	}
}

// A frame with a marker too few is one dropped frame and none of its slots is
// used; the ones after it are whole again.
func TestStreamWithAMarkerMissing(t *testing.T) {
	whole := stream(22500, 1500, 1100, 1900, 1300, 1600, 1400)
	torn := stream(22500, 1500, 3000, 1300, 1600, 1400) // 1100 and 1900 run together
	a, _ := decoded(t, newTape(t, "L3000 60*("+whole+")"+torn+"40*("+whole+") H300 L3000"))
	c := a.Channels[0]
	require.Equal(t, PulsePosition, c.Signal)
	assert.EqualValues(t, 1, c.DroppedCount)
	assert.EqualValues(t, 101, c.FrameCount)
	assert.EqualValues(t, 100*7+6+1, c.PulseCount, "markers")
	require.Len(t, c.Slots, 6)
	for i, s := range c.Slots {
		want := Time([]int64{1500, 1100, 1900, 1300, 1600, 1400}[i]) * Microsecond
		assert.EqualValues(t, 100, s.Width.N, s.Name)
		assert.Equal(t, [2]Time{want, want}, [2]Time{s.Width.Min, s.Width.Max}, s.Name)
	}
}

// A narrow servo may be a motor drive: that is said.
func TestNarrowIsDoubted(t *testing.T) {
	a, j := decoded(t, newTape(t, "L3000 2000*(H760 L1025.714)"))
	assert.True(t, noted(a, MotorOrServo, a.Channels[0].Name))
	assert.Contains(t, a.Notes[len(a.Notes)-1].Text, "560 Hz cannot be told from a motor drive")
	assert.Equal(t, Passed, j.Outcome, "%v", j.Findings)
	a, _ = decoded(t, newTape(t, "L3000 200*(H1500 L18500)"))
	assert.Empty(t, a.Notes)
}

// Marks that would be servo pulses in another time unit.
func TestUnitHint(t *testing.T) {
	a, _ := decoded(t, newTape(t, "L3 100*(H1.5 L18.5)"))
	assert.True(t, noted(a, UnitDoubtful, ""))
	assert.Contains(t, strings.Join(Texts(a.Notes), "\n"), "a thousand times larger")
	a, _ = decoded(t, newTape(t, "L3000000 60*(H1500000 L18500000)"))
	assert.Contains(t, strings.Join(Texts(a.Notes), "\n"), "a thousand times smaller")
}

// A stream that pauses between two frames: the frame before the pause is whole,
// and what is missing is whole frames.
func TestStreamWithAGap(t *testing.T) {
	whole := stream(22500, 1500, 1100, 1900, 1300, 1600, 1400)
	for _, missing := range []int{1, 2, 10} {
		track := fmt.Sprintf("L3000 60*(%s) L%d 40*(%s) H300 L3000", whole, missing*22500, whole)
		a, j := decoded(t, newTape(t, track))
		c := a.Channels[0]
		require.Equal(t, PulsePosition, c.Signal)
		require.Len(t, c.Slots, 6)
		for _, s := range c.Slots {
			assert.EqualValues(t, 100, s.Width.N, "%s, %d missing", s.Name, missing)
		}
		if missing < 10 {
			assert.Equal(t, []int64{int64(missing), 100 + int64(missing), 0}, []int64{c.DroppedCount, c.FrameCount, c.LossCount})
			continue
		}
		assert.Equal(t, []int64{0, 100, 1}, []int64{c.DroppedCount, c.FrameCount, c.LossCount})
		assert.Equal(t, 10*22500*Microsecond, c.LostTime)
		assert.Equal(t, Failed, j.Outcome)
	}
}

// A line that was a servo's, or keeps the time of one, stays judged: it fails
// rather than vanishes.
func TestNoLineLeavesJudgement(t *testing.T) {
	healthy := "L3000 600*(H1500 L18500)"
	frames := "L3000 200*(H1500 L18500) "
	rng := rand.New(rand.NewPCG(8, 9))
	pickUp := ""
	for range 1900 {
		pickUp += fmt.Sprintf("H%.1f L%.1f ", 5+195*rng.Float64(), 3000+2000*rng.Float64())
	}
	torn := "L3000 "
	for i := range 600 {
		if i%5 == 3 {
			torn += "L20000 "
		} else {
			torn += "H1500 L18500 "
		}
	}
	for name, c := range map[string]struct {
		track string
		kind  Kind
	}{
		"driven to 2400 us":        {"L3000 600*(H2400 L17600)", WidthOutOfRange},
		"driven to 650 us":         {"L3000 600*(H650 L19350)", WidthOutOfRange},
		"driven there later":       {frames + "400*(H2400 L17600)", WidthOutOfRange},
		"unplugged into hum":       {frames + "400*(H10000 L10000)", SignalLoss},
		"unplugged into pick-up":   {frames + pickUp, SignalLoss},
		"a port that turns serial": {frames + "800*(H104 L208 H104 L104 H312 L9168)", SignalLoss},
		"a mirror, torn":           {torn, DroppedFrame},
	} {
		a, j := decoded(t, newTape(t, healthy, c.track))
		require.Equal(t, Servo, a.Channels[1].Signal, name)
		assert.Equal(t, Passed, j.Channels[0].Outcome, name)
		assert.Equal(t, Failed, j.Channels[1].Outcome, name)
		assert.NotEmpty(t, findingsOf(j, c.kind), "%s: %v", name, j.Findings)
	}
	a, _ := decoded(t, newTape(t, healthy, frames+"400*(H10000 L10000)"))
	require.Len(t, a.Channels[1].OtherKinds, 1)
	assert.Equal(t, Duty, a.Channels[1].OtherKinds[0].Signal)
	assert.InDelta(t, 4, micros(a.Channels[1].OtherKinds[0].Start)/1e6, 1)
}

// Five hundred spikes a second fail nobody and hide no pulse.
func TestSpikesHideNoPulse(t *testing.T) {
	spikes := strings.Repeat("L1800 H10 ", 9)
	a, j := decoded(t, newTape(t, "L3000 300*(H1500 "+spikes+"L2210)"))
	c := a.Channels[0]
	require.Equal(t, Servo, c.Signal)
	assert.EqualValues(t, 300, c.PulseCount)
	assert.EqualValues(t, 2700, c.GlitchCount, "nine a frame")
	assert.Equal(t, Passed, j.Outcome, "%v", j.Findings)
}

// A line that is not judged though its edges keep a servo's time leaves the
// capture undecided; one that runs by itself does not. What it picks up can be
// read.
func TestUnjudgedLineOnTheGrid(t *testing.T) {
	healthy := "L3000 300*(H1500 L18500)"
	for track, want := range map[string]Outcome{
		"L3500 300*(H5000 L15000)":   Undecided,
		"L3500 285*(H10000 L11003)":  Passed,
		"L3500 6000*(H100 L900)":     Passed,
		"L3500 300*(H20 L19980)":     Passed, // crosstalk alone
		"L3500 60000*(H50 L50) L100": Passed,
	} {
		a, j := decoded(t, newTape(t, healthy, track))
		assert.Equal(t, want, j.Outcome, "%s: %s, %v", track, a.Channels[1].Signal, a.Notes)
		assert.False(t, j.Channels[1].Judged, track)
	}
	a, _ := decoded(t, newTape(t, healthy, "L3500 300*(H20 L7000 H30 L12950)"))
	var widths []Time
	for g := range a.Channels[1].Glitches() {
		widths = append(widths, g.Width)
	}
	require.Len(t, widths, 600)
	assert.Equal(t, []Time{20 * Microsecond, 30 * Microsecond}, widths[:2])
}
