package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// Bounds of a frame period.
const (
	shortestPeriod       = 2500 * Microsecond
	shortestNarrowPeriod = 1700 * Microsecond
	longestPeriod        = 100 * Millisecond
)

// rhythm is what is known of a channel's frame period before its frames are
// counted.
type rhythm struct {
	period    Time // nominal; 0 where none was found
	pattern   Pattern
	pair      [2]Time // the two intervals of an alternating train
	recurring []float64
}

// within reports whether a is within percent of b.
func within(a, b Time, percent float64) bool { return float64(absDiff(a, b)) <= float64(b)*percent/100 }

// intervals calls f for each interval between neighbouring accepted pulses
// with nothing blind between; joined says whether the interval before belongs
// to the same row.
func (t *train) intervals(f func(interval Time, joined bool)) {
	r := t.read()
	var last Time
	have, joined := false, false
	for e, ok := r.next(); ok; e, ok = r.next() {
		if e.marks&afterBlind != 0 {
			have, joined = false, false
		}
		if !e.accepted() {
			continue
		}
		if have {
			f(e.start-last, joined)
			joined = true
		}
		last, have = e.start, true
	}
}

const (
	binPercent    = 0.01
	patternFrames = 20000 // intervals that the pattern is found from
)

// findRhythm finds the nominal period: the mode of the intervals over 1 %
// logarithmic bins, then the mean of those within 10 % of it. A stated period
// settles whether a fraction of that is meant.
func findRhythm(t *train, stated, step Time) rhythm {
	bins := map[int]int64{}
	scale := 1 / math.Log1p(binPercent)
	t.intervals(func(d Time, _ bool) {
		if d >= shortestNarrowPeriod && d <= longestPeriod {
			bins[int(math.Log(float64(d))*scale)]++
		}
	})
	mode, most := 0, int64(0)
	for b, n := range bins {
		// neighbours count, so that an edge between bins does not split a mode
		if n = 2*n + bins[b-1] + bins[b+1]; n > most || n == most && b < mode {
			mode, most = b, n
		}
	}
	if most == 0 {
		return rhythm{period: stated, pattern: IrregularPattern}
	}
	centre := Time(math.Exp((float64(mode) + 0.5) / scale))
	period := meanNear(t, centre, 10)
	if stated > 0 {
		for k := Time(2); k <= 4; k++ {
			if within(period, k*stated, 5) {
				period = (period + k/2) / k
			}
		}
	}
	y := rhythm{period: period, pattern: Steady}
	y.findPattern(t, step)
	for _, centre := range recurring(bins, scale) {
		y.recurring = append(y.recurring, micros(meanNear(t, centre, 1.5)))
	}
	return y
}

func meanNear(t *train, centre Time, percent float64) Time {
	var m moments
	t.intervals(func(d Time, _ bool) {
		if within(d, centre, percent) {
			m.add(int64(d))
		}
	})
	if m.n == 0 {
		return centre
	}
	return Time(math.Round(m.mean()))
}

// findPattern tells steady trains from alternating ones and from those that
// follow no single period.
func (y *rhythm) findPattern(t *train, step Time) {
	var intervals []Time // with 0 where a row breaks
	var single, near int
	t.intervals(func(d Time, joined bool) {
		if len(intervals) >= patternFrames {
			return
		}
		if !joined || d > longestPeriod {
			intervals = append(intervals, 0)
		}
		if d <= longestPeriod {
			intervals = append(intervals, d)
		}
		if d*2 <= y.period*3 && d*2 >= y.period {
			single++
			if within(d, y.period, 5) {
				near++
			}
		}
	})
	if y.alternates(intervals, step) {
		return
	}
	if single >= 8 && near*10 < single*9 {
		y.pattern = IrregularPattern
	}
}

// alternates reports whether intervals alternate between two: differences at
// lag 2 spread less than a quarter of those at lag 1. Where the longer is a
// multiple of the shorter, frames are missing instead.
func (y *rhythm) alternates(intervals []Time, step Time) bool {
	lag := func(k int) (diffs []Time) {
		for i := k; i < len(intervals); i++ {
			if !slices.Contains(intervals[i-k:i+1], 0) {
				diffs = append(diffs, absDiff(intervals[i], intervals[i-k]))
			}
		}
		return diffs
	}
	one, two := lag(1), lag(2)
	if len(one) < 8 || len(two) == 0 {
		return false
	}
	m1, m2 := Time(quantile(one, 0.5)), Time(quantile(two, 0.5))
	if m1 <= max(4*step, y.period/200) || m2*4 >= m1 {
		return false
	}
	// A pair is neighbours of which the longer is a usual one: no gap.
	pairs := func(yield func(a, b Time)) {
		for i := 1; i < len(intervals); i++ {
			if a, b := intervals[i-1], intervals[i]; a > 0 && b > 0 {
				yield(min(a, b), max(a, b))
			}
		}
	}
	var longs []Time
	pairs(func(_, b Time) { longs = append(longs, b) })
	usual := Time(quantile(longs, 0.5))
	var shorter, longer moments
	pairs(func(a, b Time) {
		if within(b, usual, 10) {
			shorter.add(int64(a))
			longer.add(int64(b))
		}
	})
	if longer.n == 0 {
		return false // two pairs, and no usual one
	}
	short, long := Time(math.Round(shorter.mean())), Time(math.Round(longer.mean()))
	if k := (long + short/2) / short; k >= 2 && within(long, k*short, 5) {
		return false
	}
	y.pattern, y.pair, y.period = Alternating, [2]Time{short, long}, (short+long)/2
	return true
}

// recurring returns about what up to four intervals are that each make up at
// least 10 % of all, most frequent first.
func recurring(bins map[int]int64, scale float64) []Time {
	var all int64
	rest := map[int]int64{}
	for b, n := range bins {
		all += n
		rest[b] = n
	}
	var found []Time
	for len(found) < 4 {
		best, most := 0, int64(0)
		for b := range rest {
			n := rest[b-1] + rest[b] + rest[b+1]
			if n > most || n == most && b < best {
				best, most = b, n
			}
		}
		if most*10 < all {
			break
		}
		var mid, weight float64
		for b := best - 1; b <= best+1; b++ {
			mid += float64(rest[b]) * math.Exp((float64(b)+0.5)/scale)
			weight += float64(rest[b])
			delete(rest, b)
		}
		found = append(found, Time(mid/weight))
	}
	return found
}
