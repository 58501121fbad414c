package diagnose

import (
	"fmt"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// How a receiver that was without power shows it when it comes back.

// unmoved is how long sticks stay where they are in a gap, as a rule: after a
// longer one other widths are no sign of a restart by themselves. Common practice,
// no source.
const unmoved = 1 * decode.Second

// marks lists the signs of a restart at the end of a shared gap.
func (b *bench) marks(s shared) []string {
	if s.end == b.analysis.End {
		return nil
	}
	marks := given(s.beatMoved(), "the frames come back on another beat")
	if s.missing() <= linkFrames && len(marks) == 0 {
		return nil
	}
	values := s.count(func(l *line) bool { return l.startUpWidths(s) })
	rate := s.count(func(l *line) bool { return l.otherPeriodAfter(s) })
	return joined(marks,
		given(b.startUpNoise(s), "pulses or noise as at start-up around the return"),
		given(values > 0 && values*2 >= len(s.lines) && b.only() == nil && !s.beatKept() && (s.end-s.start <= unmoved || len(marks) > 0), "other widths than before are kept after the return"),
		given(rate*2 > len(s.lines), "the frame period is another one after the return"))
}

// count tells of how many lines something is so.
func (s shared) count(so func(l *line) bool) (n int) {
	for _, l := range s.lines {
		if so(l) {
			n++
		}
	}
	return n
}

// beatMoved reports whether at least half of the gaps after which the beat is
// known are followed by another one. A line that starts when another one ends says
// nothing: what it follows may have moved.
func (s shared) beatMoved() bool {
	moved, known := 0, 0
	for _, l := range s.lines {
		if s.led(l) {
			continue
		}
		for _, g := range s.gapsOf(l) {
			step, ok := l.phaseStep(g)
			if ok {
				known++
			}
			if step && ok {
				moved++
			}
		}
	}
	return known > 0 && moved*2 >= known
}

// beatKept reports whether a line whose beat is steady comes back on it as closely as
// it keeps it: a receiver that starts anew does so by rare chance, while sticks may
// have moved.
func (s shared) beatKept() bool {
	return slices.ContainsFunc(s.lines, func(l *line) bool {
		return slices.ContainsFunc(s.gapsOf(l), func(g gap) bool {
			off, drift, ok := l.beatOver(g)
			return ok && l.beatHoldsAbout(g) && off-drift < l.period/beatReach
		})
	})
}

// phaseStep reports whether frames after a gap are off the beat of those before.
// It is not known where the rhythm is none, or the gap too long for the beat.
// Where the beat wanders, another output that moves may have shifted it by up to
// 1.5 ms.
func (l *line) phaseStep(g gap) (step, known bool) {
	off, drift, ok := l.beatOver(g)
	if !ok {
		return false, false
	}
	limit := min(1500*decode.Microsecond, l.period/8)
	if l.beatHoldsAbout(g) {
		limit = l.period / 50
	}
	return off > limit+drift, drift < l.period/4
}

// beatOver is how far frames after a gap are off the beat of those before, and how far
// clocks may drift in it, if the line has a rhythm and pulses on both sides.
func (l *line) beatOver(g gap) (off, drift decode.Time, ok bool) {
	if l.Period.Pattern == decode.WidthTimed || l.Period.Pattern == decode.IrregularPattern {
		return 0, 0, false
	}
	t := l.read()
	before, after := t.from(g.start)-1, t.from(g.end)
	if before < 0 || after >= len(t.starts) {
		return 0, 0, false
	}
	frames, off := l.offBeat(t.starts[after] - t.starts[before])
	_, byEnds := l.offBeat(t.end(after) - t.end(before))                              // a torn pulse may begin late
	return min(max(off, -off), max(byEnds, -byEnds)), frames * l.period / 20000, true // 50 ppm
}

// Pulses keep one beat where so many frames on they are off by no more than one part
// of the period in so many.
const (
	beatFrames = 10
	beatReach  = 200
)

// beatHolds reports whether two pulses are on one beat.
func (l *line) beatHolds(i, k int) bool {
	t := l.read()
	if i < 0 || k >= len(t.starts) {
		return false
	}
	_, off := l.offBeat(t.starts[k] - t.starts[i])
	return max(off, -off)*beatReach < l.period
}

// beatHoldsAbout reports whether pulses keep one beat before a gap, and after it.
func (l *line) beatHoldsAbout(g gap) bool {
	t := l.read()
	before, after := t.from(g.start)-1, t.from(g.end)
	return l.beatHolds(before-beatFrames, before) && l.beatHolds(after, after+beatFrames)
}

// offBeat returns how many periods fit best into the time since a pulse, and how far
// that is from where a pulse may be due.
func (l *line) offBeat(d decode.Time) (frames, off decode.Time) {
	off = d
	for _, at := range l.places {
		x := d - at
		x -= (x + l.cycle/2) / l.cycle * l.cycle
		if max(x, -x) < max(off, -off) {
			off = x
		}
	}
	return (d + l.period/2) / l.period, off
}

// restTime is how long a stick rests that is let go, at least: one that turns round
// seems to rest for less. Common practice, no source.
const restTime = 200 * decode.Millisecond

// startUpWidths reports whether the width rests elsewhere after a gap, where it
// rested before.
func (l *line) startUpWidths(s shared) bool {
	rest := max(10, int(restTime/l.period))
	t := l.read()
	after, before := t.from(s.end), t.from(s.start)
	if before < rest || after+rest > len(t.starts) {
		return false
	}
	band := max(5, 6*l.NoiseScale())
	was, wasRange := t.middle(before-rest, before)
	is, isRange := t.middle(after+1, after+rest)
	d := is - was
	return wasRange <= band && isRange <= band && max(d, -d) > max(20, band)
}

// middle is the mean of some widths in microseconds, and how far they reach.
func (t *train) middle(from, to int) (mean, reach float64) {
	low, high := t.width(from), t.width(from)
	for i := from; i < to; i++ {
		w := t.width(i)
		mean += w / float64(to-from)
		low, high = min(low, w), max(high, w)
	}
	return mean, high - low
}

// otherPeriodAfter reports whether frames keep another period after a gap.
func (l *line) otherPeriodAfter(s shared) bool {
	t := l.read()
	before, ok := t.interval(t.from(s.start)-12, t.from(s.start))
	after, too := t.interval(t.from(s.end)+1, t.from(s.end)+13)
	d := after - before
	return ok && too && max(d, -d)*50 > before
}

// otherRate tells of frames that came back with another period.
func (c *explained) otherRate() string {
	for _, o := range c.observations().kinds(decode.PeriodChanged) {
		for _, x := range o.lines[0].Period.Changes {
			if x.At == o.start {
				return fmt.Sprintf(", with frames every %s instead of %s", millis(x.To), millis(x.From))
			}
		}
	}
	return ""
}

// swapTime is how long a person takes at least to put another receiver in the place of
// one. Common practice, no source.
const swapTime = 5 * decode.Second

// maybeSwapped reports whether another receiver, or another mode of it, may have come
// back after a gap.
func (c *explained) maybeSwapped() bool {
	return c.otherRate() != "" && slices.ContainsFunc(c.sharedGaps(), func(s shared) bool { return s.end-s.start >= swapTime })
}

// interval is the interval that most pulses of a row keep.
func (t *train) interval(from, to int) (decode.Time, bool) {
	if from < 0 || to > len(t.starts) {
		return 0, false
	}
	var all []decode.Time
	for i := from + 1; i < to; i++ {
		all = append(all, t.starts[i]-t.starts[i-1])
	}
	slices.Sort(all)
	low, high := all[1], all[len(all)-2]
	return all[len(all)/2], (high-low)*50 < low
}

// startUpNoise reports whether runts, long marks, extra pulses or another kind
// of signal come in a gap or just after it, on lines that were calm before. A line
// that is held for most of the gap shows none.
func (b *bench) startUpNoise(s shared) bool {
	from, to := s.start, s.end+settling/2
	noisy := 0
	for _, l := range s.lines {
		before := l.glitchesIn(s.start-settling, s.start-l.period)
		during := slices.DeleteFunc(slices.Clone(l.glitchesIn(from, to)), l.torn) // on the old beat: no start-up
		other := slices.ContainsFunc(l.OtherKinds, func(k decode.KindSpan) bool { return k.Start <= to && k.End >= from })
		odd, held := false, false
		for e := range l.StuckMarks() {
			odd = odd || e.Start >= from && e.Start <= to
			held = held || (min(e.End, s.end)-max(e.Start, s.start))*2 > s.end-s.start
		}
		for e := range l.ExtraPulses() {
			odd = odd || e.Start >= from && e.Start <= to
		}
		if len(before) == 0 && !held && (len(during) > 0 || other || odd) {
			noisy++
		}
	}
	return noisy > 0
}
