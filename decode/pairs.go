package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// How frames alternate between two intervals.

// lag returns by how much intervals differ from those k before.
func lag(intervals []Time, k int) (diffs []Time) {
	for i := k; i < len(intervals); i++ {
		if !slices.Contains(intervals[i-k:i+1], 0) {
			diffs = append(diffs, absDiff(intervals[i], intervals[i-k]))
		}
	}
	return diffs
}

// noiseOf is the robust standard deviation of an interval; 1.4826 is 1 over the
// normal distribution's third quartile.
func noiseOf(intervals []Time) Time {
	diffs := lag(intervals, 1)
	if len(diffs) == 0 {
		return 0
	}
	return Time(1.4826 / math.Sqrt2 * quantile(diffs, 0.5))
}

// alternating reports whether differences of intervals at lag 2 spread less than a
// quarter of those at lag 1.
func alternating(intervals []Time, period, step Time) bool {
	one, two := lag(intervals, 1), lag(intervals, 2)
	if len(one) < 8 || len(two) == 0 {
		return false
	}
	m1, m2 := Time(quantile(one, 0.5)), Time(quantile(two, 0.5))
	return m1 > max(4*step, period/200) && m2*4 < m1
}

// pairOf returns the two intervals that a train alternates between. Where the longer
// is a multiple of the shorter, frames are missing instead.
func pairOf(intervals []Time) (pair [2]Time, ok bool) {
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
		return pair, false // two pairs, and no usual one
	}
	short, long := Time(math.Round(shorter.mean())), Time(math.Round(longer.mean()))
	if k := (long + short/2) / short; k >= 2 && within(long, k*short, 5) {
		return pair, false
	}
	return [2]Time{short, long}, true
}

// takePairs finds the paces of a train that alternates, and reports whether it does.
func (y *rhythm) takePairs(b *beats, head []Time, step Time) bool {
	if !alternating(head, y.period, step) {
		return false
	}
	paces := b.pairPaces(head)
	bound(paces, b.n)
	longest, at := Time(-1), 0
	for i := range paces {
		p := &paces[i]
		own := head
		if len(paces) > 1 {
			own = b.head(p.from, min(p.to+1, b.n))
		}
		if pair, ok := pairOf(own); ok && alternating(own, y.period, step) {
			p.pair, p.period = pair, (pair[0]+pair[1])/2
		} else if len(paces) == 1 {
			return false
		} else {
			p.period = b.nominal(p.from, min(p.to+1, b.n)).period
			p.pair = [2]Time{p.period, p.period}
		}
		if length := b.at(min(p.to, b.n-1)) - b.at(p.from); length > longest {
			longest, at = length, i
		}
	}
	y.pattern, y.paces = Alternating, paces
	y.period, y.mean = paces[at].period, paces[at].period
	return true
}

// pairPaces finds where the period of a train that alternates changes: two intervals
// together are as steady as those of other trains.
func (b *beats) pairPaces(head []Time) []pace {
	halves := func(some []Time, before Time) []Time {
		var all []Time
		for _, d := range some {
			if before > 0 && d > 0 {
				all = append(all, (before+d)/2)
			}
			before = d
		}
		return all
	}
	s := search{noise: noiseOf(halves(head, 0))}
	before, end := Time(0), 0
	for from, some := range b.intervals(0, b.n) {
		if from != end {
			before = 0
		}
		if all := halves(some, before); len(all) > 0 {
			s.follow(from+len(some)-len(all)-1, all) // each begins one beat before its last interval
		}
		before, end = some[len(some)-1], from+len(some)
	}
	if len(s.found) == 0 {
		return []pace{{}}
	}
	return s.found
}
