package diagnose

import (
	"cmp"
	"fmt"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// Signatures of what befalls all channels of a receiver at once.

// unevenTime takes the recorder's own steps, and what the channels show there.
func unevenTime(b *bench, in incident) incident {
	steps := in.kinds(decode.UnevenTime)
	if len(steps) == 0 {
		return nil
	}
	from, to := steps.start()-usualPeriod, steps.end()+usualPeriod
	brief := to-from < decode.Second
	return in.of(func(o observation) bool {
		return o.kind == decode.UnevenTime || o.start <= to && o.end >= from && (brief || b.mostlyIn(o, b.shared))
	})
}

// silentToTheEnd takes the losses of all channels that begin within two frames
// and last to the end.
func silentToTheEnd(b *bench, in incident) incident {
	losses := in.kinds(decode.SignalLoss).of(func(o observation) bool {
		return o.end == b.analysis.End && o.start > b.analysis.Start && !in.stuck(o.lines[0]) && !o.replaced()
	})
	if len(losses) == 0 {
		return nil
	}
	lines := losses.lines(b)
	latest := losses[len(losses)-1].start
	losses = losses.of(func(o observation) bool { return latest-o.start <= 2*max(o.lines[0].period, lines[0].period) })
	lines = losses.lines(b)
	for _, s := range b.sharedIn(losses) {
		lines = append(lines, s.lines...) // judged or not
	}
	if !b.everyOne(lines, latest) || len(losses)*2 < len(b.inOrder(lines)) {
		return nil // or most of them went before
	}
	return in.of(func(o observation) bool {
		return o.kind != decode.SharedHold && o.start >= losses.start()-lines[0].period
	})
}

func (s shared) has(l *line, g gap) bool {
	return slices.Contains(s.lines, l) && g.start <= s.end && g.end >= s.start
}

// led reports whether a line starts when another one of these ends.
func (s shared) led(l *line) bool {
	return slices.ContainsFunc(s.lines, func(o *line) bool { return l.Follows == o.Name })
}

// gapsOf lists the line's gaps in a shared one.
func (s shared) gapsOf(l *line) (all []gap) {
	for _, g := range l.within(s.start, s.end) {
		if g.start < s.end && g.end > s.start {
			all = append(all, g)
		}
	}
	return all
}

// missing is the most frames that a channel misses in a shared gap.
func (s shared) missing() (n int64) {
	for _, l := range s.lines {
		on := int64(0)
		for _, g := range s.gapsOf(l) {
			on += g.frames
		}
		n = max(n, on)
	}
	return n
}

// sharedIn lists the shared gaps that observations of an incident tell of. Where
// only one channel was recorded, each of its gaps stands for all.
func (b *bench) sharedIn(in incident) (all []shared) {
	gaps := in.kinds(decode.DroppedFrame, decode.SignalLoss)
	for _, s := range b.shared {
		if slices.ContainsFunc(gaps, func(o observation) bool {
			return o.start <= s.end && o.end >= s.start && slices.Contains(s.lines, o.lines[0])
		}) {
			all = append(all, s)
		}
	}
	return all
}

var gapKinds = []decode.Kind{decode.DroppedFrame, decode.SignalLoss}

// besideGaps are what a pulse that a gap cuts off may look like.
var besideGaps = []decode.Kind{decode.PeriodOutOfRange, decode.WidthSpike, decode.WidthOutOfRange, decode.Glitch}

// ofGroups takes the gaps that the shared ones hold, and beside them what else a
// cause brings.
func (b *bench) ofGroups(in incident, groups []shared, before, after decode.Time, kinds ...decode.Kind) incident {
	return in.of(func(o observation) bool {
		for _, s := range groups {
			if !slices.Contains(s.lines, o.lines[0]) || o.end < s.start-before || o.start > s.end+after {
				continue
			}
			if slices.Contains(kinds, o.kind) && o.start >= s.start-before || slices.Contains(gapKinds, o.kind) && b.mostlyIn(o, groups) {
				return true
			}
		}
		return false
	})
}

// mostlyIn reports whether half of an observation's gaps are in the groups.
func (b *bench) mostlyIn(o observation, groups []shared) bool {
	l := o.lines[0]
	gaps, in := l.within(o.start, o.end), 0
	for _, g := range gaps {
		if slices.ContainsFunc(groups, func(s shared) bool { return s.has(l, g) }) {
			in++
		}
	}
	return in*2 >= len(gaps) && len(gaps) > 0
}

// settling is how long after a gap start-up marks may last. Common practice, no
// source.
const settling = 500 * decode.Millisecond

var rebootKinds = []decode.Kind{decode.Glitch, decode.ExtraPulse, decode.StuckLevel, decode.PeriodOutOfRange, decode.WidthOutOfRange,
	decode.WidthSpike, decode.DroppedFrame, decode.SignalLoss, decode.PeriodChanged}

// reboots takes shared gaps on every channel alive that end as a restart does.
func reboots(b *bench, in incident) incident {
	var groups []shared
	for _, s := range b.sharedOrOnly(in) {
		if b.everyOne(s.lines, s.start) && len(b.marks(s)) > 0 {
			groups = append(groups, s)
		}
	}
	return b.ofGroups(in, groups, startFrames*usualPeriod, settling, rebootKinds...)
}

// sharedOrOnly is sharedIn, and where one channel alone was recorded each of its
// gaps of more than three frames.
func (b *bench) sharedOrOnly(in incident) []shared {
	if only := b.only(); only != nil {
		var all []shared
		for _, o := range in.kinds(gapKinds...) {
			for _, g := range only.within(o.start, o.end) {
				if o.on(only) && g.frames > linkFrames && g.start > b.analysis.Start {
					all = append(all, shared{[]*line{only}, g.start, g.end})
				}
			}
		}
		return all
	}
	return b.sharedIn(in)
}

// only is the one channel with pulses, if there is just one.
func (b *bench) only() (one *line) {
	for _, l := range b.lines {
		if l.pulsing() {
			if one != nil {
				return nil
			}
			one = l
		}
	}
	return one
}

// linkFrames is how many frames a link may miss before a supply is as likely.
const linkFrames = 3

// lostLink takes what a link loses: stretches that receivers hold or preset, the
// silence after them, and shared gaps of up to three frames.
func lostLink(b *bench, in incident) incident {
	holds := in.kinds(decode.SharedHold)
	part := in.of(func(o observation) bool {
		return slices.ContainsFunc(holds, func(h observation) bool {
			margin := 3 * h.lines[0].period
			stopped := o.kind == decode.SignalLoss && near(o.start, h.end, margin)
			return o.kind == decode.SharedHold || o.kind != decode.Glitch && o.start >= h.start-margin && (o.end <= h.end+margin || stopped)
		})
	})
	var short []shared
	groups := b.sharedIn(in)
	if len(holds) == 0 && slices.ContainsFunc(groups, func(s shared) bool { return s.missing() > linkFrames }) {
		return nil // short gaps about a longer one are of one origin
	}
	for _, s := range groups {
		if len(s.lines) > 1 && s.missing() <= linkFrames && b.everyOne(s.lines, s.start) {
			short = append(short, s)
		}
	}
	for _, o := range b.ofGroups(in, short, usualPeriod, usualPeriod, besideGaps...) {
		if !slices.ContainsFunc(part, func(p observation) bool { return p.finding == o.finding }) {
			part = append(part, o)
		}
	}
	return part
}

// longSharedGaps takes the shared gaps that are left.
func longSharedGaps(b *bench, in incident) incident {
	var groups []shared
	for _, s := range b.sharedIn(in) {
		if b.everyOne(s.lines, s.start) || len(s.lines) > 2 {
			groups = append(groups, s)
		}
	}
	return b.ofGroups(in, groups, shortestPause, shortestPause, besideGaps...)
}

// someTogether takes gaps that some lines of a receiver have at the same times, to two
// frames, while at least as many others go on.
func someTogether(b *bench, in incident) incident {
	rows := chains(in.kinds(gapKinds...))
	for i, c := range rows {
		lines := []*line{c.line}
		for _, o := range rows[i+1:] {
			if sameGaps(c, o) {
				lines = append(lines, o.line)
			}
		}
		on := slices.DeleteFunc(b.alive(c.begin), func(l *line) bool { return slices.Contains(lines, l) || !sameReceiver(l, c.line) })
		if len(lines) < 2 || len(on) < len(lines) {
			continue
		}
		return in.kinds(wireKinds...).of(func(o observation) bool { return slices.Contains(lines, o.lines[0]) })
	}
	return nil
}

// sameGaps reports whether two lines have their gaps of more than three frames at the
// same times. Shorter ones meet by chance where wires come and go.
func sameGaps(x, y *chain) bool {
	brief := func(g gap) bool { return g.frames <= linkFrames }
	own := slices.DeleteFunc(x.line.within(x.begin, x.end), brief)
	others := slices.DeleteFunc(y.line.within(y.begin, y.end), brief)
	if x.line == y.line || len(own) == 0 || len(own) != len(others) {
		return false
	}
	reach := 2 * x.line.period
	for i, g := range own {
		if !near(g.start, others[i].start, reach) || !near(g.end, others[i].end, reach) {
			return false
		}
	}
	return true
}

// atSharedTimes reports whether the gaps of a line are those of the other lines of a
// case as well, though too short to tell by themselves.
func atSharedTimes(c, _ *explained, p incident, _ bool) bool {
	l := p[0].lines[0]
	if !c.holds(p.lines(c.bench)) || len(p.kinds(gapKinds...)) == 0 {
		return false
	}
	return !slices.ContainsFunc(l.within(p.start(), p.end()), func(g gap) bool {
		return slices.ContainsFunc(c.lines, func(o *line) bool {
			return !slices.ContainsFunc(o.gaps, func(x gap) bool {
				return near(x.start, g.start, 2*l.period) && near(x.end, g.end, 2*l.period)
			})
		})
	})
}

// changedPeriod takes a change of the frame period and what it leaves behind.
func changedPeriod(_ *bench, in incident) incident {
	changes := in.kinds(decode.PeriodChanged)
	return in.of(func(o observation) bool {
		return o.kind == decode.PeriodChanged || slices.ContainsFunc(changes, func(c observation) bool {
			reach := 3 * c.lines[0].period
			return o.kind != decode.Glitch && o.lines[0] == c.lines[0] && o.end >= c.start-reach && o.start <= c.start+reach
		})
	})
}

// sharedGaps lists those that a case is about.
func (c *explained) sharedGaps() (all []shared) {
	for _, p := range c.parts {
		for _, s := range c.bench.sharedOrOnly(p) {
			if !slices.ContainsFunc(all, func(o shared) bool { return o.start == s.start }) {
				all = append(all, s)
			}
		}
	}
	return all
}

// cutShort tells of pulses on several channels that are not whole about the gaps.
func (c *explained) cutShort() []string {
	cut := c.observations().kinds(decode.Glitch, decode.WidthSpike, decode.WidthOutOfRange)
	n := len(cut.lines(c.bench))
	return given(n > 1, "pulses of %s are cut short as well: a link loses whole ones, a plug, a ground or the supply's contact does not", phrase.Count(n, "channel"))
}

func (c *explained) shortGaps() []shared {
	return slices.DeleteFunc(c.sharedGaps(), func(s shared) bool { return s.missing() > linkFrames })
}

func (c *explained) longestShared() string {
	all := c.sharedGaps()
	if len(all) == 0 {
		return ""
	}
	longest := slices.MaxFunc(all, func(x, y shared) int { return cmp.Compare(x.end-x.start, y.end-y.start) })
	return lasting(longest.end - longest.start)
}

// rebootMarks tells the signs of a restart, each with how often.
func (c *explained) rebootMarks() []string {
	gaps := c.sharedGaps()
	var marks []string
	times := map[string]int{}
	for _, s := range gaps {
		for _, m := range c.bench.marks(s) {
			if times[m]++; times[m] == 1 {
				marks = append(marks, m)
			}
		}
	}
	howLong := "of "
	if len(gaps) > 1 {
		howLong = "up to "
	}
	out := []string{phrase.Count(len(gaps), "gap") + " on every channel alive, " + howLong + c.longestShared()}
	for _, m := range marks {
		if len(gaps) > 1 {
			m += fmt.Sprintf(" (%d of %d)", times[m], len(gaps))
		}
		out = append(out, m)
	}
	return out
}

// whoTogether names the channels that had a gap together, those that are not judged as
// well.
func (c *explained) whoTogether() string {
	lines := c.lines
	for _, s := range c.sharedGaps() {
		lines = append(slices.Clone(lines), s.lines...)
	}
	return c.name(c.bench.inOrder(lines))
}

// fell says how the channels fell silent, most times.
func (c *explained) fell() string {
	all := c.sharedGaps()
	if c.bench.only() != nil {
		return "fell silent"
	}
	slow := slices.DeleteFunc(slices.Clone(all), func(s shared) bool { return !s.oneByOne() })
	if len(slow)*2 > len(all) {
		return "fell silent one after another"
	}
	return "fell silent together"
}

// oneByOne reports whether most lines do not begin their gap together.
func (s shared) oneByOne() bool {
	var starts []decode.Time
	for _, l := range s.lines {
		if gaps := s.gapsOf(l); len(gaps) > 0 {
			starts = append(starts, gaps[0].start)
		}
	}
	slices.Sort(starts)
	together := 0
	for _, t := range starts {
		if near(t, starts[len(starts)/2], startFrames*s.lines[0].period) {
			together++
		}
	}
	return together*2 <= len(starts)
}

// unreturned reports whether pulses stayed away to the end of the capture.
func (c *explained) unreturned() bool {
	return slices.ContainsFunc(c.sharedGaps(), func(s shared) bool { return s.end == c.bench.analysis.End })
}

func linkStory(c *explained) string {
	holds := c.sum(decode.SharedHold)
	switch {
	case holds == 0:
		return "the same frames are missing on " + c.whoTogether() + " " + c.when() + ": radio packets were lost on the way"
	case len(c.sharedGaps()) > 0:
		return c.whoTogether() + " froze or fell silent together " + c.when() + ": the radio link was lost there"
	}
	covered := ": the radio link was lost there and the receiver covered it"
	if c.sum(decode.RepeatedWidth) > 0 {
		together := len(c.observations().kinds(decode.SharedHold))
		return c.who() + " froze and then jumped, " + c.when() + ", " + short(together) + " of them together" + covered
	}
	then := "jumped together"
	if c.thenSilent() {
		then = "fell silent"
	}
	return c.who() + " froze together and then " + then + ", " + c.when() + covered
}

// thenSilent reports whether the first hold of a case ended in silence.
func (c *explained) thenSilent() bool {
	first := c.observations().kinds(decode.SharedHold).start()
	for h := range c.bench.analysis.Holds() {
		if h.Start == first {
			return h.Silent
		}
	}
	return false
}

func rateStory(c *explained) string {
	for _, l := range c.lines {
		if len(l.Period.Changes) > 0 {
			x := l.Period.Changes[0]
			return fmt.Sprintf("the frame period of %s went from %s to %s at %s", c.who(), millis(x.From), millis(x.To), c.at(x.At)) +
				map[bool]string{true: ", and changed again later"}[len(l.Period.Changes) > 1]
		}
	}
	return "the frame period of " + c.who() + " changed " + c.when()
}
