package decode

import "math"

// stretch is a time at one level.
type stretch struct {
	start, end Time
	level      Level
	open       open
}

// open are the ends of a stretch that are no edges: where the capture begins or
// ends, or where the level before or after is unknown.
type open uint8

const (
	openStart open = 1 << iota
	openEnd
)

func (s *stretch) length() Time { return s.end - s.start }
func (s *stretch) whole() bool  { return s.open == 0 }

// toggles are stretches between edges, which is nearly all there is: the first of
// them is at a level from start on, the others alternate.
type toggles struct {
	level  Level
	start  Time
	ends   []Time
	active Level // of servo pulses, once they are known to be nothing but these and pauses
}

func (t *toggles) stretch(i int) stretch {
	x := stretch{start: t.start, end: t.ends[i], level: t.level}
	if i > 0 {
		x.start = t.ends[i-1]
	}
	if i&1 == 1 {
		x.level = Low + High - x.level
	}
	return x
}

// bounds are the shortest and the longest stretch at each level.
type bounds struct{ least, most [3]Time }

func (t *toggles) bounds() (b bounds) {
	least, most, leastOther, mostOther := Time(math.MaxInt64), Time(0), Time(math.MaxInt64), Time(0)
	before, rest := t.start, t.ends
	for ; len(rest) >= 2; rest = rest[2:] {
		d, e := rest[0]-before, rest[1]-rest[0]
		least, most = min(least, d), max(most, d)
		leastOther, mostOther = min(leastOther, e), max(mostOther, e)
		before = rest[1]
	}
	if len(rest) > 0 {
		least, most = min(least, rest[0]-before), max(most, rest[0]-before)
	}
	level, other := t.level, t.level.Other()
	b.least[level], b.most[level] = least, most
	b.least[other], b.most[other] = leastOther, mostOther
	return b
}

// second is what one channel did in one second of the capture: the stretches
// that ended in it, with a tally of them beside where they are many, and only
// the tally where it is busy.
type second struct {
	toggles toggles   // the stretches while all are between edges,
	ended   []stretch // the stretches otherwise
	blind   bool      // some of them are of unknown level
	tally   *Tally
	busy    bool
}

// gathered is how many stretches are kept before they are tallied as well.
const gathered = 4096

func (s *second) size() int { return len(s.toggles.ends) + len(s.ended) }

func (s *second) stretch(i int) stretch {
	if i < len(s.ended) {
		return s.ended[i]
	}
	return s.toggles.stretch(i)
}

// alternate appends stretches between edges, which follow those before.
func (s *second) alternate(t toggles) {
	if len(s.ended) > 0 {
		s.list(t)
		return
	}
	if len(s.toggles.ends) == 0 {
		s.toggles.level, s.toggles.start = t.level, t.start
	}
	s.toggles.ends = append(s.toggles.ends, t.ends...)
}

// add appends any stretch.
func (s *second) add(x stretch) {
	s.list(s.toggles)
	s.toggles.ends = s.toggles.ends[:0]
	s.ended = append(s.ended, x)
	s.blind = s.blind || x.level == Unknown
}

func (s *second) list(t toggles) {
	for i := range t.ends {
		s.ended = append(s.ended, t.stretch(i))
	}
}

// empty makes room for the next second.
func (s *second) empty() {
	if cap(s.ended) > gathered {
		s.ended = nil
	}
	*s = second{ended: s.ended[:0], toggles: toggles{ends: s.toggles.ends[:0]}}
}

// count tallies the edges at the ends of what is kept; now is the level after
// the last.
func (s *second) count(t *Tally, now Level) {
	for i := range s.size() {
		if s.edge(i, now) {
			x := s.stretch(i)
			t.Add(x.level.Other(), x.end)
		}
	}
}

// complete makes the tally complete, with the help of scratch where there is
// none yet, and lets go of a busy second's stretches.
func (s *second) complete(scratch *Tally, now Level) {
	if s.tally == nil {
		*scratch = Tally{}
		s.tally = scratch
		s.count(scratch, now)
	}
	if s.tally.Busy() {
		s.goBusy()
	}
}

// goBusy keeps the tally alone.
func (s *second) goBusy() {
	s.busy, s.ended, s.toggles.ends = true, nil, s.toggles.ends[:0]
}

// edge reports whether the stretch numbered i ends with an edge; now is the
// level after the last.
func (s *second) edge(i int, now Level) bool {
	if len(s.ended) == 0 {
		return true
	}
	if i+1 < len(s.ended) {
		now = s.ended[i+1].level
	}
	return now != Unknown && s.ended[i].level != Unknown && s.ended[i].open&openEnd == 0
}

// span is where the first and the last edge of what is kept are.
func (s *second) span(now Level) (first, last Time, any bool) {
	i, n := 0, s.size()
	for i < n && !s.edge(i, now) {
		i++
	}
	if i == n {
		return 0, 0, false
	}
	for !s.edge(n-1, now) {
		n--
	}
	return s.stretch(i).end, s.stretch(n - 1).end, true
}
