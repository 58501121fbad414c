package decode

// Bounds of what is a pulse. Common practice, no source.
const (
	shortest = 300 * Microsecond  // shorter is a glitch
	longest  = 3000 * Microsecond // longer is a stuck level
	spikeMax = 50 * Microsecond   // shorter is a spike, which fails nobody
	gapFinal = 300 * Microsecond  // a pulse is final after this much inactive
	chatter  = 2 * Microsecond    // stretches shorter than this may be edge chatter
)

// Lists of what is wrong are capped, counts are not.
const (
	maxGlitches = 1 << 16
	maxStuck    = 4096
	maxSpans    = 1000
)

// span is a stretch of time with a count.
type span struct {
	start, end Time
	count      int64
}

// pulser makes pulses from the stretches of one channel for one active level.
type pulser struct {
	active Level
	below  Time // pulses shorter than this are glitches

	held  []stretch // short stretches that may turn out to be edge chatter
	prev  Level     // level of the last stretch taken; Unknown before any
	idle  Time      // start of the inactive stretch
	blind Time      // start of an unknown stretch not yet judged
	unsure,
	after bool // in such a stretch; the next entry comes after one
	group        group
	start, width Time // of the last accepted pulse, 0 before any
	kept
}

// kept is what a pulser has made of its stretches.
type kept struct {
	train     train // accepted pulses, stuck marks and cut pulses
	accepted  int64
	stuck     int64
	rested    int64 // times inactive for longer than a pulse can be
	glitches  train // broken: a break inside a pulse, else a rejected part
	glitched  int64 // all glitches, listed or not
	chatters  []span
	chattered int64
	blinds    []span
	blinded   int64
}

// group is a row of active parts with gaps too short to end a pulse.
type group struct {
	parts      int
	start, end Time
	active     Time // sum of the parts
	longest    stretch
	open       open
	list       []stretch // the parts, as far as they are kept
}

const maxParts = 64

// addToggles takes the next stretches, whose levels alternate. Nearly all of them are
// marks and pauses that need no second thought. Servo is the level of the marks if
// they are known to be all pulses of a servo and its pauses.
func (p *pulser) addToggles(level Level, start Time, ends []Time, servo Level) {
	for len(ends) > 0 {
		n := p.addMany(level, start, ends, servo)
		if n == 0 {
			p.add(&stretch{start: start, end: ends[0], level: level})
			n = 1
		}
		if n&1 == 1 {
			level = level.Other()
		}
		start, ends = ends[n-1], ends[n:]
	}
}

// addMany takes what nothing before has to do with, and returns how many stretches
// that were: add would come to the same by a longer way.
func (p *pulser) addMany(level Level, start Time, ends []Time, servo Level) int {
	switch undisturbed := p.group.parts == 0 && len(p.held) == 0 && !p.unsure && !p.after; {
	case plain || !undisturbed:
		return 0
	case level == p.active && servo == p.active.Other() && p.stuck >= maxStuck && len(ends) > 1:
		return p.addPauses(ends)
	case level == p.active:
		return p.addMarks(start, ends)
	case ends[0]-start >= chatter:
		p.pause(start, ends[0])
		return 1
	}
	return 0
}

// addPauses takes the pauses between servo pulses for marks that are too long, of
// which enough are listed.
func (p *pulser) addPauses(ends []Time) (n int) {
	n = len(ends) &^ 1
	p.stuck += int64(n / 2)
	p.idle, p.prev = ends[n-2], p.active.Other()
	return n
}

// addMarks takes marks that stand alone and the pauses that follow them: as many as
// are pulses for which there is room, or too long for pulses where enough of these are
// listed.
func (p *pulser) addMarks(start Time, ends []Time) (n int) {
	room := p.train.room()
	pulses, stuck, rested := 0, int64(0), int64(0)
	idle := p.idle
	for rest := ends; len(rest) >= 2; rest = rest[2:] {
		width, pause := rest[0]-start, rest[1]-rest[0]
		if pause < gapFinal {
			break
		}
		if width >= p.below && width <= longest && pulses < len(room) {
			room[pulses] = pack(entry{start, width, 0})
			pulses++
		} else if width > longest && p.stuck+stuck >= maxStuck {
			stuck++
		} else {
			break
		}
		if pause > longest {
			rested++
		}
		idle, start = rest[0], rest[1]
		n += 2
	}
	if pulses > 0 {
		p.train.fill(pulses)
		p.start, p.width = room[pulses-1].start, room[pulses-1].width()
	}
	if n > 0 {
		p.idle, p.prev = idle, p.active.Other()
	}
	p.accepted += int64(pulses)
	p.stuck += stuck
	p.rested += rested
	return n
}

// add takes the next stretch. Bursts of stretches under 2 us between two
// longer ones are set aside first: between different levels they are chatter
// of one edge, and the first crossing stands; between equal levels they are
// one short mark.
func (p *pulser) add(s *stretch) {
	if s.level != Unknown && s.length() < chatter && s.whole() {
		p.held = append(p.held, *s)
		if s.end-p.held[0].start > spikeMax || len(p.held) > 256 {
			p.release()
		}
		return
	}
	if n := len(p.held); n > 0 {
		first, last := p.held[0], p.held[n-1]
		switch {
		case s.level == Unknown || p.prev == Unknown || p.unsure:
			p.release()
		case s.level == first.level:
			longer := *s
			longer.start = first.start
			s = &longer
			p.chattered++
			p.chatters = addSpan(p.chatters, span{first.start, last.end, 1})
			p.held = p.held[:0]
		default:
			p.take(&stretch{level: first.level, start: first.start, end: last.end})
			p.held = p.held[:0]
		}
	}
	p.take(s)
}

func (p *pulser) release() {
	for i := range p.held {
		p.take(&p.held[i])
	}
	p.held = p.held[:0]
}

// addSpan appends to a capped list, joining what is close together.
func addSpan(list []span, s span) []span {
	if n := len(list); n > 0 && (s.start-list[n-1].end < 100*Millisecond || n >= maxSpans) {
		list[n-1].end = s.end
		list[n-1].count += s.count
		return list
	}
	return append(list, s)
}

func (p *pulser) take(s *stretch) {
	if s.level == Unknown {
		if !p.unsure {
			p.unsure, p.blind = true, s.start
		}
		if s.open&openEnd != 0 {
			p.goBlind(s.end)
		}
		return
	}
	if p.unsure {
		own := *s
		s = &own
		if s.start-p.blind < gapFinal && s.level == p.prev {
			p.unsure = false
			if s.level != p.active {
				s.start = p.idle // unknown for a moment while inactive is nothing
			}
		} else {
			p.goBlind(s.start)
			s.open |= openStart
		}
	}
	if s.level == p.active {
		p.part(s)
	} else {
		p.pause(s.start, s.end)
		if p.group.parts > 0 && (s.length() >= gapFinal || s.open&openEnd != 0) {
			p.close()
		}
	}
	p.prev = s.level
}

// pause notes where an inactive stretch begins.
func (p *pulser) pause(start, end Time) {
	p.idle, p.prev = start, p.active.Other()
	if end-start > longest {
		p.rested++
	}
}

// goBlind ends an unknown stretch from which nothing may be concluded.
func (p *pulser) goBlind(until Time) {
	if p.group.parts > 0 {
		if p.group.end == p.blind {
			p.group.open |= openEnd
		}
		p.close()
	}
	p.blinded++
	p.blinds = addSpan(p.blinds, span{p.blind, until, 1})
	p.unsure, p.after = false, true
}

// foreign says that from start to end another kind of signal was on the wire.
// Before the first pulse nothing is concluded from it; later on pulses are
// missing there.
func (p *pulser) foreign(start, end Time) {
	p.release()
	if p.group.parts > 0 {
		p.close()
	}
	p.prev, p.idle, p.unsure, p.after = Unknown, end, false, p.accepted == 0
}

// part adds an active stretch to the group.
func (p *pulser) part(s *stretch) {
	g := &p.group
	if g.parts == 0 {
		g.start, g.open, g.active, g.list = s.start, s.open&openStart, 0, g.list[:0]
	}
	g.parts++
	g.end = s.end
	g.active += s.length()
	if s.length() > g.longest.length() || g.parts == 1 {
		g.longest = *s
	}
	if len(g.list) < maxParts {
		g.list = append(g.list, *s)
	}
	if s.open&openEnd != 0 {
		g.open |= openEnd
		p.close()
	}
}

// close decides what the group was. Of the whole, breaks included, and its
// longest part, the one nearer to the width before is taken.
func (p *pulser) close() {
	g := &p.group
	parts := g.parts
	g.parts = 0
	if g.open != 0 {
		p.closeCut(g)
		return
	}
	whole := g.end - g.start
	if parts == 1 {
		p.mark(g.start, whole, 0)
		return
	}
	if p.couldBeOne(g, whole) &&
		(p.width == 0 || absDiff(whole, p.width) <= absDiff(g.longest.length(), p.width)) {
		for i := 1; i < len(g.list); i++ {
			gap := g.list[i].start - g.list[i-1].end
			p.glitch(entry{g.list[i-1].end, gap, broken})
		}
		p.glitched += int64(parts - len(g.list))
		p.accept(g.start, whole, broken)
		return
	}
	for _, s := range g.list {
		if s.start != g.longest.start {
			p.glitch(entry{s.start, s.length(), 0})
		} else {
			p.mark(s.start, s.length(), broken)
		}
	}
	p.glitched += int64(parts - len(g.list))
}

// mark decides what a mark is by its width.
func (p *pulser) mark(start, width Time, how mark) {
	switch {
	case width < p.below:
		p.glitch(entry{start, width, 0})
	case width > longest:
		p.stuckMark(entry{start, width, stuck})
	default:
		p.accept(start, width, how)
	}
}

// couldBeOne says whether a group with breaks may be one pulse: 80 % active
// and of a usual width, narrow trains in proportion.
func (p *pulser) couldBeOne(g *group, whole Time) bool {
	lo, hi := 800*Microsecond, 2200*Microsecond
	if p.width > 0 && p.width < Millisecond && g.start-p.start < 5*Millisecond {
		lo, hi = 400*Microsecond, 1120*Microsecond
	}
	return g.active*5 >= whole*4 && whole >= lo && whole <= hi
}

func absDiff(a, b Time) Time { return max(a-b, b-a) }

// closeCut notes a pulse without a width. One that is high or low far longer
// than a pulse up to the end of the capture is a stuck level.
func (p *pulser) closeCut(g *group) {
	e := entry{g.start, g.end - g.start, cut}
	if g.open == openEnd && e.width > longest {
		e.marks |= stuck
		p.stuck++
	}
	p.put(e)
}

func (p *pulser) accept(start, width Time, how mark) {
	p.accepted++
	p.start, p.width = start, width
	p.put(entry{start, width, how})
}

func (p *pulser) stuckMark(e entry) {
	p.stuck++
	if p.stuck <= maxStuck {
		p.put(e)
	}
}

func (p *pulser) put(e entry) {
	if p.after {
		e.marks |= afterBlind
		p.after = false
	}
	p.train.add(e)
}

func (p *pulser) glitch(e entry) {
	p.glitched++
	if p.glitches.n < maxGlitches {
		p.glitches.add(e)
	}
}
