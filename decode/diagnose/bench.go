package diagnose

import (
	"cmp"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// bench is the capture as diagnosis sees it: its lines and what was found.
type bench struct {
	analysis  *decode.Analysis
	judgement *decode.Judgement
	lines     []*line
	shared    []shared // gaps of several channels together, in order of time
}

// line is one channel, or one slot of a pulse-position stream.
type line struct {
	*decode.ChannelAnalysis
	place  int
	stream *line // of a slot
	judged bool
	period decode.Time
	cycle  decode.Time   // after which its pulses come at the same places again
	places []decode.Time // at which a pulse may be due within it, counted from a pulse
	gaps   []gap         // of dropped frames and losses, in order of time

	glitches []decode.Rejected
	pulses   *train // once it is needed
}

// gap is a stretch in which pulses were due and none came.
type gap struct {
	start, end decode.Time
	frames     int64 // missing; of a loss as many as fit in
	loss       bool
}

// shared is a gap that several channels have together.
type shared struct {
	lines      []*line
	start, end decode.Time
}

// usualPeriod stands in where a line has no frames of its own.
const usualPeriod = 20 * decode.Millisecond

func newBench(a *decode.Analysis, j *decode.Judgement) *bench {
	b := &bench{analysis: a, judgement: j}
	for i, c := range a.Channels {
		l := newLine(c)
		l.judged = i < len(j.Channels) && j.Channels[i].Judged
		b.add(l)
		for _, s := range c.Slots {
			slot := newLine(s)
			slot.stream, slot.judged = l, l.judged
			b.add(slot)
		}
	}
	if len(b.lines) == 0 {
		b.add(newLine(&decode.ChannelAnalysis{})) // what is wrong with the recording stands on no channel
	}
	for _, s := range j.Shared {
		b.shared = append(b.shared, shared{b.named(s.Channels), s.Start, s.End})
	}
	return b
}

func (b *bench) add(l *line) {
	l.place = len(b.lines)
	b.lines = append(b.lines, l)
}

func newLine(c *decode.ChannelAnalysis) *line {
	l := &line{ChannelAnalysis: c, period: usualPeriod}
	if c.Period != nil && c.Period.Nominal > 0 {
		l.period = decode.Time(math.Round(c.Period.Nominal * float64(decode.Microsecond)))
	}
	l.cycle, l.places = l.period, []decode.Time{0}
	if c.Period != nil && c.Period.Pattern == decode.Alternating && len(c.Period.Recurring) > 1 {
		l.cycle *= 2
		for _, us := range c.Period.Recurring[:2] {
			l.places = append(l.places, decode.Time(us*float64(decode.Microsecond)))
		}
	}
	for e := range c.Dropped() {
		l.gaps = append(l.gaps, gap{e.Start, e.End, e.Count, false})
	}
	for e := range c.Losses() {
		l.gaps = append(l.gaps, gap{e.Start, e.End, int64((e.End - e.Start) / l.period), true})
	}
	slices.SortStableFunc(l.gaps, func(x, y gap) int { return cmp.Compare(x.start, y.start) })
	for g := range c.Glitches() {
		l.glitches = append(l.glitches, g)
	}
	return l
}

// named returns the lines with these names.
func (b *bench) named(names []string) (lines []*line) {
	for _, l := range b.lines {
		if slices.Contains(names, l.Name) {
			lines = append(lines, l)
		}
	}
	return lines
}

// inOrder sorts lines as the capture has them, each once.
func (b *bench) inOrder(lines []*line) []*line {
	lines = slices.Clone(lines)
	slices.SortFunc(lines, func(x, y *line) int { return cmp.Compare(x.place, y.place) })
	return slices.Compact(lines)
}

func names(lines []*line) (all []string) {
	for _, l := range lines {
		if l.Name != "" {
			all = append(all, l.Name)
		}
	}
	return all
}

// pulsing reports whether the line has frames, and is no slot of another.
func (l *line) pulsing() bool {
	return l.stream == nil && l.PulseCount > 0 && l.Period != nil && (l.Signal == decode.Servo || l.Signal == decode.PulsePosition)
}

// within lists the line's gaps that overlap a stretch of time.
func (l *line) within(start, end decode.Time) (all []gap) {
	for _, g := range l.gaps {
		if g.start <= end && g.end >= start {
			all = append(all, g)
		}
	}
	return all
}

// startFrames is how many frames apart things of one origin begin on several
// channels that drop out. Common practice, no source.
const startFrames = 3

// alive lists the lines that pulse at a time, or stopped only just before.
func (b *bench) alive(at decode.Time) (all []*line) {
	for _, l := range b.lines {
		if !l.pulsing() {
			continue
		}
		gone := slices.ContainsFunc(l.gaps, func(g gap) bool { return g.start < at-startFrames*l.period && g.end > at })
		if !gone {
			all = append(all, l)
		}
	}
	return all
}

// sameReceiver reports whether two lines keep one period.
func sameReceiver(x, y *line) bool {
	d := x.period - y.period
	return max(d, -d)*1000 <= x.period
}

// everyOne reports whether lines are all those alive at a time, or all of one
// receiver where several were recorded.
func (b *bench) everyOne(lines []*line, at decode.Time) bool {
	missing := slices.DeleteFunc(b.alive(at), func(l *line) bool { return slices.Contains(lines, l) })
	if len(lines) < 2 {
		return len(missing) == 0
	}
	return !slices.ContainsFunc(missing, func(l *line) bool { return sameReceiver(l, lines[0]) })
}

// train is a channel's pulses, kept small.
type train struct {
	starts []decode.Time
	widths []int32 // nanoseconds
}

// read returns the line's pulses.
func (l *line) read() *train {
	if l.pulses == nil {
		l.pulses = &train{}
		for p := range l.Pulses() {
			l.pulses.starts = append(l.pulses.starts, p.Start)
			l.pulses.widths = append(l.pulses.widths, int32(p.Width/decode.Nanosecond))
		}
	}
	return l.pulses
}

// from returns the index of the first pulse at or after a time.
func (t *train) from(at decode.Time) int {
	i, _ := slices.BinarySearch(t.starts, at)
	return i
}

// width is that of pulse i in microseconds.
func (t *train) width(i int) float64 { return float64(t.widths[i]) / 1000 }

// end is the trailing edge of pulse i.
func (t *train) end(i int) decode.Time {
	return t.starts[i] + decode.Time(t.widths[i])*decode.Nanosecond
}

// nearEdge reports whether one of the pulses has an edge within reach.
func (t *train) nearEdge(at, reach decode.Time) bool {
	i := t.from(at - 4*decode.Millisecond)
	for ; i < len(t.starts) && t.starts[i] <= at+reach; i++ {
		if near(t.starts[i], at, reach) || near(t.end(i), at, reach) {
			return true
		}
	}
	return false
}

func near(x, y, reach decode.Time) bool { return x-y <= reach && y-x <= reach }
