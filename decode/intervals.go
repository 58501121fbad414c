package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// How the intervals between frames are taken into the figures, and which of them
// are off what is expected.

// interval books a single interval, that which ends with x.
func (w *walker) interval(d Time, x beat) {
	p := w.expected()
	if p == 0 || d*2 > p*3 {
		w.settleLate(true)
		w.previous = 0
		return
	}
	if w.rhythm.pattern == Alternating && !within(d, p, 2) && within(d, w.paces[0].pair[1-w.phase], 2) {
		w.phase ^= 1
		p = w.expected()
	}
	tolerance := oddPercent
	if w.rhythm.pattern == WidthTimed {
		tolerance = 50
	}
	if within(d, p, tolerance) {
		w.regular(d, x.start)
	} else {
		w.others++
		w.previous = 0
	}
	w.expectation(d, p, x)
	w.phase ^= 1
	if w.local() {
		if len(w.recent) == 8 {
			w.recent = slices.Delete(w.recent, 0, 1)
		}
		w.recent = append(w.recent, d)
	}
}

func (w *walker) regular(d, at Time) {
	if (w.rhythm.pattern == Steady || w.rhythm.pattern == Alternating) && !within(w.period, w.rhythm.period, pacePercent) {
		w.others++ // of another pace than the one that the figures are of
		w.previous = 0
		return
	}
	w.starts[0], w.lengths[0] = at, d
	w.book(1)
}

// book takes the first n lengths into the figures, of intervals that end at the
// first n starts.
func (w *walker) book(n int) {
	starts, off := w.starts[:n], w.lengths[:n]
	drift := w.drift
	for i, d := range off {
		off[i] = d - w.rhythm.period
		drift.add(float64(starts[i])/float64(Second), micros(off[i]))
	}
	w.drift = drift
	w.batched.addAll(starts, off)
	last := off[n-1] + w.rhythm.period
	for i := n - 1; i > 0; i-- {
		off[i] -= off[i-1]
	}
	if w.previous > 0 {
		off[0] -= w.previous - w.rhythm.period
		w.cycles.addAll(off)
	} else {
		w.cycles.addAll(off[1:])
	}
	w.previous = last
}

// A start that moves by this much and stays is told, if it stands out of the
// noise; what moves farther than an output before it can is a restart.
const (
	leastMove = 100 * Microsecond
	mostMove  = 1500 * Microsecond
	moveNoise = 8 // standard deviations of an interval
)

// expectation keeps an interval off its expectation until the next one shows
// whether it makes up for it: then it was one late or early frame, else the
// start has moved.
func (w *walker) expectation(d, p Time, x beat) {
	off := d - p
	if w.late != nil {
		before := Time(math.Round((w.late.Measured - w.late.Expected) * float64(Microsecond)))
		madeUp := absDiff(before+off, 0)*20 <= p && absDiff(before+off, 0)*2 <= absDiff(before, 0)
		w.settleLate(madeUp)
		if madeUp {
			return
		}
	}
	odd := !within(d, p, w.walk.oddPercent)
	if w.lateOdd = odd; odd || w.moves(off) {
		w.late = &Event{Start: x.start - d, End: x.start, Count: 1, Measured: micros(d), Expected: micros(p)}
	}
}

// settleLate books the odd interval before. Only one that is known not to be
// made up is a start that moved.
func (w *walker) settleLate(madeUp bool) {
	if w.late == nil {
		return
	}
	e := *w.late
	w.late = nil
	off := Time(math.Round((e.Measured - e.Expected) * float64(Microsecond)))
	switch {
	case !madeUp && w.moves(off):
		e.Start, e.Measured, e.Expected = e.End, micros(off), 0
		w.moved.add(e)
	case w.lateOdd:
		w.odd.add(e)
	}
}

// moves says whether an interval so far off may be a start that moved.
func (w *walker) moves(off Time) bool {
	off = absDiff(off, 0)
	return w.mayMove && !w.local() && off <= mostMove && off > max(leastMove, moveNoise*w.noise)
}

// local says whether the interval is expected to be like those before it
// rather than like the nominal period.
func (w *walker) local() bool {
	return w.rhythm.pattern == WidthTimed || w.rhythm.pattern == IrregularPattern
}

// expected returns the interval that should come next.
func (w *walker) expected() Time {
	switch {
	case w.rhythm.pattern == Alternating:
		return w.paces[0].pair[w.phase]
	case w.local() && len(w.recent) >= 3:
		return Time(quantile(slices.Clone(w.recent), 0.5))
	}
	return w.period
}

func micros(t Time) float64 { return float64(t) / float64(Microsecond) }
