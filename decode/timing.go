package decode

import (
	"fmt"
	"math"

	"widthwise/decode/phrase"
)

// firmwareWaits are the times after which firmware takes the signal for lost:
// 100 ms Betaflight src/main/rx/rx.c, 500 ms ArduPilot ArduCopter/radio.cpp and PX4
// COM_RC_LOSS_T, 1000 ms ArduPilot RC_FS_TIMEOUT, from memory; 25 and 50 ms common
// practice, no source.
var firmwareWaits = []Time{25, 50, 100, 500, 1000}

func (j *judge) losses(c *channel) {
	f := c.frames
	for _, e := range f.losses.list {
		j.find(c.ChannelAnalysis, Finding{Kind: SignalLoss, Severity: Fail, Start: e.Start, End: e.End, Count: 1,
			Measured: millis(gapOf(e)), Limit: millis(f.lossAfter), Unit: "ms", Message: c.lossMessage(e)})
		j.touch(c, SignalLoss, e.Start, e.End)
	}
}

func (c *channel) lossMessage(e Event) string {
	gap := gapOf(e)
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
		waits = "longer than the waits of " + phrase.And(crossed) + " ms that firmware uses, not of " + phrase.And(not) + " ms"
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
	since := ""
	if gap > e.End-e.Start {
		since = ", " + gap.Seconds(3) + " s since the last one began"
	}
	return fmt.Sprintf("no pulse for %s s%s%s; %s", (e.End - e.Start).Seconds(3), where, since, waits)
}

// gapOf is what is held against the loss time: from leading edge to leading
// edge, or to an end of the capture. A loss begins a period after the last pulse.
func gapOf(e Event) Time {
	return e.End - e.Start + Time(math.Round(e.Expected*float64(Millisecond)))
}

func (j *judge) drops(c *channel, l Limits) {
	f := c.frames
	severity := Warn
	if l.DroppedFailPercent > 0 && lowerBound(c.DroppedCount, c.FrameCount)*100 > l.DroppedFailPercent {
		severity = Fail
	}
	for _, r := range c.rowsOf(f.drops.list) {
		e := r[0]
		e.Count, e.End = 0, r[len(r)-1].End
		usual := e.Expected
		for _, x := range r {
			e.Count += x.Count
			e.Measured = max(e.Measured, x.Measured)
		}
		message := fmt.Sprintf("%s missing: %.1f ms between pulses where %.1f ms is usual", phrase.Count(e.Count, "frame"), e.Measured, usual)
		switch {
		case everySecond(r, Time(usual*float64(Millisecond))):
			message = fmt.Sprintf("every second frame missing for %s s, %s in all: half the frames lost, or the period doubled to %.1f ms", (e.End - e.Start).Seconds(2), phrase.Count(e.Count, "frame"), 2*usual)
		case len(r) > 1:
			gaps := fmt.Sprintf("%d gaps", len(r))
			if len(f.drops.list) == maxEvents && r[len(r)-1] == f.drops.list[maxEvents-1] {
				gaps = fmt.Sprintf("%d or more gaps", len(r)) // the last stands for many
			}
			message = fmt.Sprintf("%s missing in %s, the longest %.1f ms where %.1f ms is usual", phrase.Count(e.Count, "frame"), gaps, e.Measured, usual)
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

// everySecond reports whether gaps of one frame follow one another directly, but
// for one in ten where something else came between. The last of a list that is full
// stands for many.
func everySecond(row []Event, period Time) bool {
	others := 0
	for i, e := range row {
		if (2*(e.End-e.Start)+3*period)/(4*period) != Time(e.Count) || i > 0 && (e.Start-row[i-1].End)*2 > period*3 {
			others++
		}
	}
	return len(row) >= 4 && others*10 <= len(row)
}

// periodChanges tells where the frame period changed, each change by itself.
func (j *judge) periodChanges(c *channel) {
	for _, x := range c.frames.changes {
		message := fmt.Sprintf("the frame period changed: %.2f ms until %s s, then %.2f ms", x.From/1000, x.At.Seconds(1), x.To/1000)
		if k := math.Round(x.From / x.To); k >= 2 && math.Abs(x.From-k*x.To) < x.From/100 {
			message += fmt.Sprintf("; or only one frame in %.0f came before", k)
		}
		end := x.At + Time(x.To*float64(Microsecond))
		j.find(c.ChannelAnalysis, Finding{Kind: PeriodChanged, Severity: Warn, Start: x.At, End: end, Count: 1,
			Measured: x.To / 1000, Limit: math.NaN(), Unit: "ms", Message: message})
		j.touch(c, PeriodChanged, x.At, x.At)
	}
}

// startsMoved tells once of all starts that moved and stayed.
func (j *judge) startsMoved(c *channel) {
	list := c.frames.moved.list
	if len(list) == 0 {
		return
	}
	largest := 0.0
	for _, e := range list {
		largest = max(largest, math.Abs(e.Measured))
		j.touch(c, StartMoved, e.End, e.End)
	}
	j.find(c.ChannelAnalysis, Finding{Kind: StartMoved, Severity: Note, Start: list[0].Start, End: list[len(list)-1].End, Count: c.frames.moved.all,
		Measured: largest, Limit: math.NaN(), Unit: "us",
		Message: fmt.Sprintf("the pulse's start moved %s by up to %.0f us and stayed: an output before it, not recorded, changed its width", phrase.Times(c.frames.moved.all), largest)})
}

func (j *judge) oddIntervals(c *channel, l Limits) {
	f := c.frames
	if l.FrameWarnPercent <= 0 || f.rhythm.pattern == WidthTimed {
		return
	}
	late := f.odd.list
	if l.FrameWarnPercent != oddPercent {
		late = c.lateFrames(l.FrameWarnPercent)
	}
	for _, e := range c.joined(late) {
		limit := e.Expected * (1 + l.FrameWarnPercent/100)
		word := "late"
		if e.Measured < e.Expected {
			limit, word = e.Expected*(1-l.FrameWarnPercent/100), "early"
		}
		message := fmt.Sprintf("a frame came %s: %.2f ms after the one before where %.2f ms was expected; none is missing", word, e.Measured/1000, e.Expected/1000)
		if e.Count > 1 {
			message = fmt.Sprintf("%s off their expected time, the farthest %.2f ms after the one before where %.2f ms was expected; none is missing", phrase.Count(e.Count, "frame"), e.Measured/1000, e.Expected/1000)
		}
		j.find(c.ChannelAnalysis, Finding{Kind: PeriodOutOfRange, Severity: Warn, Start: e.Start, End: e.End, Count: e.Count,
			Measured: e.Measured / 1000, Limit: limit / 1000, Unit: "ms", Message: message})
	}
	for _, e := range late {
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
				g.Message = fmt.Sprintf("the mean period is %.3f ms, %+.2f %% off the stated %s ms; the limit is %s %%", mean/1000, off, short(stated/1000), short(tier.percent))
				j.find(c.ChannelAnalysis, g)
				break
			}
		}
	}
	if fastest := f.rhythm.fastest(); c.Signal == Servo && !c.narrow && fastest < analogPeriod {
		whole.Severity, whole.Measured, whole.Limit = Note, millis(fastest), millis(analogPeriod)
		whole.Message = fmt.Sprintf("frames every %.2f ms: digital servos only; an analog servo may overheat under 15 ms", millis(fastest))
		j.find(c.ChannelAnalysis, whole)
	}
}

func (j *judge) stuckMarks(c *channel) {
	j.runs(c, StuckLevel, Fail, "ms", millis(longest), c.frames.stuckMarks.list, func(e Event) string {
		if e.End == c.rec.end {
			return fmt.Sprintf("stuck %s for %s s up to the end of the capture", c.Active, (e.End - e.Start).Seconds(3))
		}
		if e.Count > 1 {
			return fmt.Sprintf("%d times %s for longer than a pulse can be, up to %.1f ms", e.Count, c.Active, e.Measured)
		}
		if d := e.End - e.Start; d >= Second {
			return fmt.Sprintf("%s for %s s, longer than a pulse can be", c.Active, d.Seconds(3))
		}
		return fmt.Sprintf("%s for %.1f ms, longer than a pulse can be", c.Active, e.Measured)
	})
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
			Message: fmt.Sprintf("%s and %s before the first regular frames; not judged", phrase.Count(f.startUp, "pulse"), phrase.Count(glitches, "glitch"))})
		j.touch(c, StartUp, first, f.first-1)
	case c.lateStart:
		j.find(c.ChannelAnalysis, Finding{Kind: StartUp, Severity: Note, Start: j.a.Start, End: f.first, Count: 1,
			Measured: millis(f.first - j.a.Start), Limit: math.NaN(), Unit: "ms",
			Message: fmt.Sprintf("the first pulse comes %s s into the capture, as on every channel: recorded from before switch-on", (f.first - j.a.Start).Seconds(3))})
	}
}
