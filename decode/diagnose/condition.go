package diagnose

import (
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// Signatures of timing, and of conditions that last.

// unsteady takes jitter at rest that is neither a hand's nor the recorder's.
func unsteady(b *bench, in incident) incident {
	return in.kinds(decode.WidthJitter, decode.PeriodJitter).of(func(o observation) bool {
		return !b.coarse(o) && (o.kind == decode.PeriodJitter || !o.lines[0].handHeld())
	})
}

var strayKinds = []decode.Kind{decode.WidthSpike, decode.PeriodOutOfRange, decode.WidthOutOfRange}

// stray takes spikes, late frames that are made up, and single widths out of
// range.
func stray(b *bench, in incident) incident {
	if len(in.kinds(decode.ExtraPulse, decode.StuckLevel)) > 0 {
		return nil
	}
	return in.kinds(strayKinds...).of(func(o observation) bool {
		return !b.endPoint(o) && !(o.kind == decode.PeriodOutOfRange && b.meanPeriod(o))
	})
}

// strayLikely: one stray width may be anything, and glitches move edges too.
func strayLikely(c *explained) bool {
	return !c.glitched() && (c.sum(decode.PeriodOutOfRange) > 0 || c.sum(decode.WidthSpike, decode.WidthOutOfRange) > 1)
}

func strayStory(c *explained) string {
	widths, late := c.sum(decode.WidthSpike, decode.WidthOutOfRange), c.sum(decode.PeriodOutOfRange)
	parts := joined(
		given(widths == 1, "one pulse of %s is off and the next is right again", c.who()),
		given(widths > 1, "single pulses of %s are off and then right again", c.who()),
		given(late == 1, "one frame of %s comes late or early and none is missing", c.who()),
		given(late > 1, "single frames of %s come late or early and none is missing", c.who()))
	return phrase.And(parts) + ", " + c.when() + ", as with pulses timed by busy software"
}

// glitched reports whether a line of the case has glitches anywhere.
func (c *explained) glitched() bool {
	return slices.ContainsFunc(c.lines, func(l *line) bool { return l.GlitchCount > 0 })
}

// handHeld reports whether only rests away from neutral are unsteady.
func (l *line) handHeld() bool {
	near, away := l.RestNoise()
	return near > 0 && near*2 < away
}

func unsteadyAwayFromNeutral(_ *bench, in incident) incident {
	return in.kinds(decode.WidthJitter).of(func(o observation) bool { return o.lines[0].handHeld() })
}

// endPoint reports whether a finding of widths out of range is of three frames
// in a row.
func (b *bench) endPoint(o observation) bool {
	if o.kind != decode.WidthOutOfRange {
		return false
	}
	return o.count >= 3
}

// walkedOut reports whether widths out of range are reached by a move, frame by
// frame, or kept for ten frames.
func (c *explained) walkedOut() bool {
	for _, o := range c.observations() {
		t := o.lines[0].read()
		i := t.from(o.start)
		if o.count >= 10 {
			return true
		}
		if i < 3 || i >= len(t.starts) {
			continue
		}
		in, step := t.width(i)-t.width(i-1), t.width(i-1)-t.width(i-2)
		if in*step > 0 && math.Abs(in) < 4*math.Abs(step) {
			return true
		}
	}
	return false
}

func reachedEnds(b *bench, in incident) incident { return in.of(b.endPoint) }

func meanPeriods(b *bench, in incident) incident {
	return in.of(func(o observation) bool { return o.kind == decode.PeriodOutOfRange && b.meanPeriod(o) })
}

// meanPeriod tells the period of the lines, where they have one.
func (c *explained) meanPeriod() string {
	first := c.bench.judgement.Findings[c.parts[0][0].finding].Measured
	for _, o := range c.observations() {
		if math.Abs(c.bench.judgement.Findings[o.finding].Measured-first)*1000 > first {
			return ""
		}
	}
	return millis(first*1000) + ", "
}

// Where a line jitters in one stretch only, that is told: so many pulses are
// looked at together, and are loud where they jitter over so many times as much
// as the quiet ones, and by so much. Common practice, no source.
const (
	loudPulses = 50
	loudTimes  = 3.0
	loudLeast  = 1.5 // us
)

// loud finds the one stretch, of most of the capture at most, in which the width
// of a line jitters.
func (l *line) loud() (from, to decode.Time, ok bool) {
	t := l.read()
	var scales []float64
	for i := 0; i+loudPulses <= len(t.widths); i += loudPulses {
		scales = append(scales, t.noise(i, i+loudPulses))
	}
	if len(scales) < 8 {
		return 0, 0, false
	}
	sorted := slices.Clone(scales)
	slices.Sort(sorted)
	limit := max(loudTimes*sorted[len(sorted)/5], loudLeast)
	first, last, loud := -1, -1, 0
	for i, s := range scales {
		if s > limit {
			if last, loud = i, loud+1; first < 0 {
				first = i
			}
		}
	}
	if span := last - first + 1; loud == 0 || span*5 > len(scales)*4 || loud*10 < span*9 {
		return 0, 0, false
	}
	return t.starts[first*loudPulses], t.starts[(last+1)*loudPulses-1], true
}

// noise is how much some widths jitter, in microseconds, whatever the stick does:
// their second differences vary by 1 + 4 + 1 times as much, and 1.4826 is 1 over
// the normal distribution's third quartile.
func (t *train) noise(from, to int) float64 {
	var bends []float64
	for i := from + 1; i+1 < to; i++ {
		bends = append(bends, math.Abs(t.width(i+1)-2*t.width(i)+t.width(i-1)))
	}
	slices.Sort(bends)
	return 1.4826 * bends[len(bends)/2] / math.Sqrt(6)
}

// whileLoud tells when the lines of a case jitter, where that is in one stretch.
func (c *explained) whileLoud() string {
	var from, to decode.Time
	for i, l := range c.lines {
		a, b, ok := l.loud()
		switch apart := 3 * loudPulses * l.period; {
		case !ok:
			return ""
		case i == 0:
			from, to = a, b
		case max(a-from, from-a) > apart || max(b-to, to-b) > apart:
			return ""
		}
	}
	return ", from " + c.digits(from) + " to " + c.at(to) + " and hardly otherwise"
}

// coarse reports whether a finding is no more than the recorder's coarse stamps
// make.
func (b *bench) coarse(o observation) bool {
	last := float64(b.analysis.Origin.UnitAtEnd) / float64(decode.Microsecond)
	return b.analysis.Origin.UnitAtEnd > b.analysis.Origin.Unit && b.judgement.Findings[o.finding].Measured <= 2*last
}

func tooCoarse(b *bench, in incident) incident {
	return in.kinds(decode.WidthJitter, decode.PeriodJitter).of(b.coarse)
}

func silentThroughout(level decode.Level) func(*bench, incident) incident {
	return func(_ *bench, in incident) incident {
		return in.kinds(decode.SignalLoss).of(func(o observation) bool {
			return o.lines[0].Signal == decode.Silent && (o.lines[0].Level == level || level == decode.Low && o.lines[0].Level == decode.Unknown)
		})
	}
}

// replacedPulses takes the losses in which a line carries another signal.
func replacedPulses(_ *bench, in incident) incident { return in.of(observation.replaced) }

func ofKind(k decode.Kind) func(*bench, incident) incident {
	return func(_ *bench, in incident) incident { return in.kinds(k) }
}
