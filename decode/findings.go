package decode

import (
	"fmt"
	"math"
	"strings"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/mathext"
)

func millis(t Time) float64 { return float64(t) / float64(Millisecond) }

// train turns what happened on one train into findings.
func (j *judge) train(c *channel, l Limits) {
	if !c.slot {
		j.losses(c)
		j.drops(c, l)
		j.oddIntervals(c, l)
		j.meanPeriod(c, l)
		j.jams(c)
		j.glitches(c, l)
		j.chatter(c)
		j.blinds(c)
		j.startUp(c)
		j.polarity(c)
		j.few(c, l)
		j.runs(c, ExtraPulse, Warn, "us", math.NaN(), c.frames.extras.list, func(e Event) string {
			return plural(e.Count, "extra pulse") + " off the frame grid while the grid goes on"
		})
	}
	if !c.stream {
		j.widths(c, l)
		j.jitter(c, l)
		j.spikes(c)
		j.repeats(c)
	}
	if l.PeriodJitterWarn > 0 && c.Jitter != nil && c.Jitter.PeriodRMS > l.PeriodJitterWarn {
		j.find(c.ChannelAnalysis, Finding{Kind: PeriodJitter, Severity: Warn, Start: c.frames.first, End: c.frames.last, Count: c.frames.intervals.n,
			Measured: c.Jitter.PeriodRMS, Limit: l.PeriodJitterWarn, Unit: "us",
			Message: fmt.Sprintf("period jitter %s us rms, over the limit of %s us", c.digits(c.Jitter.PeriodRMS), short(l.PeriodJitterWarn))})
	}
}

// runs books events as findings: like ones at most three frames apart are one.
func (j *judge) runs(c *channel, k Kind, s Severity, unit string, limit float64, list []Event, say func(Event) string) {
	for _, e := range c.joined(list) {
		j.find(c.ChannelAnalysis, Finding{Kind: k, Severity: s, Start: e.Start, End: e.End, Count: e.Count,
			Measured: e.Measured, Limit: limit, Unit: unit, Message: say(e)})
	}
	for _, e := range list {
		j.touch(c, k, e.Start, e.End)
	}
}

// touch notes where a kind of finding speaks of a channel; what speaks of a
// stream speaks of its slots.
func (j *judge) touch(c *channel, k Kind, start, end Time) {
	j.out.touches[c] = append(j.out.touches[c], touch{start, end, k})
	if c.stream {
		for _, s := range c.Slots {
			j.touch(s.channel, k, start, end)
		}
	}
}

// joined merges events at most three frames apart; measured is that of the
// largest.
func (c *channel) joined(list []Event) []Event {
	var out []Event
	reach := 3 * c.frames.rhythm.period
	if reach == 0 {
		reach = 60 * Millisecond
	}
	for _, e := range list {
		if n := len(out); n > 0 && e.Start-out[n-1].End <= reach {
			out[n-1].join(e, math.Abs(e.Measured) > math.Abs(out[n-1].Measured))
			continue
		}
		out = append(out, e)
	}
	return out
}

// firmwareWaits are the times after which firmware takes the signal for lost.
// Published firmwares and a robotics library; see DEVELOPERS.md.
var firmwareWaits = []Time{25, 50, 100, 500, 1000}

func (j *judge) losses(c *channel) {
	f := c.frames
	for _, e := range f.losses.list {
		j.find(c.ChannelAnalysis, Finding{Kind: SignalLoss, Severity: Fail, Start: e.Start, End: e.End, Count: 1,
			Measured: millis(c.gapOf(e)), Limit: millis(f.lossAfter), Unit: "ms", Message: c.lossMessage(e)})
		j.touch(c, SignalLoss, e.Start, e.End)
	}
}

func (c *channel) lossMessage(e Event) string {
	gap := c.gapOf(e)
	var crossed, not []string
	for _, w := range firmwareWaits {
		if gap > w*Millisecond {
			crossed = append(crossed, fmt.Sprint(int64(w)))
		} else {
			not = append(not, fmt.Sprint(int64(w)))
		}
	}
	waits := "longer than each wait that firmware uses, 25 to 1000 ms"
	if len(not) > 0 {
		waits = "longer than the waits of " + list(crossed) + " ms that firmware uses, not of " + list(not) + " ms"
		if len(crossed) == 0 {
			waits = "shorter than each wait that firmware uses, 25 to 1000 ms"
		}
	}
	where := ""
	switch {
	case e.End == c.rec.end && e.Start == c.rec.start:
		where = " in the whole capture"
	case e.End == c.rec.end:
		where = " up to the end of the capture"
	case e.Start == c.rec.start:
		where = " from the start of the capture, while other channels pulse"
	}
	return fmt.Sprintf("no pulse for %s s%s, %s s since the last one began; %s", (e.End - e.Start).Seconds(3), where, gap.Seconds(3), waits)
}

// gapOf is what is held against the loss time: from leading edge to leading
// edge, or to an end of the capture.
func (c *channel) gapOf(e Event) Time {
	if e.Start == c.rec.start {
		return e.End - e.Start
	}
	return e.End - e.Start + c.frames.rhythm.period
}

func list(s []string) string {
	if len(s) < 2 {
		return strings.Join(s, "")
	}
	return strings.Join(s[:len(s)-1], ", ") + " and " + s[len(s)-1]
}

func (j *judge) drops(c *channel, l Limits) {
	f := c.frames
	severity := Warn
	if l.DroppedFailPercent > 0 && lowerBound(c.DroppedCount, c.FrameCount)*100 > l.DroppedFailPercent {
		severity = Fail
	}
	usual := float64(f.rhythm.period) / float64(Millisecond)
	for _, r := range c.rowsOf(f.drops.list) {
		e := r[0]
		e.Count, e.End = 0, r[len(r)-1].End
		for _, x := range r {
			e.Count += x.Count
			e.Measured = max(e.Measured, x.Measured)
		}
		message := fmt.Sprintf("%s missing: %.1f ms between pulses where %.1f ms is usual", plural(e.Count, "frame"), e.Measured, usual)
		switch {
		case everySecond(r, f.rhythm.period):
			message = fmt.Sprintf("every second frame missing for %s s, %s in all: half the frames lost, or the period doubled to %.1f ms", (e.End - e.Start).Seconds(2), plural(e.Count, "frame"), 2*usual)
		case len(r) > 1:
			message = fmt.Sprintf("%s missing in %d gaps, the longest %.1f ms where %.1f ms is usual", plural(e.Count, "frame"), len(r), e.Measured, usual)
		}
		j.find(c.ChannelAnalysis, Finding{Kind: DroppedFrame, Severity: severity, Start: e.Start, End: e.End, Count: e.Count,
			Measured: e.Measured, Limit: 1.5 * usual, Unit: "ms", Message: message})
	}
	for _, e := range f.drops.list {
		j.touch(c, DroppedFrame, e.Start, e.End)
	}
}

// rowsOf splits events into rows whose members are at most three frames apart.
func (c *channel) rowsOf(all []Event) [][]Event {
	var rows [][]Event
	from := 0
	for i := range all {
		if i+1 == len(all) || all[i+1].Start-all[i].End > 3*c.frames.rhythm.period {
			rows = append(rows, all[from:i+1])
			from = i + 1
		}
	}
	return rows
}

// everySecond reports whether gaps of one frame follow one another directly.
func everySecond(row []Event, period Time) bool {
	for i, e := range row {
		if e.Count != 1 || i > 0 && (e.Start-row[i-1].End)*2 > period*3 {
			return false
		}
	}
	return len(row) >= 4
}

func (j *judge) oddIntervals(c *channel, l Limits) {
	f := c.frames
	if l.FrameWarnPercent <= 0 || f.rhythm.pattern == WidthTimed {
		return
	}
	if l.FrameWarnPercent != oddPercent {
		f = walk(c.pulses, f.rhythm, f.lossAfter, l.FrameWarnPercent, c.rec.batched())
	}
	for _, e := range c.joined(f.odd.list) {
		limit := e.Expected * (1 + l.FrameWarnPercent/100)
		word := "late"
		if e.Measured < e.Expected {
			limit, word = e.Expected*(1-l.FrameWarnPercent/100), "early"
		}
		message := fmt.Sprintf("a frame came %s: %s us after the one before where %s us was expected; none is missing", word, c.digits(e.Measured), c.digits(e.Expected))
		if e.Count > 1 {
			message = fmt.Sprintf("%s off their expected time, the longest interval %s us where %s us was expected; none is missing", plural(e.Count, "frame"), c.digits(e.Measured), c.digits(e.Expected))
		}
		j.find(c.ChannelAnalysis, Finding{Kind: PeriodOutOfRange, Severity: Warn, Start: e.Start, End: e.End, Count: e.Count,
			Measured: e.Measured / 1000, Limit: limit / 1000, Unit: "ms", Message: message})
	}
	for _, e := range f.odd.list {
		j.touch(c, PeriodOutOfRange, e.End, e.End)
	}
}

// analogPeriod is the period under which analog servos may overheat. Common
// practice, no source.
const analogPeriod = 15 * Millisecond

func (j *judge) meanPeriod(c *channel, l Limits) {
	f := c.frames
	if c.Period == nil || f.rhythm.period == 0 {
		return
	}
	mean := c.Period.Intervals.Mean
	if math.IsNaN(mean) {
		mean = c.Period.Nominal
	}
	whole := Finding{Kind: PeriodOutOfRange, Start: f.first, End: f.last, Count: max(1, f.intervals.n), Measured: mean / 1000, Unit: "ms"}
	if c.Stated.Period > 0 {
		stated := micros(c.Stated.Period)
		off := (mean - stated) / stated * 100
		for _, tier := range []struct {
			percent  float64
			severity Severity
		}{{l.PeriodFailPercent, Fail}, {l.PeriodWarnPercent, Warn}} {
			if tier.percent > 0 && math.Abs(off) > tier.percent {
				g := whole
				g.Severity, g.Limit = tier.severity, stated/1000*(1+math.Copysign(tier.percent/100, off))
				g.Message = fmt.Sprintf("the mean period is %s us, %+.2f %% off the stated %s us; the limit is %s %%", c.digits(mean), off, short(stated), short(tier.percent))
				j.find(c.ChannelAnalysis, g)
				break
			}
		}
	}
	if c.Signal == Servo && !c.narrow && f.rhythm.period < analogPeriod {
		whole.Severity, whole.Limit = Note, millis(analogPeriod)
		whole.Message = fmt.Sprintf("frames every %.2f ms: digital servos only; an analog servo may overheat under 15 ms", mean/1000)
		j.find(c.ChannelAnalysis, whole)
	}
}

func (j *judge) jams(c *channel) {
	j.runs(c, StuckLevel, Fail, "ms", millis(longest), c.frames.stuckMarks.list, func(e Event) string {
		if e.End == c.rec.end {
			return fmt.Sprintf("stuck %s for %s s up to the end of the capture", c.Active, (e.End - e.Start).Seconds(3))
		}
		if e.Count > 1 {
			return fmt.Sprintf("%d times %s for longer than a pulse can be, up to %.1f ms", e.Count, c.Active, e.Measured)
		}
		return fmt.Sprintf("%s for %.1f ms, longer than a pulse can be", c.Active, e.Measured)
	})
}

func (j *judge) glitches(c *channel, l Limits) {
	if c.pulser == nil {
		return
	}
	var all []Event
	var runts int64
	r := c.pulser.glitches.read()
	for e, ok := r.next(); ok; e, ok = r.next() {
		if c.frames.any && e.start < c.frames.first {
			continue
		}
		if e.width >= spikeMax {
			runts++
		}
		all = append(all, Event{Start: e.start, End: e.start + e.width, Count: 1, Measured: micros(e.width)})
		j.touch(c, Glitch, e.start, e.start+e.width)
	}
	if n := len(all); n > 0 {
		all[n-1].Count += c.GlitchCount - int64(n) // those beyond what is listed
	}
	overLimit := l.GlitchFailPercent > 0 && lowerBound(min(runts, c.FrameCount), c.FrameCount)*100 > l.GlitchFailPercent
	joined := c.joined(all)
	for i, e := range capped(joined) {
		f := Finding{Kind: Glitch, Severity: Warn, Start: e.Start, End: e.End, Count: e.Count,
			Measured: e.Measured, Limit: micros(c.pulser.below), Unit: "us"}
		if overLimit && e.Measured >= micros(spikeMax) {
			f.Severity = Fail
		}
		f.Message = fmt.Sprintf("%s, the longest %s us", plural(e.Count, "glitch"), c.digits(e.Measured))
		if i == maxEvents-1 && len(joined) > maxEvents {
			f.Message += fmt.Sprintf("; stands for the last %d places", len(joined)-i)
		}
		j.find(c.ChannelAnalysis, f)
	}
}

// capped joins what goes beyond a list's length into its last member.
func capped(all []Event) []Event {
	if len(all) <= maxEvents {
		return all
	}
	last := all[maxEvents-1]
	for _, e := range all[maxEvents:] {
		last.join(e, e.Measured > last.Measured)
	}
	return append(slices.Clone(all[:maxEvents-1]), last)
}

func (j *judge) chatter(c *channel) {
	if c.pulser == nil || c.pulser.chattered == 0 {
		return
	}
	s := c.pulser.chatters
	j.find(c.ChannelAnalysis, Finding{Kind: EdgeChatter, Severity: Note, Start: s[0].start, End: s[len(s)-1].end, Count: c.pulser.chattered,
		Measured: math.NaN(), Limit: math.NaN(),
		Message: plural(c.pulser.chattered, "edge") + " crossed the threshold several times within microseconds; the first crossing counts. A slow edge, a long ground lead or a threshold near a level does this"})
	for _, x := range s {
		j.touch(c, EdgeChatter, x.start, x.end)
	}
}

func (j *judge) blinds(c *channel) {
	if c.pulser == nil {
		return
	}
	for _, x := range c.pulser.blinds {
		j.touch(c, UnknownLevel, x.start, x.end)
		where := "is unknown"
		if x.count > 1 {
			where = fmt.Sprintf("is unknown in %d stretches", x.count)
		}
		j.find(c.ChannelAnalysis, Finding{Kind: UnknownLevel, Severity: Note, Start: x.start, End: x.end, Count: x.count,
			Measured: millis(x.end - x.start), Limit: math.NaN(), Unit: "ms",
			Message: fmt.Sprintf("the level %s for %s s; nothing is concluded from there", where, (x.end - x.start).Seconds(3))})
	}
}

func (j *judge) startUp(c *channel) {
	f := c.frames
	if !f.any {
		return
	}
	var glitches int64
	if c.pulser != nil {
		glitches = c.pulser.glitched - c.GlitchCount
	}
	first := f.first
	if f.startUp > 0 {
		first = f.firstPulse
	}
	if glitches > 0 {
		r := c.pulser.glitches.read()
		e, _ := r.next()
		first = min(first, e.start)
	}
	switch {
	case f.startUp > 0 || glitches > 0:
		j.find(c.ChannelAnalysis, Finding{Kind: StartUp, Severity: Note, Start: first, End: f.first, Count: f.startUp + glitches,
			Measured: millis(f.first - first), Limit: math.NaN(), Unit: "ms",
			Message: fmt.Sprintf("%s and %s before the first regular frames; not judged", plural(f.startUp, "pulse"), plural(glitches, "glitch"))})
		j.touch(c, StartUp, first, f.first-1)
	case c.lateStart:
		j.find(c.ChannelAnalysis, Finding{Kind: StartUp, Severity: Note, Start: j.a.Start, End: f.first, Count: 1,
			Measured: millis(f.first - j.a.Start), Limit: math.NaN(), Unit: "ms",
			Message: fmt.Sprintf("the first pulse comes %s s into the capture, as on every channel: recorded from before switch-on", (f.first - j.a.Start).Seconds(3))})
	}
}

func (j *judge) polarity(c *channel) {
	if c.stream || c.Active != Low || c.Stated.Active == Low {
		return
	}
	j.find(c.ChannelAnalysis, Finding{Kind: Inverted, Severity: Warn, Start: c.frames.first, End: max(c.frames.last, c.frames.first), Count: 1,
		Measured: math.NaN(), Limit: math.NaN(),
		Message: "pulses are low: decoded as active low. A level shifter or a transistor that inverts does this; --active low says that it is meant"})
}

func (j *judge) few(c *channel, l Limits) {
	if c.FrameCount >= l.MinFrames {
		return
	}
	j.find(c.ChannelAnalysis, Finding{Kind: FewFrames, Severity: Note, Start: j.a.Start, End: j.a.End, Count: c.FrameCount,
		Measured: float64(c.FrameCount), Limit: float64(l.MinFrames), Unit: "frames",
		Message: fmt.Sprintf("%s seen; at least %d are needed to pass", plural(c.FrameCount, "frame"), l.MinFrames)})
}

// outside says which bound a width is beyond, with a guard in the same unit.
func outside(w float64, bounds [2]float64, guard float64) (bound float64, hit bool) {
	switch {
	case bounds == [2]float64{}:
		return 0, false
	case w < bounds[0]-guard:
		return bounds[0], true
	case w > bounds[1]+guard:
		return bounds[1], true
	}
	return 0, false
}

// widthLimits are those that hold for the channel: narrow pulses have their own
// unless the user stated some.
func (c *channel) widthLimits(l Limits) (warn, fail [2]float64) {
	if c.narrow && !l.WidthStated {
		return narrowWarn, narrowFail
	}
	return l.WidthWarn, l.WidthFail
}

// widths finds pulses outside the limits, with a guard of one time step. The
// expected figure of a hit is the bound it is beyond.
func (j *judge) widths(c *channel, l Limits) {
	warn, fail := c.widthLimits(l)
	guard := c.step / float64(Microsecond)
	fails := func(e Event) bool { return slices.Contains(fail[:], e.Expected) }
	worse := func(a, b Event) bool {
		if fails(a) != fails(b) {
			return fails(a)
		}
		return math.Abs(a.Measured-a.Expected) > math.Abs(b.Measured-b.Expected)
	}
	j.out.outside[c] = func(e entry) bool {
		w := micros(e.width)
		_, failed := outside(w, fail, guard)
		_, warned := outside(w, warn, guard)
		return e.start >= c.frames.first && (failed || warned)
	}
	var rows []Event
	for e := range c.inFrames() {
		w := micros(e.width)
		bound, hit := outside(w, fail, guard)
		if !hit {
			bound, hit = outside(w, warn, guard)
		}
		if !hit {
			continue
		}
		x := Event{Start: e.start, End: e.start + e.width, Count: 1, Measured: w, Expected: bound}
		if n := len(rows); n > 0 && (e.start-rows[n-1].End <= 3*c.frames.rhythm.period || n == maxEvents) {
			rows[n-1].join(x, worse(x, rows[n-1]))
		} else {
			rows = append(rows, x)
		}
	}
	for _, e := range rows {
		severity, bounds := Warn, warn
		if fails(e) {
			severity, bounds = Fail, fail
		}
		j.find(c.ChannelAnalysis, Finding{Kind: WidthOutOfRange, Severity: severity, Start: e.Start, End: e.End, Count: e.Count,
			Measured: e.Measured, Limit: e.Expected, Unit: "us",
			Message: fmt.Sprintf("%s outside %s to %s us, the farthest %s us", plural(e.Count, "pulse"), short(bounds[0]), short(bounds[1]), c.digits(e.Measured))})
	}
}

// Limits of a narrow train (neutral 760 us), in proportion to the wide ones.
var (
	narrowWarn = [2]float64{510, 1010}
	narrowFail = [2]float64{400, 1120}
)

func (j *judge) jitter(c *channel, l Limits) {
	if c.Jitter == nil || c.Jitter.WidthN < restFrames || len(c.Rests) == 0 {
		return
	}
	p99, word := c.Jitter.WidthP99, "99 % of pulses lie within"
	if math.IsNaN(p99) {
		p99, word = c.Jitter.WidthLargest, fmt.Sprintf("the largest of %d lies within", c.Jitter.WidthN)
	}
	floor := 2 * c.step / float64(Microsecond)
	severity, limit := Severity(""), 0.0
	switch {
	case l.WidthJitterFail > 0 && p99 > max(l.WidthJitterFail, floor) && c.Jitter.WidthN >= 200:
		severity, limit = Fail, max(l.WidthJitterFail, floor)
	case l.WidthJitterWarn > 0 && p99 > max(l.WidthJitterWarn, floor):
		severity, limit = Warn, max(l.WidthJitterWarn, floor)
	default:
		return
	}
	message := fmt.Sprintf("at rest the width jitters: %s %s us of the mean (%s us rms over %s)", word, c.digits(p99), c.digits(c.Jitter.WidthRMS), plural(c.Jitter.WidthN, "frame"))
	if c.awayFromNeutral() {
		message += "; the stick is away from neutral: a hand on it?"
	}
	j.find(c.ChannelAnalysis, Finding{Kind: WidthJitter, Severity: severity, Start: c.Rests[0].Start, End: c.Rests[len(c.Rests)-1].End,
		Count: c.Jitter.WidthN, Measured: p99, Limit: limit, Unit: "us", Message: message})
}

// awayFromNeutral says whether only rests away from neutral (1500 or 760 us)
// are unsteady, as where a hand holds the stick.
func (c *channel) awayFromNeutral() bool {
	neutral := 1500.0
	if c.narrow {
		neutral = 760
	}
	near, away := 0.0, 0.0
	for _, r := range c.Rests {
		if math.Abs(r.Width-neutral) > 60 {
			away = max(away, r.RMS)
		} else {
			near = max(near, r.RMS)
		}
	}
	return near*2 < away
}

// spikes leaves out what is out of range already: nothing is told twice.
func (j *judge) spikes(c *channel) {
	list := slices.DeleteFunc(slices.Clone(c.spikes.list), func(e Event) bool {
		return j.out.outside[c](entry{start: e.Start, width: e.End - e.Start})
	})
	j.runs(c, WidthSpike, Warn, "us", micros(max(spikeOver, Time(spikeRMS*c.scale))), list, func(e Event) string {
		return fmt.Sprintf("%s off both neighbours by %s us, then back", plural(e.Count, "pulse"), c.digits(e.Measured))
	})
}

func (j *judge) repeats(c *channel) {
	j.runs(c, RepeatedWidth, Warn, "frames", math.NaN(), c.repeats.list, func(e Event) string {
		return fmt.Sprintf("the same width for %.0f frames while the stick moves, then a jump: radio packets were probably lost", e.Measured)
	})
	j.runs(c, FrozenWidth, Note, "frames", math.NaN(), c.frozen.list, func(e Event) string {
		return fmt.Sprintf("exactly the same width for %.0f frames where it jitters elsewhere: perhaps a receiver repeating its last value", e.Measured)
	})
}

// lowerBound is the one-sided 95 % lower bound of Clopper and Pearson
// (Biometrika 26, 1934) on the rate of k in n.
func lowerBound(k, n int64) float64 {
	if k <= 0 || n <= 0 {
		return 0
	}
	return mathext.InvRegIncBeta(float64(k), float64(n-k+1), 0.05)
}

// digits writes microseconds with what the capture resolves.
func (c *channel) digits(us float64) string {
	step := c.step / float64(Microsecond)
	switch {
	case step >= 0.5:
		return fmt.Sprintf("%.1f", us)
	case step >= 0.05 || step == 0:
		return fmt.Sprintf("%.2f", us)
	}
	return fmt.Sprintf("%.3f", us)
}

// short writes a number as it would be said.
func short(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.3f", v), "0"), ".")
}

func plural(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	if strings.HasSuffix(noun, "ch") {
		return fmt.Sprintf("%d %ses", n, noun)
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
