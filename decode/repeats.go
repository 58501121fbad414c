package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// sameRun is a row of neighbouring readings of one width.
type sameRun struct {
	from, n     int  // place of the first among the readings, and how many
	first, last Time // widths of the first and the last
}

func (r sameRun) of(all []reading) []reading { return all[r.from : r.from+r.n] }

// bounds are the leading edge of the first and the end of the last.
func (r sameRun) bounds(all []reading) (start, end Time) {
	own := r.of(all)
	return own[0].start, own[r.n-1].end()
}

// next is the leading edge of the reading that follows in the row, else the end.
func (r sameRun) next(all []reading) Time {
	if to := r.from + r.n; to < len(all) && all[to].note&rowStart == 0 {
		return all[to].start
	}
	return all[r.from+r.n-1].end()
}

// sameWidth is how far two readings of one width may be apart: a time step, as
// a width between two steps reads as either, and a unit of the stamps.
func (c *channel) sameWidth() Time {
	return c.rec.origin.Unit + Time(math.Ceil(c.step))
}

// runsKept is how many runs are looked at together.
const runsKept = 256

// sameRuns splits each row of readings into runs of widths that are equal within
// a tolerance, and calls f for each run of at least so many with those about it
// in its row: it is row[i], and at least beside runs a side are there where there
// are as many.
func sameRuns(all []reading, tolerance Time, least int, f func(row []sameRun, i int)) {
	row := make([]sameRun, 0, runsKept)
	done := 0 // of the row
	flush := func(until int) {
		for ; done < until; done++ {
			if row[done].n >= least {
				f(row, done)
			}
		}
	}
	for from := 0; from < len(all); {
		if all[from].note&rowStart != 0 {
			flush(len(row))
			row, done = row[:0], 0
		}
		if len(row) == runsKept {
			flush(len(row) - beside)
			kept := copy(row, row[done-beside:])
			row, done = row[:kept], beside
		}
		to := from + runLength(all[from:], tolerance)
		row = append(row, sameRun{from: from, n: to - from, first: Time(all[from].width), last: Time(all[to-1].width)})
		from = to
	}
	flush(len(row))
}

// runLength is how many of the first readings are of one row and one width.
func runLength(all []reading, tolerance Time) int {
	least, most := all[0].width, all[0].width
	for i := 1; i < len(all); i++ {
		w := all[i].width
		least, most = min(least, w), max(most, w)
		if Time(most-least) > tolerance || all[i].note&rowStart != 0 {
			return i
		}
	}
	return len(all)
}

// beside is how many runs a side say what is regular about one.
const beside = 8

// surroundings are the runs about one of them; upTo are those before it and
// itself.
type surroundings struct {
	before, upTo, after []sameRun
	regular             int // readings of a run where nothing is lost
}

func around(row []sameRun, i int) surroundings {
	from := max(0, i-beside)
	s := surroundings{before: row[from:i], upTo: row[from : i+1], after: row[i+1 : min(len(row), i+1+beside)]}
	s.regular = s.secondLongest()
	return s
}

// regular reports whether two of the runs about one are no shorter: surroundings
// come to the same by a longer way.
func regular(row []sameRun, i int) bool {
	longer := 0
	for k := 1; k <= beside && longer < 2; k++ {
		if i >= k && row[i-k].n >= row[i].n {
			longer++
		}
		if i+k < len(row) && row[i+k].n >= row[i].n {
			longer++
		}
	}
	return longer >= 2
}

// secondLongest is how many readings the second longest run about one has: the
// longest may be another loss.
func (s *surroundings) secondLongest() int {
	longest, second := 0, 0
	for _, side := range [...][]sameRun{s.before, s.after} {
		for i := range side {
			n := side[i].n
			second = max(second, min(longest, n))
			longest = max(longest, n)
		}
	}
	return second
}

// readingsOf is how many readings runs have.
func readingsOf(runs []sameRun) (n int) {
	for _, r := range runs {
		n += r.n
	}
	return n
}

// jumps appends the sizes of the changes from run to run.
func jumps(to []Time, runs []sameRun) []Time {
	for i := 1; i < len(runs); i++ {
		to = append(to, absDiff(runs[i].first, runs[i-1].last))
	}
	return to
}

// A run of repeated widths is told from four frames on, as is a halt; one of 25 is a
// rest.
const leastRepeats, mostRepeats = holdFrames + 1, restFrames - 1

// readRuns looks for halts, and for runs of one width while the stick moves that are longer than
// their surroundings explain and end in a jump that makes up for them: packets
// were probably lost. It notes the readings of runs that the receiver repeats
// rather than the stick rests at: those that stand amid jitter or break off a
// move. Where such runs are most of the channel they are its rests, and jitter is
// the exception.
func (c *channel) readRuns(all []reading) {
	var frames int
	var amid []sameRun
	same := c.sameWidth()
	halting := max(same, heldOutput)
	noteHalt := c.noteHalt(all, halting)
	if halting > same {
		sameRuns(all, halting, leastRepeats, func(row []sameRun, i int) {
			if !regular(row, i) {
				noteHalt(row[i], around(row, i))
			}
		})
	}
	sameRuns(all, same, leastRepeats, func(row []sameRun, i int) {
		r := row[i]
		if r.n <= mostRepeats && regular(row, i) {
			return
		}
		s := around(row, i)
		if halting == same {
			noteHalt(r, s)
		}
		switch {
		case r.n > mostRepeats:
			if c.amidJitter(all, r) {
				frames += r.n
				amid = append(amid, r)
			}
		case repeats(r, s, same, max(float64(c.noiseOf(&all[r.from]).loudest), c.step)):
			start, end := r.bounds(all)
			c.repeats.add(Event{Start: start, End: end, Count: int64(r.n), Measured: float64(r.n)})
		}
	})
	if frames*2 < len(all) {
		for _, r := range amid {
			noteHeld(r.of(all))
		}
	}
	for _, h := range c.halts {
		if h.stands() {
			noteHeld(all[h.from : h.from+h.frames])
		}
	}
}

func noteHeld(some []reading) {
	for i := range some {
		some[i].note |= held
	}
}

// repeats reports whether a run is longer than the regular pattern, the lattice
// of the receiver and the noise explain, amid a move one way, and made up for.
func repeats(r sameRun, s surroundings, same Time, noise float64) bool {
	const side = 3
	if len(s.before) < side || len(s.after) < side || r.n <= s.regular {
		return false
	}
	frames := readingsOf(s.upTo) + readingsOf(s.after)
	moved := s.after[len(s.after)-1].last - s.before[0].first
	perFrame := float64(moved) / float64(frames-1)
	into, after := s.upTo[len(s.before)-side:], s.after[:side]
	catchUp := after[0].first - r.last
	up := float64(1)
	if moved < 0 {
		up = -1
	}
	speed := perFrame * up
	if speed*float64(r.n-1) <= float64(same)+6*noise || // of two readings over four standard deviations
		float64(catchUp)*up < 0.6*float64(r.n)*speed {
		return false
	}
	if min(towards(s.upTo, up), towards(s.after, up))*3 < speed {
		return false // it had not begun to move, or moved no more
	}
	var room [2 * side]Time
	usual := jumps(jumps(room[:0], into), after)
	lattice := quantile(usual, 0.5)
	return float64(r.n) > 1.5*max(lattice, float64(same))/speed+float64(s.regular) &&
		catchUp*Time(up)*3 >= slices.Max(usual)*4 &&
		oneWay(into, up, lattice) && oneWay(after, up, lattice)
}

// towards is how fast the first readings of runs go one way, picoseconds a frame.
func towards(runs []sameRun, up float64) float64 {
	last := len(runs) - 1
	return float64(runs[last].first-runs[0].first) * up / float64(readingsOf(runs[:last]))
}

// oneWay reports whether no run goes back by more than a typical change.
func oneWay(runs []sameRun, up, lattice float64) bool {
	for i := 1; i < len(runs); i++ {
		if float64(runs[i].first-runs[i-1].last)*up < -lattice/2 {
			return false
		}
	}
	return true
}

// improbable is how unlikely a run of one width must be to be told.
const improbable = 1e-6

// resolvedWell is the jitter, in time steps, beside which equal widths mean
// something.
const resolvedWell = 1.5

// findFrozen finds runs of one width that the channel's own jitter makes
// improbable. It needs jitter that is resolved well elsewhere, and not a
// receiver that knows a few widths only.
func (c *channel) findFrozen(all []reading, rests []segment) {
	same := c.sameWidth()
	least, ok := c.leastFrozen(all, rests, same)
	if !ok {
		return
	}
	sameRuns(all, same, int(least), func(row []sameRun, i int) {
		r := row[i]
		if start, end := r.bounds(all); !c.repeats.cover(start) {
			c.frozen.add(Event{Start: start, End: end, Count: int64(r.n), Measured: float64(r.n)})
		}
	})
}

// leastFrozen is the number of equal widths from which on a run is improbable:
// n of them within a tolerance come about once in 1 / (n p^(n-1)), p the
// largest share of the widths at rest that lies within it. Where neighbours are
// alike more often than any two are, packets feed several frames, which count
// as one.
func (c *channel) leastFrozen(all []reading, rests []segment, same Time) (least float64, ok bool) {
	unsteady := slices.DeleteFunc(slices.Clone(rests), func(s segment) bool { return s.widths.sd() < resolvedWell*c.step })
	room := int64(0)
	for i := range unsteady {
		room += unsteady[i].n
	}
	off, widths := make([]int32, 0, room), make([]uint32, 0, room)
	alike := 0.0 // neighbours
	for b, mean := range atRest(all, unsteady) {
		if n := len(widths); n > 0 && absDiff(Time(b.width), Time(widths[n-1])) <= same {
			alike++
		}
		off = append(off, int32(math.Round(float64(b.width)-mean))) // both are usual widths
		widths = append(widths, b.width)
	}
	sortMany(off)
	sortMany(widths)
	if len(off) < restFrames || onLattice(widths, same) {
		return 0, false
	}
	most, from, pairs := 0, 0, 0.0
	for to := range off {
		for Time(off[to])-Time(off[from]) > same {
			from++
		}
		most = max(most, to-from+1)
		pairs += float64(to - from)
	}
	n := float64(len(off))
	p := float64(most) / n
	packet := max(1, (1-pairs/(n*(n-1)/2))/(1-alike/n))
	for k := 4.0; k <= float64(len(all)); k++ {
		if float64(len(all))*k*math.Pow(p, k-1) < improbable {
			return math.Ceil(k * packet), true
		}
	}
	return 0, false
}

// onLattice reports whether most of sorted widths lie on a few places no wider
// than readings of one width scatter: the receiver's own steps.
func onLattice(sorted []uint32, same Time) bool {
	tail := len(sorted) / 20
	sorted = sorted[tail : len(sorted)-tail]
	places, first := 1, sorted[0]
	for i := 1; i < len(sorted); i++ {
		if Time(sorted[i]-sorted[i-1]) > same {
			places, first = places+1, sorted[i]
		} else if Time(sorted[i]-first) > 3*same {
			return false
		}
	}
	return places > 1 && places*3 <= len(sorted)
}

// cover reports whether one of the events holds at an instant.
func (l *events) cover(at Time) bool {
	return slices.ContainsFunc(l.list, func(e Event) bool { return e.Start <= at && at <= e.End })
}

// amidJitter reports whether the widths before a run, or those after it, jitter
// at rest well above the time step, off any lattice.
func (c *channel) amidJitter(all []reading, r sameRun) bool {
	before, after := besideRun(all, r)
	return c.jitters(before, c.step) && c.isLevel(before) || c.jitters(after, c.step) && c.isLevel(after)
}

// besideRun returns as many readings before a run, and after it, as make a rest.
func besideRun(all []reading, r sameRun) (before, after []reading) {
	return all[max(0, r.from-restFrames):r.from], all[r.from+r.n : min(len(all), r.from+r.n+restFrames)]
}

// jitters reports whether widths change from frame to frame by well over what a
// reading resolves, and are not steps of the receiver.
func (c *channel) jitters(some []reading, resolved float64) bool {
	if len(some) < restFrames || c.widthNoise(some) < resolvedWell*resolved {
		return false
	}
	widths := make([]uint32, len(some))
	for i, b := range some {
		widths[i] = b.width
	}
	slices.Sort(widths)
	return !onLattice(widths, c.sameWidth())
}

// isLevel reports whether the two halves differ by no more than noise makes them.
func (c *channel) isLevel(some []reading) bool {
	var halves [2]moments
	for i, b := range some {
		halves[i*2/len(some)].add(int64(b.width))
	}
	return math.Abs(halves[0].mean()-halves[1].mean()) < c.widthNoise(some)*3/math.Sqrt(float64(len(some))/4)
}
