package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// sameRun is a row of neighbouring frames of one width.
type sameRun struct {
	start, end Time
	first      Time // width of the first
	last       Time // width of the last
	n          int
	row        int // changes where frames are not neighbours
}

// sameRuns splits the frames into runs of widths equal within tolerance.
func (c *channel) sameRuns(tolerance Time, yield func(sameRun)) {
	var run sameRun
	var last Time
	row := 0
	for e := range c.steady() {
		if e.start-last > c.frames.rhythm.period*3/2 {
			row++
		}
		last = e.start
		if run.n > 0 && run.row == row && absDiff(e.width, run.first) <= tolerance {
			run.n++
			run.end, run.last = e.start+e.width, e.width
			continue
		}
		if run.n > 0 {
			yield(run)
		}
		run = sameRun{start: e.start, end: e.start + e.width, first: e.width, last: e.width, n: 1, row: row}
	}
	if run.n > 0 {
		yield(run)
	}
}

// sameWidth is how far two readings of one width may be apart: a time step, as
// a width between two steps reads as either, and at least one stamp unit.
func (c *channel) sameWidth() Time {
	return max(c.rec.origin.Unit, Time(math.Ceil(c.step)))
}

// findRepeats finds runs of one width while the stick moves that are longer
// than their neighbours and end in a jump that makes up for them: packets were
// probably lost. Runs that all neighbours share are one packet that feeds
// several frames, and short ones are the recorder's step.
func (c *channel) findRepeats() {
	const beside = 3
	tolerance := max(c.sameWidth(), Time(3*c.scale))
	var near []sameRun
	c.sameRuns(tolerance, func(r sameRun) {
		near = append(near, r)
		if len(near) < 2*beside+1 {
			return
		}
		if n, ok := lostPackets(near, beside, tolerance); ok {
			m := near[beside]
			c.repeats.add(Event{Start: m.start, End: m.end, Count: int64(n), Measured: float64(n)})
		}
		near = slices.Delete(near, 0, 1)
	})
}

// lostPackets looks at the middle one of runs that lie side by side.
func lostPackets(near []sameRun, mid int, tolerance Time) (frames int, ok bool) {
	m := near[mid]
	if m.n < 2 {
		return 0, false
	}
	up := near[mid+1].first > m.first
	regular, total := 0, 0
	var jumps []Time
	for i, r := range near {
		if r.row != m.row || i > 0 && (r.first > near[i-1].first) != up {
			return 0, false
		}
		total += r.n
		if i != mid {
			regular = max(regular, r.n)
		}
		if i > 0 && i != mid+1 {
			jumps = append(jumps, absDiff(r.first, near[i-1].last))
		}
	}
	slope := float64(absDiff(near[len(near)-1].last, near[0].first)) / float64(total-1)
	catchUp := absDiff(near[mid+1].first, m.last)
	return m.n, m.n > regular && slope > 2*float64(tolerance) &&
		catchUp*3 >= slices.Max(jumps)*4 && float64(catchUp) >= 0.6*float64(m.n)*slope
}

// improbable is how unlikely a run of one width must be to be told.
const improbable = 1e-6

// findFrozen finds runs of one width that the channel's own jitter makes
// improbable. It needs jitter that is resolved elsewhere.
func (c *channel) findFrozen(rests []segment) {
	if c.Jitter == nil || !c.Jitter.Resolved {
		return
	}
	p := c.mostlyWithin(rests, c.sameWidth())
	if p <= 0 || p >= 1 {
		return
	}
	least := 1 + math.Log(improbable/float64(c.Jitter.WidthN))/math.Log(p)
	c.sameRuns(c.sameWidth(), func(r sameRun) {
		if float64(r.n) >= max(4, least) && !c.repeats.cover(r.start) {
			c.frozen.add(Event{Start: r.start, End: r.end, Count: int64(r.n), Measured: float64(r.n)})
		}
	})
}

// mostlyWithin is the largest share of the pulses in unsteady rests that lies
// within a tolerance of one width, either way: the chance that a pulse is as
// the first of a run.
func (c *channel) mostlyWithin(rests []segment, tolerance Time) float64 {
	unsteady := slices.DeleteFunc(slices.Clone(rests), func(s segment) bool { return s.widths.sd() < 0.53*c.step })
	var off []int64
	i := 0
	for e := range c.kept() {
		for i < len(unsteady) && unsteady[i].end < e.start {
			i++
		}
		if i == len(unsteady) {
			break
		}
		if e.start >= unsteady[i].start {
			off = append(off, int64(math.Round(float64(e.width)-unsteady[i].widths.mean())))
		}
	}
	slices.Sort(off)
	most, from := 0, 0
	for to := range off {
		for off[to]-off[from] > 2*int64(tolerance) {
			from++
		}
		most = max(most, to-from+1)
	}
	return float64(most) / float64(max(1, len(off)))
}

// cover reports whether one of the events holds at an instant.
func (l *events) cover(at Time) bool {
	return slices.ContainsFunc(l.list, func(e Event) bool { return e.Start <= at && at <= e.End })
}
