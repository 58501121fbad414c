package decode

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
	"pgregory.net/rapid"
)

// drawn is a capture of three channels with moves, jitter and faults, all drawn.
func drawn(t *rapid.T) *tape {
	seed := rapid.Uint64().Draw(t, "seed")
	rng := rand.New(rand.NewPCG(seed, 1))
	c := &tape{end: 8 * Second}
	for i, name := range []string{"throttle", "rudder", "winch"} {
		var starts, widths []Time
		at := Time(3+2*i) * Millisecond
		width := 1300 + 100*float64(i)
		missing := 0
		for at < c.end-10*Millisecond {
			if f := rng.Float64(); f < 0.01 {
				missing = 1 + rng.IntN(8)
			} else if f < 0.02 {
				width = 1100 + 800*rng.Float64()
			}
			if missing > 0 {
				missing--
			} else {
				starts = append(starts, at+Time(rng.NormFloat64()*500)*Nanosecond)
				widths = append(widths, Time((width+0.5*rng.NormFloat64())*1000)*Nanosecond)
			}
			at += 20 * Millisecond
		}
		track := pulsesOf(starts, widths)
		for range rng.IntN(4) { // runts between pulses
			k := 1 + 2*rng.IntN(len(track)/2)
			gap := track[k-1].at + 5*Millisecond
			if k > 1 && gap+Millisecond < track[k].at {
				track = slices.Insert(track, k, change{gap, High}, change{gap + 90*Microsecond, Low})
			}
		}
		c.names, c.tracks = append(c.names, name), append(c.tracks, track)
	}
	return c
}

// same compares everything that is told of a capture, times moved by shift.
func same(t require.TestingT, want, got *Judgement, shift Time, note string) {
	require.Equal(t, want.Outcome, got.Outcome, note)
	require.Len(t, got.Findings, len(want.Findings), note)
	for i, f := range want.Findings {
		g := got.Findings[i]
		require.Equal(t, []any{f.Kind, f.Severity, f.Channels, f.Start + shift, f.End + shift, f.Count, f.Unit}, []any{g.Kind, g.Severity, g.Channels, g.Start, g.End, g.Count, g.Unit}, note)
	}
	for i, c := range want.analysis.Channels {
		g := got.analysis.Channels[i]
		require.Equal(t, figuresOf(c), figuresOf(g), "%s: %s", note, c.Name)
	}
}

// figuresOf writes the figures down, so that NaN equals NaN.
func figuresOf(c *ChannelAnalysis) string {
	text := fmt.Sprint(c.Signal, c.PulseCount, c.FrameCount, c.DroppedCount, c.GlitchCount, c.LossCount, c.LostTime)
	if c.Width != nil {
		text += fmt.Sprint(*c.Width)
	}
	if c.Period != nil {
		p := *c.Period
		text += fmt.Sprintf(" %.6f %s %v %d", p.Nominal, p.Pattern, p.Intervals, p.Others)
	}
	if c.Jitter != nil {
		text += fmt.Sprint(*c.Jitter)
	}
	return text
}

func judged(t require.TestingT, c *tape) *Judgement {
	r, err := Decode(context.Background(), c, Settings{})
	require.NoError(t, err)
	return r.Analyse().Judge(PerChannel[Limits]{Default: DefaultLimits})
}

func (c *tape) copy() *tape {
	o := *c
	o.next, o.done = nil, false
	o.names, o.tracks = slices.Clone(c.names), slices.Clone(c.tracks)
	for i := range o.tracks {
		o.tracks[i] = slices.Clone(o.tracks[i])
	}
	return &o
}

// Answers move as they must, and only then.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawn(t)
		want := judged(t, c)

		shifted := c.copy()
		shift := Time(rapid.Int64Range(-1e17, 1e17).Draw(t, "shift"))
		shifted.shift(shift)
		same(t, want, judged(t, shifted), shift, "time shifted")

		blocks := c.copy()
		blocks.block = Time(rapid.Int64Range(1, 3e12).Draw(t, "block"))
		if blocks.block < Millisecond {
			blocks.block += Millisecond
		}
		same(t, want, judged(t, blocks), 0, "in blocks")

		counted := blocks.copy()
		counted.counts = true
		same(t, want, judged(t, counted), 0, "counts where busy")

		flipped := c.copy()
		for _, track := range flipped.tracks {
			for i := range track {
				track[i].level = track[i].level.Other()
			}
		}
		got := judged(t, flipped)
		got.Findings = slices.DeleteFunc(got.Findings, func(f Finding) bool { return f.Kind == Inverted })
		same(t, want, got, 0, "polarity flipped")

		r, err := Decode(context.Background(), flipped.copy(), Settings{Stated: PerChannel[Stated]{Default: Stated{Active: Low}}})
		require.NoError(t, err)
		stated := r.Analyse().Judge(PerChannel[Limits]{Default: DefaultLimits})
		same(t, want, stated, 0, "polarity flipped and stated: nothing is told about it")

		idle := c.copy()
		idle.names, idle.tracks = append(idle.names, "horn"), append(idle.tracks, []change{{0, High}})
		got = judged(t, idle)
		require.False(t, got.Channels[3].Judged)
		same(t, want, got, 0, "a channel idle")

		turned := c.copy()
		turned.names, turned.tracks = []string{"winch", "throttle", "rudder"}, [][]change{turned.tracks[2], turned.tracks[0], turned.tracks[1]}
		got = judged(t, turned)
		for i, k := range []int{1, 2, 0} {
			require.Equal(t, figuresOf(want.analysis.Channels[i]), figuresOf(got.analysis.Channels[k]), "channels turned about")
		}
		require.Equal(t, want.Outcome, got.Outcome)
	})
}

// startUps counts the pulses before the first regular frames, which are none.
func startUps(c *ChannelAnalysis) (n int64) {
	for p := range c.Pulses() {
		if p.StartUp {
			n++
		}
	}
	return n
}

// Cut at a frame, the parts hold what the whole does.
func TestSplitCapture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawn(t)
		whole := judged(t, c)
		at := 4*Second + Millisecond // no pulse is on the wire
		var parts [2]*Judgement
		for i := range parts {
			s := Settings{To: &at}
			if i == 1 {
				s = Settings{From: &at}
			}
			r, err := Decode(context.Background(), c.copy(), s)
			require.NoError(t, err)
			parts[i] = r.Analyse().Judge(PerChannel[Limits]{Default: DefaultLimits})
		}
		for i, w := range whole.analysis.Channels {
			a, b := parts[0].analysis.Channels[i], parts[1].analysis.Channels[i]
			require.Equal(t, w.PulseCount, a.PulseCount+b.PulseCount, w.Name)
			require.InDelta(t, w.GlitchCount, a.GlitchCount+b.GlitchCount, 3, "those before the first frame of a part are start-up")
			require.InDelta(t, w.FrameCount, a.FrameCount+b.FrameCount+startUps(b), 20, "a gap at the cut belongs to neither part")
			require.InDelta(t, w.Period.Nominal, a.Period.Nominal, 2)
		}
	})
}

// Slower or faster, everything lasts in proportion, where no limit is in the
// way: widths stay within 800..2200 us, gaps clear of the wait for a loss.
func TestTimeScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		c := &tape{names: []string{"rudder"}, end: 4 * Second}
		var starts, widths []Time
		width := 1000 * Microsecond
		for at := 3 * Millisecond; at < c.end-20*Millisecond; at += 10 * Millisecond {
			if rng.IntN(60) == 0 {
				width = Time(900+rng.IntN(180)) * Microsecond
			}
			if rng.IntN(40) > 0 || len(starts) < 20 {
				starts = append(starts, at+Time(rng.IntN(2000))*Nanosecond)
				widths = append(widths, width+Time(rng.NormFloat64()*2000)*Nanosecond)
			}
		}
		c.tracks = [][]change{pulsesOf(starts, widths)}
		a := judged(t, c.copy()).analysis.Channels[0]

		num, den := Time(rapid.IntRange(10, 20).Draw(t, "times")), Time(10)
		slow := c.copy()
		slow.end = slow.end * num / den
		slow.origin.Unit = Nanosecond
		for i := range slow.tracks[0] {
			slow.tracks[0][i].at = slow.tracks[0][i].at * num / den
		}
		b := judged(t, slow).analysis.Channels[0]
		k := float64(num) / float64(den)
		require.Equal(t, []int64{a.PulseCount, a.FrameCount, a.DroppedCount, a.GlitchCount, a.LossCount}, []int64{b.PulseCount, b.FrameCount, b.DroppedCount, b.GlitchCount, b.LossCount})
		require.InEpsilon(t, k*a.Period.Nominal, b.Period.Nominal, 1e-9)
		require.InEpsilon(t, k*a.Period.Intervals.SD, b.Period.Intervals.SD, 1e-6)
		require.InEpsilon(t, k*a.Jitter.CycleToCycleRMS, b.Jitter.CycleToCycleRMS, 1e-6)
		require.InEpsilon(t, k*a.Width.Mean, b.Width.Mean, 1e-9)
		require.InEpsilon(t, k*a.Width.P99, b.Width.P99, 1e-9)
	})
}

// A busy line is kept as counters, whoever counts, and memory does not follow it.
func TestBusyLine(t *testing.T) {
	c := newTape(t, "L3000 100*("+frame+")")
	var clock []change
	level := Low
	for at := Time(0); at < c.end; at += 10 * Microsecond {
		clock = append(clock, change{at, level})
		level = level.Other()
	}
	c.names, c.tracks = append(c.names, "clock"), append(c.tracks, clock)
	want := judged(t, c.copy())
	counted := c.copy()
	counted.counts, counted.block = true, 700*Millisecond
	got := judged(t, counted)
	same(t, want, got, 0, "counted")
	k := got.analysis.Channels[1]
	assert.Equal(t, Duty, k.Signal)
	assert.InDelta(t, 50_000, k.RateHz, 1)
	assert.InDelta(t, 0.5, k.DutyHigh, 1e-6)
}

// A wire that is busy for a while and carries pulses before and after gives the
// same answer whoever counts its busy seconds, in blocks of any length.
func TestCountsWhenBusy(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &tape{names: []string{"rudder", "probe"}}
		var probe []change
		at, level := Time(0), Low
		hold := func(d Time) {
			probe = append(probe, change{at, level})
			at, level = at+d, level.Other()
		}
		for range rapid.IntRange(1, 5).Draw(t, "parts") {
			until := at + Time(rapid.IntRange(200, 2600).Draw(t, "ms"))*Millisecond
			what := rapid.SampledFrom([]string{"servo", "clock", "marks", "quiet"}).Draw(t, "what")
			for at < until {
				switch what {
				case "servo":
					if level == High {
						hold(1500 * Microsecond)
					} else {
						hold(18500 * Microsecond)
					}
				case "clock":
					hold(15 * Microsecond)
				case "marks":
					hold(230 * Microsecond)
				default:
					hold(until - at + 1)
				}
			}
		}
		c.end = at
		var starts, widths []Time
		for s := 3 * Millisecond; s < at-20*Millisecond; s += 20 * Millisecond {
			starts, widths = append(starts, s), append(widths, 1500*Microsecond)
		}
		c.tracks = [][]change{pulsesOf(starts, widths), probe}
		want := judged(t, c.copy())
		for _, counts := range []bool{false, true} {
			blocks := c.copy()
			blocks.counts, blocks.block = counts, Time(rapid.IntRange(20, 3000).Draw(t, "block"))*Millisecond
			got := judged(t, blocks)
			same(t, want, got, 0, fmt.Sprintf("counted by the source: %v", counts))
			w, g := want.analysis.Channels[1], got.analysis.Channels[1]
			require.Equal(t, w.OtherKinds, g.OtherKinds)
			require.Equal(t, fmt.Sprint(w.RateHz, w.DutyLow, w.DutyHigh, w.BitTime), fmt.Sprint(g.RateHz, g.DutyLow, g.DutyHigh, g.BitTime))
		}
	})
}

// A tally of neighbouring edges is the same however they are grouped.
func TestTallyMerge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var edges []change
		at, level := Time(0), High
		for range rapid.IntRange(0, 50).Draw(t, "edges") {
			at += Time(rapid.Int64Range(0, 1<<rapid.IntRange(1, 45).Draw(t, "bits")).Draw(t, "stretch"))
			edges = append(edges, change{at, level})
			level = level.Other()
		}
		tally := func(part []change) *Tally {
			out := &Tally{}
			for _, e := range part {
				out.Add(e.level, e.at)
			}
			return out
		}
		i := rapid.IntRange(0, len(edges)).Draw(t, "first cut")
		j := rapid.IntRange(i, len(edges)).Draw(t, "second cut")
		left, right := tally(edges[:i]), tally(edges[i:j])
		left.Merge(right)
		left.Merge(tally(edges[j:]))
		right.Merge(tally(edges[j:]))
		first := tally(edges[:i])
		first.Merge(right)
		require.Equal(t, tally(edges), left)
		require.Equal(t, left, first)
	})
}

// The grid of a sample rate is found behind stamps rounded to a nanosecond;
// stamps on no grid have only their unit.
func TestLattice(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, mhz := range []float64{1, 2, 4, 8, 10, 12, 16, 24, 25, 48, 100, 0} {
		l := sampleGrid{unit: Nanosecond}
		at, last := 0.0, Time(0)
		for range 400 {
			at += 1500 + 3*rng.NormFloat64() // us
			stamp := Time(math.Round(at*1000)) * Nanosecond
			if mhz > 0 {
				stamp = Time(math.Round(math.Ceil(at*mhz)/mhz*1000)) * Nanosecond
			}
			l.add(stamp, absDiff(stamp-last, 1500*Microsecond))
			last = stamp
		}
		want := float64(Nanosecond)
		if mhz > 0 {
			want = float64(Microsecond) / mhz
		}
		assert.InDelta(t, want, l.step(), 1, "%g MHz", mhz)
	}
	// Even stamps alone lie on a grid of two units; odd ones among them on any.
	for odd, want := range []Time{2 * Microsecond, Microsecond} {
		l := sampleGrid{unit: Microsecond}
		at, last := Time(0), Time(0)
		for i := range 400 {
			at += 2 * Time(750+rng.IntN(9)) * Microsecond
			stamp := at + Time(i%2*odd)*Microsecond
			l.add(stamp, absDiff(stamp-last, 1500*Microsecond))
			last = stamp
		}
		assert.EqualValues(t, want, l.step(), "odd stamps: %d", odd)
	}
}

// Drawn frames with drawn faults: what was put in is what is counted, whatever
// the order and the place of the faults.
func TestDrawnFaults(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		period := Time(rapid.IntRange(12, 25).Draw(t, "period")) * Millisecond
		var track []change
		mark := func(at, width Time) { track = append(track, change{at, High}, change{at + width, Low}) }
		var pulses, dropped, glitches, stuck, losses int64
		var lost Time
		const frames = 300
		whole := true // the mark before was a pulse: whether a row of stuck levels is a loss is open
		for i, at := 0, 3*Millisecond; i < frames; i++ {
			clean := i < 12 || i > frames-5
			fault, gap := rng.IntN(20), Time(0)
			switch {
			case !clean && fault == 0 && whole: // one to twelve missing
				n := Time(1 + rng.IntN(12)*rng.IntN(2))
				switch gap = (n + 1) * period; {
				case gap > 111*Millisecond:
					losses++
					lost += n * period
				case gap < 109*Millisecond:
					dropped += int64(n)
				default:
					n = 0 // too near the wait to say
				}
				at += n * period
			case !clean && fault == 1 && i > 0: // a runt in the pause before
				mark(at-4*Millisecond, Time(60+rng.IntN(230))*Microsecond)
				glitches++
			case !clean && fault == 2 && i > 0: // two spikes in the pause before
				mark(at-4*Millisecond, 10*Microsecond)
				mark(at-3*Millisecond, 10*Microsecond)
				glitches += 2
			}
			start := at + Time(rng.NormFloat64()*20)*Microsecond
			width := Time(1400+rng.IntN(200)) * Microsecond
			before := whole
			whole = true
			switch fault = rng.IntN(40); {
			case !clean && fault == 0: // torn
				first, pause := Time(300+rng.IntN(800))*Microsecond, Time(5+rng.IntN(100))*Microsecond
				mark(start, first)
				mark(start+first+pause, width-first-pause)
				glitches++
				pulses++
			case !clean && fault == 1 && gap == 0 && before: // stuck
				whole = false
				mark(start, Time(3100+rng.IntN(4000))*Microsecond)
				stuck++
			default:
				mark(start, width)
				pulses++
			}
			at += period
		}
		c := &tape{names: []string{"rudder"}, tracks: [][]change{slices.Insert(track, 0, change{0, Low})}}
		c.end = track[len(track)-1].at + 3*Millisecond
		j := judged(t, c)
		got := j.analysis.Channels[0]
		require.Equal(t, Servo, got.Signal)
		require.Equal(t, []int64{pulses, glitches, losses, dropped, pulses + dropped}, []int64{got.PulseCount, got.GlitchCount, got.LossCount, got.DroppedCount, got.FrameCount})
		require.InDelta(t, millis(lost), millis(got.LostTime), 0.3*float64(losses)+1e-9)
		require.InEpsilon(t, micros(period), got.Period.Nominal, 1e-3)
		var jams int64
		for _, f := range j.Findings {
			if f.Kind == StuckLevel {
				jams += f.Count
			}
		}
		require.Equal(t, stuck, jams)
	})
}
