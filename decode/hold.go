package decode

import (
	"cmp"
	"fmt"
	"iter"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
)

// Hold is a stretch in which several channels of a receiver stopped together
// and jumped together at its end, or fell silent: the link was lost and the receiver
// covered it, with its last values or, where Preset is set, with values of its own.
type Hold struct {
	Start, End Time // leading edges of the first frame held and of the first one after
	Channels   []string
	Preset     bool
	Silent     bool      // pulses ceased at its end
	Frames     int64     // held, on the channel that held longest
	Times      [][2]Time // of each channel
}

// Holds yields the stretches in which the receiver covered a lost link, in order
// of time.
func (a *Analysis) Holds() iter.Seq[Hold] {
	return func(yield func(Hold) bool) {
		for _, h := range a.holds {
			if !yield(h) {
				return
			}
		}
	}
}

// heldOutput is how well a receiver's timer repeats a width that it holds.
// Common practice, no source.
const heldOutput = 250 * Nanosecond

// A hold is at least this much longer than the regular pattern; its jumps are
// over three times the usual change, or over 20 us and clearly over it. Common
// practice, no source.
const (
	holdFrames = 3
	calmFrames = 10 // so many alike amid jitter are none of it
	jumpTimes  = 3
	jumpOver   = 20 * Microsecond
)

// halt is a run of one width on one channel that its surroundings do not
// explain.
type halt struct {
	c          *channel
	start, end Time
	frames     int
	from       int  // place of the first of its readings
	broke      bool // it began amid a move or amid jitter
	entered    bool // it began with a jump
	left       bool // it ended with a jump, or as the channel fell silent
	silent     bool // the latter
	calmed     bool // jitter ceased for it
	came       Time // by how much the runs before it moved
	jump       Time // by how much it ended
	usual      Time // change from run to run about it
}

// counts says whether a halt is one of the two that make a hold, rather than one
// that joins them.
func (h halt) counts() bool { return h.left || h.entered || h.calmed }

// stands says whether a halt cannot be a stick that came to rest.
func (h halt) stands() bool {
	return h.left && h.broke || h.entered && (h.left || h.end == h.c.rec.end)
}

// noteHalt returns what notes a run that is a halt.
func (c *channel) noteHalt(all []reading, tolerance Time) func(sameRun, surroundings) {
	halted := Time(math.MinInt64) // where the halt before ended
	return func(r sameRun, s surroundings) {
		if len(s.before) == 0 || r.n < s.regular+holdFrames {
			return
		}
		h := c.haltOf(all, r, s, tolerance, halted == all[r.from].start)
		if h.broke || h.entered {
			halted = r.next(all)
		}
		if len(c.halts) < maxEvents {
			c.halts = append(c.halts, h)
		}
	}
}

// haltOf says how a run longer than its surroundings began and ended; halted is
// set where another halt ended there.
func (c *channel) haltOf(all []reading, r sameRun, s surroundings, tolerance Time, halted bool) halt {
	start, end := r.bounds(all)
	h := halt{c: c, start: start, end: r.next(all), frames: r.n, from: r.from}
	usual := max(usualChange(s.before), usualChange(s.after), tolerance)
	noise := c.noiseOf(&all[r.from])
	jumped := func(d Time) bool {
		return noise.outrunBy(d, d) && (d > jumpTimes*usual || d > jumpOver && 2*d > 3*usual)
	}
	h.broke = brokeOff(s.before, r, tolerance)
	h.entered = jumped(absDiff(r.first, s.before[len(s.before)-1].last)) &&
		(halted || len(s.before) == beside && restless(s.before, tolerance))
	h.usual, h.came = usual, absDiff(r.first, s.before[0].first)
	if len(s.after) > 0 {
		h.jump = absDiff(s.after[0].first, r.last)
		h.left = jumped(h.jump)
	} else if r.n >= calmFrames && c.fallsSilent(end) {
		h.silent, h.left = h.broke, h.broke
	} else if all[len(all)-1].end() == end && c.rec.end-end <= 2*c.frames.rhythm.period {
		h.end = c.rec.end
	}
	if r.n >= calmFrames {
		before, after := besideRun(all, r)
		h.calmed = c.jitters(before, float64(tolerance)) && c.jitters(after, float64(tolerance))
	}
	return h
}

// fallsSilent reports whether a loss begins with the frame after an instant.
func (c *channel) fallsSilent(at Time) bool {
	return slices.ContainsFunc(c.frames.losses.list, func(e Event) bool {
		return e.Start >= at && e.Start-at <= c.frames.rhythm.period
	})
}

// usualChange is the median change from run to run.
func usualChange(runs []sameRun) Time {
	var room [beside]Time
	j := jumps(room[:0], runs)
	if len(j) == 0 {
		return 0
	}
	return Time(quantile(j, 0.5))
}

// restless reports whether widths changed from frame to frame, rather than
// resting at one.
func restless(runs []sameRun, tolerance Time) bool {
	return readingsOf(runs) <= 4*len(runs) && 2*usualChange(runs) >= 3*tolerance
}

// brokeOff reports whether a run began while the width moved no slower than
// before, or amid jitter. A stick that comes to rest slows down first.
func brokeOff(before []sameRun, r sameRun, tolerance Time) bool {
	if len(before) < beside/2 {
		return false
	}
	last := before[len(before)-1]
	speed := float64(absDiff(r.first, before[0].first)) / float64(readingsOf(before))
	change := usualChange(before)
	if absDiff(r.first, before[0].first) <= 3*change {
		return restless(before, tolerance)
	}
	return float64(absDiff(r.first, last.first))/float64(last.n) >= speed/2
}

// findHolds gathers halts of different channels that begin and end within two
// frames of one another.
func (a *Analysis) findHolds() {
	var all []halt
	for _, c := range a.measured() {
		all = append(all, c.halts...)
	}
	slices.SortStableFunc(all, func(x, y halt) int { return cmp.Compare(x.start, y.start) })
	for i := range all {
		if n := len(a.holds); n > 0 && all[i].start < a.holds[n-1].End-all[i].c.frames.rhythm.period {
			continue // part of it
		}
		if together := alongside(all, i); a.isHold(together) {
			a.addHold(together)
		}
	}
}

// mixedWith reports whether two halts may be those of one stick that drives both
// channels: they moved as far before, and end with jumps of one size.
func (h halt) mixedWith(o halt) bool {
	usual := max(h.usual, o.usual)
	return !h.calmed && absDiff(h.jump, o.jump) <= usual && absDiff(h.came, o.came) <= 2*usual
}

// alongside takes the halts that begin and end with one of them, one a channel.
// A width that turns just then seems to stop some frames before.
func alongside(all []halt, i int) (together []halt) {
	h := all[i]
	period := h.c.frames.rhythm.period
	reach := period * 5 / 2 // two frames, and a place in the frame
	first, _ := slices.BinarySearchFunc(all, h.start-8*period, func(x halt, at Time) int { return cmp.Compare(x.start, at) })
	for _, x := range all[first:] {
		if x.start > h.start+reach {
			break
		}
		early := h.start - x.start
		if absDiff(x.end, h.end) <= reach && (early <= reach || early <= 8*period && !x.stands()) &&
			!slices.ContainsFunc(together, func(y halt) bool { return y.c == x.c }) {
			together = append(together, x)
		}
	}
	return together
}

// oneStick reports whether one stick that drives two channels may have made halts: no
// more of them count, and no other broke off that goes its own way.
func oneStick(together []halt) bool {
	var counting []halt
	for _, h := range together {
		if h.counts() {
			counting = append(counting, h)
		}
	}
	return len(counting) == 2 && counting[1].mixedWith(counting[0]) &&
		!slices.ContainsFunc(together, func(h halt) bool { return h.broke && !h.counts() && !h.mixedWith(counting[0]) })
}

// isHold reports whether two of the halts jump and one of them cannot be a stick
// that came to rest, and few channels go on through them: a lost link stops all.
func (a *Analysis) isHold(together []halt) bool {
	counting, standing := 0, 0
	for _, h := range together {
		if h.counts() {
			counting++
		}
		if h.stands() {
			standing++
		}
	}
	if counting < 2 || standing < 1 || oneStick(together) && !a.silentFrom(together[0].start) {
		return false
	}
	alive := 0
	for _, c := range a.measured() {
		own := slices.ContainsFunc(together, func(h halt) bool { return h.c == c })
		if !c.stream && !own && !c.haltedAt(together[0].start) && c.changesWithin(together[0].start, together[0].end) {
			alive++
		}
	}
	return 2*alive < len(together)
}

// silentFrom reports whether a channel fell silent just when others halted,
// which no stick does.
func (a *Analysis) silentFrom(start Time) bool {
	return slices.ContainsFunc(a.servos(), func(c *channel) bool {
		reach := c.frames.rhythm.period * 7 / 2 // two frames, a place in the frame, and the first frame missing
		begins := func(e Event) bool { return absDiff(e.Start, start) <= reach }
		return slices.ContainsFunc(c.frames.losses.list, begins) || slices.ContainsFunc(c.frames.drops.list, begins)
	})
}

// haltedAt reports whether a halt that no stick makes began just then, though not all
// of the time: the channel went on to a preset of its own.
func (c *channel) haltedAt(start Time) bool {
	reach := c.frames.rhythm.period * 5 / 2
	return slices.ContainsFunc(c.halts, func(h halt) bool { return h.stands() && absDiff(h.start, start) <= reach })
}

// changesWithin reports whether widths went on changing between two instants,
// a frame at either end aside.
func (c *channel) changesWithin(start, end Time) bool {
	tolerance := max(c.sameWidth(), heldOutput)
	margin := 2 * c.frames.rhythm.period
	var least, most Time
	for e := range c.inFramesFrom(start + margin) {
		if e.start >= end-margin {
			break
		}
		if least == 0 {
			least, most = e.width, e.width
		}
		least, most = min(least, e.width), max(most, e.width)
	}
	return most-least > tolerance
}

// addHold books a hold; one that begins where another ended goes on with it, as
// of a receiver that holds first and then takes its preset.
func (a *Analysis) addHold(together []halt) {
	h := Hold{Start: math.MinInt64, End: math.MinInt64}
	entered := 0
	for _, x := range together {
		if x.stands() {
			h.Start = max(h.Start, x.start)
		}
		h.End = max(h.End, x.end)
		h.Frames = max(h.Frames, int64(x.frames))
		h.Channels = append(h.Channels, x.c.Name)
		h.Times = append(h.Times, [2]Time{x.start, x.end})
		if x.entered {
			entered++
		}
		h.Silent = h.Silent || x.silent
	}
	h.Preset = entered >= 2
	reach := 3 * together[0].c.frames.rhythm.period
	for _, x := range together {
		x.c.repeats.without(h.Start, h.End)
		x.c.frozen.without(h.Start, h.End)
	}
	if n := len(a.holds); n > 0 && absDiff(h.Start, a.holds[n-1].End) <= reach {
		a.holds[n-1].join(h)
		return
	}
	if len(a.holds) < maxEvents {
		a.holds = append(a.holds, h)
	}
}

func (h *Hold) join(o Hold) {
	h.End, h.Preset, h.Silent = o.End, h.Preset || o.Preset, o.Silent
	h.Frames += o.Frames
	for i, name := range o.Channels {
		if !slices.Contains(h.Channels, name) {
			h.Channels = append(h.Channels, name)
			h.Times = append(h.Times, o.Times[i])
		}
	}
}

// without leaves out what lies between two instants: it is told as part of a
// hold.
func (l *events) without(start, end Time) {
	l.list = slices.DeleteFunc(l.list, func(e Event) bool { return e.Start >= start && e.Start < end })
}

// holds finds where the receiver covered a lost link.
func (j *judge) holds() {
	for _, h := range j.a.holds {
		did := "keep their last widths"
		if h.Preset {
			did = "jump to widths that they keep to the step, as of a preset,"
		}
		then := "jump"
		if h.Silent {
			then = "fall silent"
		}
		j.out.Findings = append(j.out.Findings, Finding{Kind: SharedHold, Severity: Warn, Channels: h.Channels, Start: h.Start, End: h.End, Count: h.Frames,
			Measured: millis(h.End - h.Start), Limit: math.NaN(), Unit: "ms",
			Message: fmt.Sprintf("%s %s together for %s s, then %s: the link was lost and the receiver covered it", phrase.And(h.Channels), did, (h.End - h.Start).Seconds(2), then)})
		for _, c := range j.a.measured() {
			if slices.Contains(h.Channels, c.Name) {
				j.touch(c, SharedHold, h.Start, h.End-1)
			}
		}
	}
}
