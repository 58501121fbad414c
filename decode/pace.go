package decode

// A pace is a stretch of a train with one frame period, from one beat to
// another; the first begins with the train and the last ends with it.
type pace struct {
	from, to int // beats; to is the next pace's first
	period   Time
	pair     [2]Time // the two intervals of a train that alternates
}

// bound says where each of some paces ends in a train of n beats.
func bound(paces []pace, n int) {
	for i := range paces {
		if paces[i].to = n; i+1 < len(paces) {
			paces[i].to = paces[i+1].from
		}
	}
	paces[0].from = 0
}

const (
	paceFrames  = 10  // a period that fewer keep is no pace
	pacePercent = 1.0 // a change of less is drift
	paceNoise   = 3   // or less than this many standard deviations
	maxMissing  = 4   // up to this multiple of the period frames are missing
	drift       = 64  // intervals in which a clock's drift is followed
)

// search follows the intervals and finds where the period changes for good, or for
// ten frames at least. It turns to another period once ten more of them vote for it
// than against it; one of the old period counts twice.
type search struct {
	noise Time
	found []pace
	now   Time // the period, 0 before any
	next  Time // the one that may follow
	votes int
	from  int // where it began
}

// takePaces takes over where the period was found to change.
func (y *rhythm) takePaces(b *beats, found []pace) {
	switch {
	case len(found) == 0:
		return
	case len(found) == 1:
		if own := found[0].period; b.lasts(own) { // most of the time frames of it are missing
			y.divide(own)
		}
		return
	}
	y.paces, y.median = found, 0
	y.tighten(b)
	bound(y.paces, b.n)
	longest := Time(-1)
	for i := range y.paces {
		p := &y.paces[i]
		own := b.nominal(p.from, min(p.to+1, b.n))
		p.period = own.period
		if length := b.at(min(p.to, b.n-1)) - b.at(p.from); length > longest {
			longest, y.period, y.mean = length, own.period, own.mean
		}
	}
}

// lasts reports whether a period is kept for longer than a start-up is.
func (b *beats) lasts(period Time) bool {
	n := int64(0)
	for some := range b.lengths(0, b.n) {
		more, _ := sumBetween(some, period-period/50, period+period/50)
		if n += more; n > mostStartUp && Time(n)*period > longestStartUp {
			return true
		}
	}
	return false
}

// tighten moves where a pace begins back to where the intervals before it fit its
// period rather than the one before: of a train that jitters some come before
// one that stands out.
func (y *rhythm) tighten(b *beats) {
	const back = 50 // intervals
	for k := 1; k < len(y.paces); k++ {
		p, before := &y.paces[k], y.paces[k-1]
		var sum, best Time
		from := p.from
		for i := p.from; i > max(before.from+1, p.from-back); i-- {
			d := b.at(i) - b.at(i-1)
			if !within(d, p.period, oddPercent) && !within(d, before.period, oddPercent) {
				continue
			}
			if sum += absDiff(d, before.period) - absDiff(d, p.period); sum > best {
				best, from = sum, i-1
			}
		}
		p.from = from
	}
}

// follow takes intervals of one row, the first of which ends at beat from.
func (s *search) follow(from int, some []Time) {
	for k := s.keep(some); k < len(some); k += s.keep(some[k:]) {
		if d := some[k]; d >= shortestNarrowPeriod && d <= longestPeriod {
			s.take(from+k-1, d)
		}
		k++
	}
}

// keep takes as many intervals as are plainly of the present period, while none
// stands up to it, and returns how many.
func (s *search) keep(some []Time) (n int) {
	if s.votes > 0 {
		return 0
	}
	now := s.now
	for _, d := range some {
		// nearer than 1 % of it by more than a rounding
		if absDiff(d, now)*101 > now || d < shortestNarrowPeriod || d > longestPeriod {
			break
		}
		now += (d - now) / drift
		n++
	}
	s.now = now
	return n
}

// take takes the interval that begins with beat from.
func (s *search) take(from int, d Time) {
	rival := s.votes > 0 && absDiff(d, s.next) < absDiff(d, s.now)
	switch {
	case s.near(d, s.now) && !rival:
		s.now += (d - s.now) / drift
		s.votes = max(0, s.votes-2)
		return
	case s.missing(d):
		return
	case s.votes > 0 && s.near(d, s.next):
		s.votes++
		s.next += (d - s.next) / 8
	case s.votes > 0:
		s.votes--
	}
	if s.votes == 0 {
		s.next, s.from, s.votes = d, from, 1
	}
	if s.votes == paceFrames {
		s.found = append(s.found, pace{from: s.from, period: s.next})
		s.now, s.votes = s.next, 0
	}
}

func (s *search) near(d, p Time) bool {
	off := absDiff(d, p)
	return p > 0 && (off <= paceNoise*s.noise || off <= Time(float64(p)*pacePercent/100))
}

// missing says whether an interval is a multiple of the period, as where frames
// are missing, unless it was the period before.
func (s *search) missing(d Time) bool {
	if s.now == 0 {
		return false
	}
	for _, p := range s.found {
		if s.near(d, p.period) {
			return false
		}
	}
	k := (d + s.now/2) / s.now
	return k >= 2 && k <= maxMissing && s.near(d, k*s.now)
}

// paceAt is the pace that the beat numbered i follows.
func (y *rhythm) paceAt(i int) pace {
	for _, p := range y.paces {
		if i < p.to {
			return p
		}
	}
	return y.paces[len(y.paces)-1]
}

// fastest is the shortest period that the train keeps.
func (y *rhythm) fastest() Time {
	least := y.period
	for _, p := range y.paces {
		least = min(least, p.period)
	}
	return least
}
