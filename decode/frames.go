package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

const maxEvents = 1000 // of one kind and channel that are kept one by one

// events is a capped list; all counts what is not listed too. What goes beyond
// its length is joined into its last member.
type events struct {
	list []Event
	all  int64
}

func (l *events) add(e Event) {
	l.all += e.Count
	if len(l.list) < maxEvents {
		l.list = append(l.list, e)
		return
	}
	last := &l.list[maxEvents-1]
	last.join(e, math.Abs(e.Measured) > math.Abs(last.Measured))
}

// join takes another event into this one, with its size if that is the worse.
func (e *Event) join(o Event, worse bool) {
	e.End = max(e.End, o.End)
	e.Count += o.Count
	if worse {
		e.Measured, e.Expected = o.Measured, o.Expected
	}
}

// frames is what walking a train along its frame grid yields.
type frames struct {
	rhythm    rhythm
	lossAfter Time

	first, last    Time // leading edges of the first and last frame, where there is any
	any            bool
	lastLife       Time // leading edge of the last pulse, cut ones included
	tailKnown      bool // nothing was blind after it
	pulses, frames int64
	startUp        int64 // pulses before the first ten regular frames
	firstPulse     Time  // the first of those
	dropped        int64

	drops, losses, extras, stuckMarks events
	odd                               events // single intervals off their expectation

	intervals moments // single ones within 5 % of the expected, less the period
	others    int64
	cycles    moments // differences of neighbouring intervals
	drift     line
	batched   *batched // the intervals, by time
}

// line fits a straight line in floating point, in one fixed order.
type line struct{ n, x, y, xx, xy, yy float64 }

func (l *line) add(x, y float64) {
	l.n++
	l.x += x
	l.y += y
	l.xx += x * x
	l.xy += x * y
	l.yy += y * y
}

// fit returns the slope and the standard deviation about the line (n - 2).
func (l *line) fit() (slope, residual float64) {
	sxx := l.xx - l.x*l.x/l.n
	sxy := l.xy - l.x*l.y/l.n
	syy := l.yy - l.y*l.y/l.n
	if l.n < 3 || sxx <= 0 {
		return math.NaN(), math.NaN()
	}
	slope = sxy / sxx
	return slope, math.Sqrt(max(0, syy-slope*sxy) / (l.n - 2))
}

// walker follows a train along its grid.
type walker struct {
	*frames
	oddPercent float64
	from       Time // pulses before are start-up
	lastFrame  Time
	haveFrame  bool
	previous   Time // interval before, 0 where none was regular
	late       *Event
	phase      int
	recent     []Time // last intervals, where the expectation is local
	pending    []entry
	lastPulse  Time // leading edge of the last accepted pulse or sign of life
	havePulse  bool
}

// oddPercent is how far a single interval may be off its expectation.
const oddPercent = 5.0

// walk counts frames, dropped frames, losses and intervals more than odd
// percent off their expectation.
func walk(t *train, y rhythm, lossAfter Time, odd float64, b *batched) *frames {
	f := &frames{rhythm: y, lossAfter: lossAfter, batched: b}
	w := &walker{frames: f, from: startOfFrames(t, y), oddPercent: odd}
	r := t.read()
	for e, ok := r.next(); ok; e, ok = r.next() {
		w.take(e)
	}
	w.settlePending()
	w.settleLate()
	f.tailKnown = w.havePulse
	return f
}

func (w *walker) take(e entry) {
	if e.accepted() {
		w.pulses++
		if e.start < w.from {
			if w.startUp++; w.startUp == 1 {
				w.firstPulse = e.start
			}
			return
		}
	}
	if e.marks&afterBlind != 0 {
		w.settlePending()
		w.settleLate()
		w.haveFrame, w.havePulse, w.previous, w.recent = false, false, 0, nil
	}
	switch {
	case e.marks&stuck != 0:
		w.stuckMarks.add(Event{Start: e.start, End: e.start + e.width, Count: 1, Measured: float64(e.width) / float64(Millisecond)})
		if e.marks&cut == 0 {
			w.pending = append(w.pending, e)
		}
		return
	case e.marks&cut != 0:
		if w.havePulse { // one that the start of the capture cuts may be anything
			w.lastPulse, w.lastLife = e.start, e.start
		}
		return
	}
	if w.havePulse && e.start-w.lastPulse > w.lossAfter {
		w.settlePending()
		w.settleLate()
		w.lose(w.lastPulse+w.rhythm.period, e.start)
		w.haveFrame, w.previous, w.recent = false, 0, nil
	}
	w.lastPulse, w.havePulse, w.lastLife = e.start, true, e.start
	w.place(e)
}

func (w *walker) lose(start, end Time) {
	w.losses.add(Event{Start: min(start, end), End: end, Count: 1,
		Measured: float64(end-start) / float64(Millisecond)})
}

// place puts an accepted pulse on the grid, or keeps it until the grid says
// what it is.
func (w *walker) place(e entry) {
	p := w.expected()
	if !w.haveFrame || p == 0 {
		w.frame(e, false)
		return
	}
	if k, ok := w.onGrid(e.start-w.lastFrame, p); ok {
		gap := w.settle(k-1, e)
		w.frame(e, gap)
		return
	}
	w.pending = append(w.pending, e)
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
		if k, off := w.rhythm.places(gap, w.phase); off*4 <= w.rhythm.pair[0] {
			return k, true
		}
		w.phase ^= 1
	}
	return 0, false
}

// places returns how many intervals of an alternating train, the first of the
// given phase, come nearest to a gap, and by how much they miss it.
func (y *rhythm) places(gap Time, phase int) (k, off Time) {
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
// between them: late frames fill places, the rest are extra pulses. It reports
// whether places were left over.
func (w *walker) settle(places Time, next entry) (gap bool) {
	for _, e := range w.pending {
		switch {
		case e.marks&stuck != 0:
			places -= max(1, (e.width+w.rhythm.period/2)/w.rhythm.period)
		case places > 0 && e.start-w.lastFrame > w.rhythm.period/2:
			places--
			w.frame(e, false)
		default:
			w.extra(e)
		}
	}
	w.pending = w.pending[:0]
	if places > 0 {
		w.drop(places, next)
	}
	return places > 0
}

func (w *walker) drop(n Time, next entry) {
	w.dropped += int64(n)
	w.drops.add(Event{Start: min(w.lastFrame+w.expected(), next.start), End: next.start, Count: int64(n),
		Measured: float64(next.start-w.lastFrame) / float64(Millisecond)})
	if n%2 == 0 {
		w.phase ^= 1
	}
}

func (w *walker) extra(e entry) {
	w.extras.add(Event{Start: e.start, End: e.start + e.width, Count: 1, Measured: micros(e.width)})
}

// newGrid returns how many pending pulses at the end follow a new phase of the
// same grid: four of them, or eight that follow none.
func (w *walker) newGrid(p Time) int {
	n := len(w.pending)
	regular := n >= 4
	for i := n - 3; regular && i < n; i++ {
		d := w.pending[i].start - w.pending[i-1].start
		fits := within(d, p, 5) || w.rhythm.pattern == Alternating && w.rhythm.regular(d)
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
	for _, e := range pending[:first] {
		if e.accepted() {
			w.extra(e)
		}
	}
	if gap := pending[first].start - w.lastFrame; gap*2 > p*3 {
		if n := (gap+p/2)/p - 1; n > 0 {
			w.drop(n, pending[first])
		}
	}
	for _, e := range pending[first:] {
		if e.accepted() {
			w.frame(e, false)
		}
	}
}

// settlePending ends a row: what is left over half a period after the last
// frame is one.
func (w *walker) settlePending() {
	for _, e := range w.pending {
		switch {
		case !e.accepted():
		case !w.haveFrame || e.start-w.lastFrame > w.rhythm.period/2:
			w.frame(e, false)
		default:
			w.extra(e)
		}
	}
	w.pending = w.pending[:0]
}

// frame books a pulse as a frame and, unless frames are missing between, its
// interval to the frame before.
func (w *walker) frame(e entry, gap bool) {
	if !w.any {
		w.first, w.any = e.start, true
	}
	w.frames.frames++
	w.last = e.start
	switch {
	case !w.haveFrame || e.marks&afterBlind != 0:
	case gap:
		w.settleLate()
		w.previous = 0
	default:
		w.interval(e.start-w.lastFrame, e.start)
	}
	w.lastFrame, w.haveFrame = e.start, true
}

func (w *walker) interval(d, at Time) {
	p := w.expected()
	if p == 0 || d*2 > p*3 {
		w.settleLate()
		w.previous = 0
		return
	}
	if w.rhythm.pattern == Alternating && !within(d, p, 2) && within(d, w.rhythm.pair[1-w.phase], 2) {
		w.phase ^= 1
		p = w.expected()
	}
	tolerance := oddPercent
	if w.rhythm.pattern == WidthTimed {
		tolerance = 50
	}
	if within(d, p, tolerance) {
		w.regular(d, at)
	} else {
		w.others++
		w.previous = 0
	}
	if within(d, p, w.oddPercent) {
		w.settleLate()
	} else {
		w.oddInterval(d, p, at)
	}
	w.phase ^= 1
	if w.local() {
		if len(w.recent) == 8 {
			w.recent = slices.Delete(w.recent, 0, 1)
		}
		w.recent = append(w.recent, d)
	}
}

func (w *walker) regular(d, at Time) {
	w.intervals.add(int64(d - w.rhythm.period))
	w.batched.add(at, int64(d-w.rhythm.period))
	w.drift.add(float64(at)/float64(Second), micros(d-w.rhythm.period))
	if w.previous > 0 {
		w.cycles.add(int64(d - w.previous))
	}
	w.previous = d
}

// oddInterval keeps an interval off its expectation until the next one shows
// whether it makes up for it: then it was one late or early frame.
func (w *walker) oddInterval(d, p, at Time) {
	if w.late != nil {
		sum := Time(w.late.Measured*float64(Microsecond)) + d
		due := Time(w.late.Expected*float64(Microsecond)) + p
		if absDiff(sum, due)*20 <= p {
			w.settleLate()
			return
		}
		w.settleLate()
	}
	w.late = &Event{Start: at - d, End: at, Count: 1, Measured: micros(d), Expected: micros(p)}
}

func (w *walker) settleLate() {
	if w.late != nil {
		w.odd.add(*w.late)
		w.late = nil
	}
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
		return w.rhythm.pair[w.phase]
	case w.local() && len(w.recent) >= 3:
		return Time(quantile(slices.Clone(w.recent), 0.5))
	}
	return w.rhythm.period
}

func micros(t Time) float64 { return float64(t) / float64(Microsecond) }

const regularFrames = 10

// startOfFrames returns the leading edge of the first frame: the first ten
// regular intervals, and what lies before them on the same grid or regular in
// itself, as before an early loss. The time of the first pulse where nothing
// before is to be left out.
func startOfFrames(t *train, y rhythm) Time {
	var head []entry
	r := t.read()
	regular, at := 0, -1
	for e, ok := r.next(); ok && len(head) < 2000; e, ok = r.next() {
		if !e.accepted() {
			continue
		}
		head = append(head, e)
		n := len(head)
		if n > 1 && y.regular(head[n-1].start-head[n-2].start) {
			if regular++; regular == regularFrames {
				at = n - 1 - regularFrames
				break
			}
		} else {
			regular = 0
		}
	}
	if len(head) == 0 {
		return math.MinInt64
	}
	if at < 0 {
		return head[0].start
	}
	kept := at
	onGrid := func(i int) bool {
		if i < 0 {
			return false
		}
		gap := head[kept].start - head[i].start
		k := (gap + y.period/2) / y.period
		if k > 8 {
			return absDiff(gap, k*y.period)*100 <= y.period
		}
		return k >= 1 && absDiff(gap, k*y.period)*20 <= y.period
	}
	// inRow says whether a pulse is among four at regular intervals.
	inRow := func(i int) bool {
		from, to := i, i
		for from > 0 && y.regular(head[from].start-head[from-1].start) {
			from--
		}
		for to < at && y.regular(head[to+1].start-head[to].start) {
			to++
		}
		return to-from >= 3
	}
	for i := at - 1; i >= 0; i-- {
		switch {
		case onGrid(i), inRow(i):
			kept = i
		case onGrid(i-1) && onGrid(i-2): // one late frame, or one extra pulse
		default:
			return head[kept].start
		}
	}
	return head[kept].start
}

// regular says whether an interval is one that the rhythm expects.
func (y *rhythm) regular(d Time) bool {
	if y.pattern == Alternating {
		return within(d, y.pair[0], 5) || within(d, y.pair[1], 5)
	}
	if y.pattern == WidthTimed || y.pattern == IrregularPattern {
		return within(d, y.period, 40)
	}
	return within(d, y.period, 5)
}
