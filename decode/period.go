package decode

import (
	"iter"
	"math"

	"golang.org/x/exp/slices"
)

// Bounds of a frame period.
const (
	shortestPeriod       = 2500 * Microsecond
	shortestNarrowPeriod = 1700 * Microsecond // narrow pulses at up to 560 Hz, from memory
	longestPeriod        = 100 * Millisecond
)

const patternFrames = 20000 // intervals that the pattern is found from

// rhythm is what is known of a channel's frame period before its frames are
// counted.
type rhythm struct {
	period    Time    // nominal: that of the longest stretch; 0 where none was found
	mean      Time    // of the intervals within 5 % of it
	median    float64 // of those; 0 where it is not known yet
	pattern   Pattern
	noGrid    bool   // irregular, and no grid goes on through it
	paces     []pace // at least one
	recurring []float64
}

// within reports whether a is within percent of b.
func within(a, b Time, percent float64) bool { return float64(absDiff(a, b)) <= float64(b)*percent/100 }

// beats are the instants that a channel's period is measured on, one for each
// accepted pulse of its train.
type beats struct {
	n      int
	train  *train
	others []int  // for each entry that is no accepted pulse, how many of these come before it
	rows   []int  // where a row begins after a blind stretch
	own    []Time // leading edges less what moved them with the pulses that the channel follows; nil where it follows none
}

func (t *train) beats() *beats {
	b := &beats{train: t}
	blind, next := false, 0 // the entry after the last odd one
	begin := func(i int) {
		if blind {
			b.rows, blind = append(b.rows, i-len(b.others)), false
		}
	}
	for _, i := range t.odd {
		if i > next {
			begin(next)
		}
		next = i + 1
		e := t.entryAt(i)
		if blind = blind || e.marks()&afterBlind != 0; e.accepted() {
			begin(i)
		} else {
			b.others = append(b.others, i-len(b.others))
		}
	}
	if int(t.n) > next {
		begin(next)
	}
	b.n = int(t.n) - len(b.others)
	return b
}

// place is where the accepted pulse numbered i stands in the train.
func (b *beats) place(i int) int {
	before := 0
	if len(b.others) > 0 {
		before, _ = slices.BinarySearch(b.others, i+1)
	}
	return i + before
}

func (b *beats) pulse(i int) *packed { return b.train.entryAt(b.place(i)) }

func (b *beats) start(i int) Time { return b.pulse(i).start }
func (b *beats) width(i int) Time { return b.pulse(i).width() }

// at is the instant that the period is measured on.
func (b *beats) at(i int) Time {
	if b.own != nil {
		return b.own[i]
	}
	return b.pulse(i).start
}

// intervals yields the intervals between the beats from lo up to hi in pieces, each
// with the beat that its first interval ends at. Pieces of one row follow one another;
// an interval with anything blind in it is in none.
func (b *beats) intervals(lo, hi int) iter.Seq2[int, []Time] {
	return func(yield func(int, []Time) bool) {
		if lo+1 >= hi {
			return
		}
		var room [piece]Time
		next, _ := slices.BinarySearch(b.rows, lo+1)
		r := b.train.readFrom(b.place(lo))
		last := b.next(&r, lo, room[:1], 0)
		for i := lo + 1; i < hi; {
			if next < len(b.rows) && b.rows[next] == i {
				next++
				last = b.next(&r, i, room[:1], 0)
				i++
				continue
			}
			end := min(hi, i+piece)
			if next < len(b.rows) {
				end = min(end, b.rows[next])
			}
			own := room[:end-i]
			last = b.next(&r, i, own, last)
			if !yield(i, own) {
				return
			}
			i = end
		}
	}
}

// next fills in the intervals that end at the beats from i on, the pulses of which
// are read next; last is the instant before, and then the last of theirs.
func (b *beats) next(r *reader, i int, to []Time, last Time) Time {
	if b.own == nil {
		return r.intervals(to, last)
	}
	for k, at := range b.own[i : i+len(to)] {
		to[k], last = at-last, at
	}
	return last
}

// lengths yields the intervals between the beats from lo up to hi in pieces.
func (b *beats) lengths(lo, hi int) iter.Seq[[]Time] {
	return func(yield func([]Time) bool) {
		for _, some := range b.intervals(lo, hi) {
			if !yield(some) {
				return
			}
		}
	}
}

// histogram counts intervals in bins of 1 %, and adds them up.
type histogram struct {
	n   [periodBins]int64
	sum [periodBins]Time
}

const periodBins = 411

// periodEdges are where the bins begin and end.
var periodEdges = func() (edges [periodBins + 1]Time) {
	for i := range edges {
		edges[i] = Time(math.Round(float64(shortestNarrowPeriod) * math.Pow(1.01, float64(i))))
	}
	return edges
}()

// add counts intervals, neighbours of one bin together.
func (h *histogram) add(some []Time) {
	for len(some) > 0 {
		d := some[0]
		if d < shortestNarrowPeriod || d > longestPeriod {
			some = some[1:]
			continue
		}
		bin, exact := slices.BinarySearch(periodEdges[:], d)
		if !exact {
			bin--
		}
		from, to := periodEdges[bin], periodEdges[bin+1]
		n := 0
		for ; n < len(some) && some[n] >= from && some[n] < to; n++ {
			h.sum[bin] += some[n]
		}
		h.n[bin] += int64(n)
		some = some[n:]
	}
}

// around counts a bin and its neighbours, so that an edge between bins does not
// split a mode.
func (h *histogram) around(bin int, own int64) (n int64, sum Time) {
	n, sum = own*h.n[bin], h.sum[bin]
	for _, i := range []int{bin - 1, bin + 1} {
		if i >= 0 && i < periodBins {
			n += h.n[i]
			sum += h.sum[i]
		}
	}
	return n, sum
}

// between counts the intervals from lo to hi and adds them up, unless some lie in a
// bin of which but a part is between, or may lie in none.
func (h *histogram) between(lo, hi Time) (n int64, sum Time, ok bool) {
	if lo < shortestNarrowPeriod || hi > longestPeriod {
		return 0, 0, false
	}
	for bin, in := range h.n {
		from, to := periodEdges[bin], periodEdges[bin+1]
		switch {
		case in == 0 || to <= lo || from > hi:
		case from < lo || to-1 > hi:
			return 0, 0, false
		default:
			n, sum = n+in, sum+h.sum[bin]
		}
	}
	return n, sum, true
}

// mode returns about what the most frequent interval is, 0 where there is none.
func (h *histogram) mode() Time {
	best, most := 0, int64(0)
	for bin := range h.n {
		if n, _ := h.around(bin, 2); n > most {
			best, most = bin, n
		}
	}
	if most == 0 {
		return 0
	}
	return (periodEdges[best] + periodEdges[best+1]) / 2
}

// recurring returns up to four intervals in microseconds that each make up at
// least 10 % of all, most frequent first.
func (h histogram) recurring() []float64 {
	var all int64
	for _, n := range h.n {
		all += n
	}
	var found []float64
	for len(found) < 4 {
		best, most := 0, int64(0)
		for bin := range h.n {
			if n, _ := h.around(bin, 1); n > most {
				best, most = bin, n
			}
		}
		if most == 0 || most*10 < all {
			break
		}
		_, sum := h.around(best, 1)
		found = append(found, micros(sum)/float64(most))
		for i := max(0, best-1); i <= min(best+1, periodBins-1); i++ {
			h.n[i], h.sum[i] = 0, 0
		}
	}
	return found
}

// survey is what one walk over intervals yields.
type survey struct {
	histogram
	guess Time  // what their mode may be, 0 where nobody knows
	near  *bins // those near that
}

// nearTo are the bounds within which intervals near a mode lie.
func nearTo(mode Time) (closest, farthest Time) { return mode - mode/50, mode + mode/50 }

func newSurvey(guess Time) *survey {
	s := &survey{guess: guess}
	if guess > 0 {
		b := binsFor(nearTo(guess))
		s.near = &b
	}
	return s
}

func (s *survey) add(some []Time) {
	s.histogram.add(some)
	if s.near != nil {
		s.near.count(some)
	}
}

// nominal returns the period of the beats from lo to hi.
func (b *beats) nominal(lo, hi int) rhythm {
	var s survey
	for some := range b.lengths(lo, hi) {
		s.add(some)
	}
	return s.nominal(b.lengths(lo, hi), hi-lo)
}

// nominal returns the period that surveyed intervals have, up to n that all yields
// again: their mode over 1 % bins, then the median of those within 2 % of it; 0
// where there is none. mean is that of the intervals within 5 % of it.
func (s *survey) nominal(all iter.Seq[[]Time], n int) (y rhythm) {
	h := &s.histogram
	mode := h.mode()
	if mode == 0 {
		return y
	}
	y.recurring = h.recurring()
	closest, farthest := nearTo(mode)
	if mode == s.guess {
		y.median = s.near.quantiles(all, 0.5)[0]
	} else {
		y.median = quantilesOf(all, n, closest, farthest, 0.5)[0]
	}
	if math.IsNaN(y.median) { // two neighbouring bins, and nothing where they meet
		y.period, y.mean, y.median = mode, mode, 0
		return y
	}
	y.period = Time(math.Round(y.median))
	between := func(least, most Time) moments {
		n, sum, ok := h.between(least, most)
		if !ok {
			for some := range all {
				more, part := sumBetween(some, least, most)
				n, sum = n+more, sum+part
			}
		}
		return moments{n: n, sum: widen(int64(sum))}
	}
	wide := between(mode-mode/20, mode+mode/20)
	y.mean = Time(math.Round(wide.mean()))
	if reach := y.reach(y.period); between(y.period-reach, y.period+reach).n > between(closest, farthest).n {
		y.median = 0 // that is of more
	}
	return y
}

// sumBetween counts those of some intervals that lie between, and adds them up.
func sumBetween(some []Time, least, most Time) (n int64, sum Time) {
	for _, d := range some {
		if d >= least && d <= most {
			n++
			sum += d
		}
	}
	return n, sum
}

// findRhythm finds the nominal period and where it changes. A stated period
// settles whether a fraction of that is meant.
func findRhythm(b *beats, stated, step Time) rhythm {
	intervals := b.head(0, b.n)
	guess := Time(0)
	if b.n > patternFrames { // those are worth a walk less
		var h histogram
		h.add(intervals)
		guess = h.mode()
	}
	all, paces := newSurvey(guess), search{noise: noiseOf(intervals)}
	for from, some := range b.intervals(0, b.n) {
		all.add(some)
		paces.follow(from, some)
	}
	y := all.nominal(b.lengths(0, b.n), b.n)
	if y.period == 0 {
		return rhythm{period: stated, mean: stated, pattern: IrregularPattern, paces: []pace{{period: stated, to: b.n}}}
	}
	y.pattern, y.paces = Steady, []pace{{period: y.period, to: b.n}}
	if y.takePairs(b, intervals, step) {
		return y
	}
	y.takePaces(b, paces.found)
	y.divide(stated)
	if y.ragged(b) {
		y.pattern, y.noGrid = IrregularPattern, !y.onGrid(b)
	}
	return y
}

// divide takes the fraction of the period that another one says is meant, 0 for none.
func (y *rhythm) divide(meant Time) {
	for k := Time(2); k <= 4 && meant > 0; k++ {
		if within(y.period, k*meant, 5) {
			y.period, y.mean, y.median = (y.period+k/2)/k, (y.mean+k/2)/k, 0
			for i := range y.paces {
				y.paces[i].period = (y.paces[i].period + k/2) / k
			}
			return
		}
	}
}

// head returns the first intervals between the beats from lo up to hi, with 0 where a
// row breaks.
func (b *beats) head(lo, hi int) []Time {
	hi = min(hi, lo+patternFrames)
	out := make([]Time, 0, hi-lo)
	end := 0
	for from, some := range b.intervals(lo, hi) {
		if from != end {
			out = append(out, 0)
		}
		for _, d := range some {
			if d <= longestPeriod {
				out = append(out, d)
			} else {
				out = append(out, 0)
			}
		}
		end = from + len(some)
	}
	return out
}

// ragged reports whether more than one in ten of the single intervals is off
// the period.
func (y *rhythm) ragged(b *beats) bool {
	var single, near int
	for _, p := range y.paces {
		for some := range b.lengths(p.from, min(p.to+1, b.n, patternFrames)) {
			for _, d := range some {
				if d*2 <= p.period*3 && d*2 >= p.period {
					single++
					if within(d, p.period, 5) {
						near++
					}
				}
			}
		}
	}
	return single >= 8 && near*10 < single*9
}

// onGrid reports whether most beats have another one a period later, as where
// pulses of a second source stand among those of the first.
func (y *rhythm) onGrid(b *beats) bool {
	n := min(b.n, patternFrames)
	met, j := 0, 0
	for i := range n {
		for j < n && b.at(j) < b.at(i)+y.period*95/100 {
			j++
		}
		if j < n && b.at(j) <= b.at(i)+y.period*105/100 {
			met++
		}
	}
	return met*10 >= n*6
}

// regular says whether an interval is one that the rhythm expects at a pace.
func (y *rhythm) regular(d Time, p pace) bool {
	if y.pattern == Alternating {
		return within(d, p.pair[0], 5) || within(d, p.pair[1], 5)
	}
	return absDiff(d, p.period) <= y.reach(p.period)
}

// reach is how far an interval may be off a period of a train whose intervals do
// not alternate.
func (y *rhythm) reach(p Time) Time {
	if y.pattern == WidthTimed || y.pattern == IrregularPattern {
		return Time(float64(p) * 40 / 100)
	}
	return Time(float64(p) * 5 / 100)
}
