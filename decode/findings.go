package decode

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/mathext"

	"widthwise/decode/phrase"
)

func millis(t Time) float64 { return float64(t) / float64(Millisecond) }

// train turns what happened on one train into findings.
func (j *judge) train(c *channel, l Limits) {
	if !c.slot {
		j.losses(c)
		j.drops(c, l)
		j.periodChanges(c)
		j.startsMoved(c)
		j.oddIntervals(c, l)
		j.meanPeriod(c, l)
		j.stuckMarks(c)
		j.glitches(c, l)
		j.chatter(c)
		j.blinds(c)
		j.startUp(c)
		j.polarity(c)
		j.few(c, l)
		j.runs(c, ExtraPulse, Warn, "us", math.NaN(), c.frames.extras.list, func(e Event) string {
			return phrase.Count(e.Count, "extra pulse") + " off the frame grid while the grid goes on"
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
		longest := map[bool]string{true: " of", false: ", the longest"}[e.Count == 1]
		f.Message = fmt.Sprintf("%s%s %s us", phrase.Count(e.Count, "glitch"), longest, c.digits(e.Measured))
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
		Message: phrase.Count(c.pulser.chattered, "edge") + " crossed the threshold several times within microseconds; the first crossing counts. A slow edge, a long ground lead or a threshold near a level does this"})
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

func (j *judge) polarity(c *channel) {
	if c.stream || c.Active != Low || c.Stated.Active == Low {
		return
	}
	j.find(c.ChannelAnalysis, Finding{Kind: Inverted, Severity: Warn, Start: c.frames.first, End: max(c.frames.last, c.frames.first), Count: 1,
		Measured: math.NaN(), Limit: math.NaN(),
		Message: "pulses are low: decoded as active low. A level shifter or a transistor that inverts does this; option active says that it is meant"})
}

func (j *judge) few(c *channel, l Limits) {
	if c.FrameCount >= l.MinFrames {
		return
	}
	j.find(c.ChannelAnalysis, Finding{Kind: FewFrames, Severity: Note, Start: j.a.Start, End: j.a.End, Count: c.FrameCount,
		Measured: float64(c.FrameCount), Limit: float64(l.MinFrames), Unit: "frames",
		Message: fmt.Sprintf("%s seen; at least %d are needed to pass", phrase.Count(c.FrameCount, "frame"), l.MinFrames)})
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
	hits := func(w Time) bool { return j.out.outside[c](entry{start: c.frames.first, width: w}) }
	if c.Width == nil || !hits(c.Width.Min) && !hits(c.Width.Max) {
		return // as on most channels
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
			Message: fmt.Sprintf("%s outside %s to %s us, the farthest %s us", phrase.Count(e.Count, "pulse"), short(bounds[0]), short(bounds[1]), c.digits(e.Measured))})
	}
}

// Limits of a narrow train (neutral 760 us), in proportion to the wide ones:
// common practice, no source.
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
	message := fmt.Sprintf("at rest the width jitters: %s %s us of the mean (%s us rms over %s)", word, c.digits(p99), c.digits(c.Jitter.WidthRMS), phrase.Count(c.Jitter.WidthN, "frame"))
	if near, away := c.RestNoise(); near*2 < away {
		message += "; the stick is away from neutral: a hand on it?"
	}
	j.find(c.ChannelAnalysis, Finding{Kind: WidthJitter, Severity: severity, Start: c.Rests[0].Start, End: c.Rests[len(c.Rests)-1].End,
		Count: c.Jitter.WidthN, Measured: p99, Limit: limit, Unit: "us", Message: message})
}

// spikes leaves out what is out of range already: nothing is told twice.
func (j *judge) spikes(c *channel) {
	list := slices.DeleteFunc(slices.Clone(c.spikes.list), func(e Event) bool {
		return j.out.outside[c](entry{start: e.Start, width: e.End - e.Start})
	})
	j.runs(c, WidthSpike, Warn, "us", micros(max(spikeOver, Time(spikeRMS*c.scale))), list, func(e Event) string {
		return fmt.Sprintf("%s off both neighbours by %s us, then back", phrase.Count(e.Count, "pulse"), c.digits(e.Measured))
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
	return phrase.Trim(fmt.Sprintf("%.3f", v))
}
