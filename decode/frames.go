package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// frames is what walking a train along its frame grid yields.
type frames struct {
	rhythm    rhythm
	lossAfter Time
	extent
	happened
	spacing
}

// extent is how many pulses and frames there are, and from when to when.
type extent struct {
	first, last    Time // leading edges of the first and last frame, where there is any
	any            bool
	lastLife       Time // leading edge of the last pulse, cut ones included
	tailKnown      bool // nothing was blind after it
	pulses, frames int64
	startUp        int64 // pulses before the first ten regular frames
	firstPulse     Time  // the first of those
	dropped        int64
}

// happened are the events on the way.
type happened struct {
	drops, losses, extras, stuckMarks events
	odd                               events // single intervals off their expectation that the next makes up
	moved                             events // starts that moved and stayed
	changes                           []PeriodChange
}

// spacing is what the intervals say of the period.
type spacing struct {
	intervals moments // single ones within 5 % of the expected, less the period
	median    float64 // of the intervals within 5 %, picoseconds
	others    int64
	cycles    moments // differences of neighbouring intervals
	drift     line
	batched   *batched // the intervals, by time
}

// beat is an entry of a train and the instant that its channel's period is
// measured on.
type beat struct {
	entry
	at Time
}

// walker follows a train along its grid.
type walker struct {
	*frames
	walk
	paces     []pace // those to come, the present one first
	period    Time   // of the present one
	reckoned  Time   // the period that the next two are of
	least     Time   // a regular interval, likewise the longest
	most      Time
	taken     int // accepted pulses
	lastFrame beat
	haveFrame bool
	previous  Time   // interval before, 0 where none was regular
	late      *Event // an interval off its expectation, until the next one is seen
	lateOdd   bool   // so far off that it is told
	phase     int
	recent    []Time // last intervals, where the expectation is local
	pending   []beat
	lastPulse Time // leading edge of the last accepted pulse or sign of life
	havePulse bool

	// regular intervals that are booked together, and the starts of the pulses that
	// end them
	starts, lengths [piece]Time
}

// oddPercent is how far a single interval may be off its expectation.
const oddPercent = 5.0

// walk says how to follow a train.
type walk struct {
	train      *train
	beats      *beats
	startUp    int // pulses that come before the first frame
	oddPercent float64
	mayMove    bool // an output that was not recorded may come before this one
	noise      Time // of an interval
}

// along counts frames, dropped frames, losses and intervals off their
// expectation.
func (o walk) along(y rhythm, lossAfter Time, b *batched) *frames {
	f := &frames{rhythm: y, lossAfter: lossAfter, spacing: spacing{batched: b}}
	w := &walker{frames: f, walk: o, paces: y.paces, period: y.paces[0].period}
	for _, chunk := range o.train.chunks {
		for len(chunk) > 0 {
			n := w.takeRegular(chunk)
			if n == 0 {
				w.take(chunk[0].entry())
				n = 1
			}
			chunk = chunk[n:]
		}
	}
	w.settlePending()
	w.settleLate(true)
	f.intervals = f.batched.whole()
	f.tailKnown = w.havePulse
	return f
}

// reckon says for which intervals takeRegular books what take would: those within
// every bound on a single interval, of a pace that the figures are of.
func (w *walker) reckon() {
	w.reckoned = w.period
	reach := Time(float64(w.period) * min(oddPercent, w.walk.oddPercent, 25) / 100)
	if w.mayMove {
		reach = min(reach, max(leastMove, moveNoise*w.noise))
	}
	if w.rhythm.pattern != Steady || w.rhythm.noGrid || !within(w.period, w.rhythm.period, pacePercent) {
		reach = -1
	}
	w.least, w.most = w.period-reach, w.period+reach
}

// takeRegular takes as many pulses as end regular intervals of a steady train, as
// nearly all do, and returns how many.
func (w *walker) takeRegular(list []packed) (n int) {
	if !w.haveFrame || len(w.pending) > 0 || w.late != nil {
		return 0
	}
	if w.period != w.reckoned {
		w.reckon()
	}
	list = list[:min(len(list), piece)]
	if len(w.paces) > 1 {
		list = list[:min(len(list), max(0, w.paces[1].from-w.taken))]
	}
	lastPulse, lastAt := w.lastPulse, w.lastFrame.at
	for i := range list {
		p := &list[i]
		if p.marks()&^broken != 0 || p.start-lastPulse > w.lossAfter {
			break
		}
		at := p.start
		if w.beats.own != nil {
			at = w.beats.own[w.taken+i]
		}
		d := at - lastAt
		if d < w.least || d > w.most {
			break
		}
		w.starts[i], w.lengths[i] = p.start, d
		lastPulse, lastAt = p.start, at
		n++
	}
	if n == 0 {
		return 0
	}
	w.book(n)
	w.taken += n
	w.pulses += int64(n)
	w.frames.frames += int64(n)
	w.lastPulse, w.lastLife, w.last = lastPulse, lastPulse, lastPulse
	w.lastFrame = beat{list[n-1].entry(), lastAt}
	return n
}

func (w *walker) take(e entry) {
	accepted := e.accepted()
	x := beat{e, e.start}
	switch b := w.beats; {
	case b.own == nil:
	case accepted:
		x.at = b.own[w.taken]
	case b.n > 0:
		i := max(0, w.taken-1)
		x.at += b.own[i] - b.start(i)
	}
	if accepted {
		w.taken++
	}
	if accepted {
		w.pulses++
		if w.taken <= w.walk.startUp {
			if w.frames.startUp++; w.frames.startUp == 1 {
				w.firstPulse = e.start
			}
			return
		}
	}
	if e.marks&afterBlind != 0 {
		w.breakRow()
		w.havePulse = false
	}
	switch {
	case e.marks&stuck != 0:
		w.stuckMarks.add(Event{Start: e.start, End: e.start + e.width, Count: 1, Measured: millis(e.width)})
		if e.marks&cut == 0 {
			w.pending = append(w.pending, x)
		}
	case e.marks&cut != 0:
		if w.havePulse { // one that the start of the capture cuts may be anything
			w.lastPulse, w.lastLife = e.start, e.start
		}
	default:
		w.pulse(x)
	}
}

// breakRow forgets what came before: nothing says what to expect.
func (w *walker) breakRow() {
	w.settlePending()
	w.settleLate(true)
	w.haveFrame, w.previous, w.recent = false, 0, nil
}

// pulse takes an accepted pulse.
func (w *walker) pulse(x beat) {
	if w.havePulse && x.start-w.lastPulse > w.lossAfter {
		w.breakRow()
		w.lose(w.lastPulse+w.period, x.start)
	}
	w.lastPulse, w.havePulse, w.lastLife = x.start, true, x.start
	if len(w.paces) > 1 && w.taken > w.paces[1].from {
		w.turn(x)
		return
	}
	w.place(x)
}

// turn goes on with another period from a pulse that ends the last interval of
// the old one.
func (w *walker) turn(x beat) {
	w.settlePending()
	w.settleLate(true)
	if w.haveFrame {
		d := x.at - w.lastFrame.at
		if d*2 > w.period*3 {
			w.drop((d+w.period/2)/w.period-1, x)
		} else if within(d, w.period, oddPercent) {
			w.regular(d, x.start)
		}
	}
	w.frame(x, true)
	w.paces = w.paces[1:]
	w.changes = append(w.changes, PeriodChange{At: x.start, From: micros(w.period), To: micros(w.paces[0].period)})
	w.period, w.recent = w.paces[0].period, nil
}

func (w *walker) lose(start, end Time) {
	w.losses.add(Event{Start: min(start, end), End: end, Count: 1, Measured: millis(end - start), Expected: millis(w.period)})
}

// place puts an accepted pulse on the grid, or keeps it until the grid says
// what it is.
func (w *walker) place(x beat) {
	p := w.expected()
	if !w.haveFrame || p == 0 {
		w.frame(x, false)
		return
	}
	d := x.at - w.lastFrame.at
	if w.rhythm.noGrid {
		w.frame(x, d*2 > w.period*3 && w.settle((d+w.period/2)/w.period-1, x))
		return
	}
	if k, ok := w.onGrid(d, p); ok {
		gap := (k > 1 || len(w.pending) > 0) && w.settle(k-1, x)
		w.frame(x, gap)
		return
	}
	w.pending = append(w.pending, x)
	if run := w.newGrid(p); run > 0 {
		w.restart(run, p)
	}
}

// onGrid returns how many frames on a gap leads, if it ends within a quarter of
// a period of the grid. An alternating train may turn out to be in its other
// phase.
func (w *walker) onGrid(gap, p Time) (k Time, ok bool) {
	if w.rhythm.pattern != Alternating {
		k = (gap + p/2) / p
		return k, k >= 1 && absDiff(gap, k*p)*4 <= p
	}
	for range 2 {
		if k, off := w.paces[0].places(gap, w.phase); off*4 <= w.paces[0].pair[0] {
			return k, true
		}
		w.phase ^= 1
	}
	return 0, false
}

// places returns how many intervals of an alternating train, the first of the
// given phase, come nearest to a gap, and by how much they miss it.
func (y *pace) places(gap Time, phase int) (k, off Time) {
	whole := y.pair[0] + y.pair[1]
	off = math.MaxInt64
	for n := max(1, 2*(gap/whole)-1); n <= 2*(gap/whole)+3; n++ {
		if miss := absDiff(gap, n/2*whole+n%2*y.pair[phase]); miss < off {
			k, off = n, miss
		}
	}
	return k, off
}

// settle decides what stood between two pulses on the grid with places free
// between them: a stuck level holds the places that it covers, late frames fill
// one each, the rest are extra pulses. It reports whether places were left over.
func (w *walker) settle(places Time, next beat) (gap bool) {
	for _, x := range w.pending {
		switch {
		case x.marks&stuck != 0:
			places -= x.width/w.period + 1
		case places > 0 && x.at-w.lastFrame.at > w.period/2:
			places--
			w.frame(x, false)
		default:
			w.extra(x)
		}
	}
	w.pending = w.pending[:0]
	w.drop(places, next)
	return places > 0
}

func (w *walker) drop(n Time, next beat) {
	if n <= 0 {
		return
	}
	w.dropped += int64(n)
	w.drops.add(Event{Start: min(w.lastFrame.start+w.expected(), next.start), End: next.start, Count: int64(n),
		Measured: millis(next.start - w.lastFrame.start), Expected: millis(w.period)})
	if n%2 == 0 {
		w.phase ^= 1
	}
}

func (w *walker) extra(x beat) {
	w.extras.add(Event{Start: x.start, End: x.start + x.width, Count: 1, Measured: micros(x.width)})
}

// newGrid returns how many pending pulses at the end follow a new phase of the
// same grid: four of them, or eight that follow none.
func (w *walker) newGrid(p Time) int {
	n := len(w.pending)
	regular := n >= 4
	for i := n - 3; regular && i < n; i++ {
		d := w.pending[i].at - w.pending[i-1].at
		fits := within(d, p, 5) || w.rhythm.pattern == Alternating && w.rhythm.regular(d, w.paces[0])
		regular = fits && w.pending[i].accepted() && w.pending[i-1].accepted()
	}
	switch {
	case regular:
		return 4
	case n >= 8:
		return n
	}
	return 0
}

// restart goes on from a new phase, whose first pulse is run places from the end.
func (w *walker) restart(run int, p Time) {
	pending := slices.Clone(w.pending)
	w.pending = w.pending[:0]
	first := len(pending) - run
	for _, x := range pending[:first] {
		if x.accepted() {
			w.extra(x)
		}
	}
	if gap := pending[first].at - w.lastFrame.at; gap*2 > p*3 {
		w.drop((gap+p/2)/p-1, pending[first])
	}
	for _, x := range pending[first:] {
		if x.accepted() {
			w.frame(x, false)
		}
	}
}

// settlePending ends a row: what is left over half a period after the last
// frame is one.
func (w *walker) settlePending() {
	for _, x := range w.pending {
		switch {
		case !x.accepted():
		case !w.haveFrame || x.at-w.lastFrame.at > w.period/2:
			w.frame(x, false)
		default:
			w.extra(x)
		}
	}
	w.pending = w.pending[:0]
}

// frame books a pulse as a frame and, unless frames are missing between, its
// interval to the frame before.
func (w *walker) frame(x beat, gap bool) {
	if !w.any {
		w.first, w.any = x.start, true
	}
	w.frames.frames++
	w.last = x.start
	switch {
	case !w.haveFrame || x.marks&afterBlind != 0:
	case gap:
		w.settleLate(true)
		w.previous = 0
	default:
		w.interval(x.at-w.lastFrame.at, x)
	}
	w.lastFrame, w.haveFrame = x, true
}
