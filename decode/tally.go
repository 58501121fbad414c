package decode

import "math"

// Tally is what remains of edges that were counted and not kept: how many, the
// first and the last, and histograms of the stretches between them. Tallies of
// neighbouring edges merge, in any grouping, to the tally of all.
type Tally struct {
	Edges             int64
	firstAt, lastAt   Time
	firstTo, lastTo   Level // levels taken at the first and the last edge
	firstRise         Time
	lastRise          Time
	rises             int64
	high, low, period spread
	long              [3]int64 // stretches of markLength or longer, by level
	short             int64
	highTime          Time // total of the high stretches
}

const (
	// markLength tells the marks of a pulse train from anything faster.
	markLength = 200 * Microsecond
	busyMarks  = 1200
	busyShort  = 20000
	longestBit = 500 * Microsecond // of serial data at 2000 baud and faster: common practice, no source
)

// Busy reports whether these edges alone make their second a busy one: more
// than 1200 stretches of 200 us or longer at either level (at one level alone
// they may be what spikes leave of the pauses between pulses), or more than
// 20000 shorter ones. A busy second is kept as counters.
func (t *Tally) Busy() bool {
	return t.long[Low] > busyMarks && t.long[High] > busyMarks || t.short > busyShort
}

// Add appends an edge: the level taken (Low or High) and when.
func (t *Tally) Add(to Level, at Time) {
	if t.Edges == 0 {
		t.firstAt, t.firstTo = at, to
	} else {
		t.stretch(t.lastTo, at-t.lastAt)
	}
	if to == High {
		t.rise(at)
	}
	t.Edges++
	t.lastAt, t.lastTo = at, to
}

// AddRun appends alternating edges, the first of them to the given level.
func (t *Tally) AddRun(to Level, at []Time) {
	for len(at) > 0 && (t.rises == 0 || to == Low) { // up to the second rise
		t.Add(to, at[0])
		at, to = at[1:], to.Other()
	}
	cycles, longest, high := int64(len(at)/2), Time(0), Time(0)
	before, rose := t.lastAt, t.lastRise
	var inLow, inHigh, inPeriod place
	for rest := at; len(rest) >= 2; rest = rest[2:] {
		rise, fall := rest[0], rest[1]
		down, up := rise-before, fall-rise
		t.low.bins[inLow.of(down)]++
		t.high.bins[inHigh.of(up)]++
		t.period.bins[inPeriod.of(rise-rose)]++
		longest = max(longest, down, up)
		high += up
		rose, before = rise, fall
	}
	if longest >= markLength {
		t.marks(at[:2*cycles])
	}
	t.lastAt, t.lastRise = before, rose
	t.highTime += high
	t.low.n += cycles
	t.high.n += cycles
	t.period.n += cycles
	t.rises += cycles
	t.Edges += 2 * cycles
	t.short += 2 * cycles
	if cycles > 0 {
		t.lastTo = Low
	}
	for _, x := range at[2*cycles:] {
		t.Add(to, x)
	}
}

// place remembers the bin of the last duration, which most often comes again.
type place struct {
	d Time
	i int
}

func (p *place) of(d Time) int {
	if d != p.d {
		p.d, p.i = d, bin(d)
	}
	return p.i
}

// marks takes the marks among further edges, the first of which is a rise, out
// of the short stretches.
func (t *Tally) marks(at []Time) {
	level, before := Low, t.lastAt
	for _, x := range at {
		if x-before >= markLength {
			t.long[level]++
			t.short--
		}
		level, before = level.Other(), x
	}
}

// Merge appends the edges that u stands for, which follow those of t.
func (t *Tally) Merge(u *Tally) {
	switch {
	case u.Edges == 0:
		return
	case t.Edges == 0:
		*t = *u
		return
	}
	t.stretch(t.lastTo, u.firstAt-t.lastAt)
	if u.rises > 0 {
		if t.rises > 0 {
			t.period.add(u.firstRise-t.lastRise, 1)
		} else {
			t.firstRise = u.firstRise
		}
		t.lastRise = u.lastRise
		t.rises += u.rises
	}
	t.high.merge(&u.high)
	t.low.merge(&u.low)
	t.period.merge(&u.period)
	for l := range t.long {
		t.long[l] += u.long[l]
	}
	t.short += u.short
	t.highTime += u.highTime
	t.Edges += u.Edges
	t.lastAt, t.lastTo = u.lastAt, u.lastTo
}

func (t *Tally) rise(at Time) {
	if t.rises == 0 {
		t.firstRise = at
	} else {
		t.period.add(at-t.lastRise, 1)
	}
	t.rises++
	t.lastRise = at
}

// highShare is the share of time spent high from the first rise to the last.
func (t *Tally) highShare() float64 {
	high := t.highTime
	if t.lastTo == Low {
		high -= t.lastAt - t.lastRise // the last high stretch begins with the last rise
	}
	return float64(high) / float64(t.lastRise-t.firstRise)
}

func (t *Tally) stretch(l Level, d Time) {
	if l == High {
		t.high.add(d, 1)
		t.highTime += d
	} else {
		t.low.add(d, 1)
	}
	if d >= markLength {
		t.long[l]++
	} else {
		t.short++
	}
}

// binsPerOctave makes a bin 1.1 % wide, well inside the 5 % and 15 % that are
// asked of it.
const (
	binsPerOctave = 64
	lastBin       = 38 * binsPerOctave
)

// spread is a histogram of durations over logarithmic bins. Bin 0 holds what
// is shorter than a nanosecond.
type spread struct {
	n    int64
	bins [lastBin + 1]uint32
}

// bin returns the index for d: the octave from its top bit, the place in the
// octave from the six bits below it. A float begins with the same bits.
func bin(d Time) int {
	const below = (1023+10)<<6 - 1 // what the float of bin 0 begins with
	if i := uint(math.Float64bits(float64(d))>>(52-6)) - below; i < lastBin {
		return int(i)
	}
	if d < 1024 {
		return 0
	}
	return lastBin
}

// binStart returns the shortest duration of bin i.
func binStart(i int) Time {
	if i == 0 {
		return 0
	}
	octave, part := (i-1)/binsPerOctave, (i-1)%binsPerOctave
	return Time(binsPerOctave+part) << (octave + 10 - 6)
}

func (s *spread) add(d Time, n uint32) {
	s.bins[bin(d)] += n
	s.n += int64(n)
}

func (s *spread) merge(u *spread) {
	if u.n == 0 {
		return
	}
	s.n += u.n
	for i, n := range u.bins {
		s.bins[i] += n
	}
}

// within counts the durations from lo to hi, to the width of a bin.
func (s *spread) within(lo, hi Time) int64 {
	var n int64
	for i := bin(lo); i <= bin(hi); i++ {
		n += int64(s.bins[i])
	}
	return n
}

// serialBit returns the bit time if the stretches look like serial data: bits
// of one length, runs of one to ten of them, at least three different runs.
// Idle stretches longer than ten bits take part unless idleFree is set.
func (t *Tally) serialBit(idleFree bool) (bit Time, ok bool) {
	var both spread
	both.merge(&t.high)
	both.merge(&t.low)
	if both.n < 20 {
		return 0, false
	}
	var weight, total int64
	for i := range both.bins {
		if both.bins[i] == 0 {
			continue
		}
		lo := binStart(i)
		if lo >= longestBit {
			return 0, false
		}
		weight, total = 0, 0
		for k := i; k <= bin(lo+lo*15/100); k++ {
			weight += int64(both.bins[k]) * int64(binStart(k)+binStart(k+1)) / 2 / 1000
			total += int64(both.bins[k])
		}
		if total*10 >= both.n {
			break
		}
		total = 0
	}
	if total == 0 {
		return 0, false
	}
	bit = Time(weight / total * 1000)
	all := both.n
	if idleFree {
		if idle := both.within(bit*21/2, Time(1)<<47); idle*4 < all && all-idle >= 50 {
			all -= idle
		}
	}
	var fits, kinds int64
	last := -1
	for k := Time(1); k <= 10; k++ {
		var n int64
		for i := max(bin(k*bit*85/100), last+1); i <= bin(k*bit*115/100); i++ {
			n += int64(both.bins[i])
			last = i
		}
		if n*100 >= all {
			kinds++
		}
		fits += n
	}
	return bit, fits*100 >= all*95 && kinds >= 3
}

// duty returns the modal interval if at least 90 % of the intervals lie within
// 5 % of it.
func (t *Tally) duty() (Time, bool) {
	if t.period.n < 5 {
		return 0, false
	}
	best, mode := int64(0), Time(0)
	for i := range t.period.bins {
		if t.period.bins[i] == 0 {
			continue
		}
		mid := (binStart(i) + binStart(i+1)) / 2
		if n := t.period.within(mid*95/100, mid*105/100); n > best {
			best, mode = n, mid
		}
	}
	// The mean says it finer than a bin, unless something is missing.
	if mean := (t.lastRise - t.firstRise) / Time(t.rises-1); within(mean, mode, 2) {
		mode = mean
	}
	return mode, best*10 >= t.period.n*9
}
