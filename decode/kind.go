package decode

import "golang.org/x/exp/slices"

// longIdle is longer than serial data idles within a byte: ten of the longest bits.
const longIdle = 10 * longestBit * 115 / 100

// servo tells of toggles that all are marks as long as servo pulses, and pauses longer
// than serial data idles; classify would come to the same by a longer way.
func (t *toggles) servo() (k secondKind) {
	n := len(t.ends)
	if n < 2 || n > busyMarks {
		return k
	}
	b := t.bounds()
	for _, level := range []Level{High, Low} {
		if b.least[level] > maxMarker && b.most[level] <= 2300*Microsecond && b.least[level.Other()] > longIdle {
			k = secondKind{signal: Servo, active: level, pulses: n / 2, start: t.ends[0], end: t.ends[n-1]}
			if level == t.level {
				k.pulses = (n + 1) / 2
			}
			return k
		}
	}
	return k
}

// look is what one pass over a second's stretches shows.
type look struct {
	tooLong int    // stretches longer than ten of the longest bits
	markers [3]int // stretches as long as the markers of a pulse-position stream, by level
}

func (s *second) look() (k look) {
	for i := range s.size() {
		x := s.stretch(i)
		d := x.length()
		if d > longIdle {
			k.tooLong++
		}
		if d >= minMarker && d <= maxMarker && x.whole() {
			k.markers[x.level]++
		}
	}
	return k
}

// marks are what the whole stretches of 300 us and longer at one level come to.
type marks struct {
	n                               int
	wide, narrow, under1000         int  // 700..2300 us, 400..1120 us, and less than 1000 us long
	first, last                     Time // where they begin
	total                           Time // of all but the first
	under1700, under2500, under5000 int  // intervals of less than so many us
}

func (s *second) marks(level Level) (m marks) {
	for i := range s.size() {
		x := s.stretch(i)
		d := x.length()
		if x.level != level || d < shortest || !x.whole() {
			continue
		}
		if m.n++; m.n == 1 {
			m.first = x.start
		} else {
			m.total += d
			m.interval(x.start - m.last)
		}
		m.last = x.start
		if d > 2300*Microsecond {
			continue
		}
		if d >= 700*Microsecond {
			m.wide++
		}
		if d >= 400*Microsecond && d <= 1120*Microsecond {
			m.narrow++
		}
		if d < 1000*Microsecond {
			m.under1000++
		}
	}
	return m
}

func (m *marks) interval(d Time) {
	if d >= 5*Millisecond {
		return
	}
	m.under5000++
	if d < 2500*Microsecond {
		m.under2500++
	}
	if d < 1700*Microsecond {
		m.under1700++
	}
}

// secondKind is a second's kind and what goes with it.
type secondKind struct {
	signal     Signal
	start, end Time    // what it spans within the second
	bit        Time    // of serial data
	interval   Time    // of a duty signal
	duty       float64 // its share of high
	markers    Level   // of a pulse-position stream
	active     Level   // of servo pulses
	pulses     int     // how many of these, at least; counted up to fewMarks
}

// classify names the kind of a second; the first criterion that is met wins.
// Echo needs the other channels and is decided after. Most seconds of servo
// pulses are told without a tally.
func (s *second) classify(scratch *Tally, now Level) secondKind {
	if k := s.toggles.servo(); k.signal == Servo {
		s.toggles.active = k.active
		return k
	}
	if s.tally != nil || s.size() > busyMarks {
		s.complete(scratch, now)
	}
	k := secondKind{signal: Irregular}
	servo := false
	if !s.busy {
		var any bool
		if k.start, k.end, any = s.span(now); !any {
			return secondKind{signal: Silent}
		}
		// before serial: slots may happen to be whole multiples of the marker
		seen := s.look()
		if level := s.markers(&seen); level != Unknown {
			k.signal, k.markers = PulsePosition, level
			return k
		}
		servo, k.active = s.servo()
		// with more than 5 % of such stretches it is no serial data
		if servo && seen.tooLong*20 > s.size() {
			k.signal, k.pulses = Servo, s.pulseLike(k.active)
			return k
		}
		s.complete(scratch, now)
	} else {
		k.start, k.end = s.tally.firstAt, s.tally.lastAt
	}
	if bit, ok := s.tally.serialBit(!servo); ok {
		k.signal, k.bit = Serial, bit
		if !s.busy {
			k.start, k.end = s.extent(bit)
			k.bit = s.refine(bit)
		}
		return k
	}
	if servo {
		k.signal, k.pulses = Servo, s.pulseLike(k.active)
		return k
	}
	if interval, ok := s.tally.duty(); ok {
		k.signal, k.interval = Duty, interval
		k.duty = s.tally.highShare()
	}
	return k
}

// servo reports whether the stretches at one level look like servo pulses:
// most of those over 300 us from 700 to 2300 us long, three quarters of them at
// least 2.5 ms apart, and at most 75 % of the time; or narrow ones, 400 to
// 1120 us, nine tenths of them at least 1.7 ms apart, half of them less than
// 5 ms. However ragged the rest.
func (m *marks) servo() bool {
	switch intervals := m.n - 1; {
	case m.n < 2:
		return m.wide == 1
	case m.total*4 > (m.last-m.first)*3:
		return false
	case m.wide*2 > m.n && m.under2500 <= intervals/4:
		return true
	default:
		return m.narrow*2 > m.n && m.under1000 > m.n/2 && m.under1700 <= intervals/10 && m.under5000 > intervals/2
	}
}

// servo says at which level there are marks that look like servo pulses.
func (s *second) servo() (ok bool, active Level) {
	for _, level := range []Level{High, Low} {
		if m := s.marks(level); m.servo() {
			return true, level
		}
	}
	return false, Unknown
}

// extent returns where the runs of serial data begin and end in the second.
func (s *second) extent(bit Time) (start, end Time) {
	first := true
	for i := range s.size() {
		x := s.stretch(i)
		if x.open&openStart != 0 || x.length() > bit*21/2 {
			continue
		}
		if first {
			start, first = x.start, false
		}
		end = x.end
	}
	return start, end
}

// refine returns the mean bit time of the runs that a rough one explains.
func (s *second) refine(bit Time) Time {
	var total, bits Time
	for i := range s.size() {
		x := s.stretch(i)
		if n := (x.length() + bit/2) / bit; n >= 1 && n <= 10 && within(x.length(), n*bit, 15) {
			total += x.length()
			bits += n
		}
	}
	return total / max(1, bits)
}

// markers returns the level of the markers of a pulse-position stream, or
// Unknown. Markers are short marks of nearly one width; their spacings differ,
// but a number of spacings taken together does not.
func (s *second) markers(seen *look) Level {
	best, steadiest := Unknown, Time(0)
	for _, level := range []Level{High, Low} {
		if seen.markers[level] < 2*minSpacings+1 {
			continue
		}
		var starts, widths []Time
		for i := range s.size() {
			x := s.stretch(i)
			if x.level == level && x.whole() && x.length() >= minMarker && x.length() <= maxMarker {
				starts = append(starts, x.start)
				widths = append(widths, x.length())
			}
		}
		if !sumStream(starts) {
			continue
		}
		slices.Sort(widths)
		wobble := widths[len(widths)*9/10] - widths[len(widths)/10]
		if best == Unknown || wobble < steadiest {
			best, steadiest = level, wobble
		}
	}
	return best
}

// echoes reports whether at least 95 % of the edges of a lie within 2 us of
// edges of b, while a is no copy of b: it has clearly fewer or more edges.
func echoes(a, b *second) bool {
	na, nb := a.size(), b.size()
	if a.busy || b.busy || na < 4 || nb < 4 || na*100 >= nb*90 && na*100 <= nb*110 {
		return false
	}
	far, i := 0, 0
	for k := range na {
		end := a.stretch(k).end
		for i < nb && b.stretch(i).end < end-2*Microsecond {
			i++
		}
		if i == nb || b.stretch(i).end > end+2*Microsecond {
			far++
		}
		if far*20 > na {
			return false
		}
	}
	return true
}

// mirrors reports whether most pulses of b stand whole in a as well: a second
// output of the same stick, perhaps a torn one. A floating input copies edges
// and misses most whole pulses.
func mirrors(a, b *second) bool {
	whole, of, i := 0, 0, 0
	for k := range b.size() {
		x := b.stretch(k)
		if !x.whole() || x.level != High || x.length() < shortest || x.length() > longest {
			continue
		}
		of++
		for i < a.size() && (a.stretch(i).level != High || a.stretch(i).start < x.start-2*Microsecond) {
			i++
		}
		if i < a.size() && a.stretch(i).start <= x.start+2*Microsecond && absDiff(a.stretch(i).end, x.end) <= 2*Microsecond {
			whole++
		}
	}
	return whole*2 >= of
}

// fewMarks is how many pulses make a second one of servo pulses that counts for
// the whole channel: ten a second come at the longest period.
const fewMarks = 8

// pulseLike counts the marks at one level that could be pulses, at intervals
// that could be a servo's; up to fewMarks of them.
func (s *second) pulseLike(active Level) int {
	n := 0
	var last Time
	for i := 0; i < s.size() && n < fewMarks; i++ {
		x := s.stretch(i)
		if x.level != active || !x.whole() || x.length() < shortest || x.length() > longest {
			continue
		}
		if n == 0 || x.start-last >= shortestNarrowPeriod {
			n++
		}
		last = x.start
	}
	return n
}

// turned is how many edges in a second show that something else than noise took
// the place of the pulses.
const turned = 20

// asServo settles what a second is on a line that carried servo pulses before:
// marks of a steady rate that could be pulses still are, however wide; a second
// without any is another signal, and its missing frames are missing. The rest is
// noise among pulses.
func (w *channelState) asServo(k *secondKind) (signal Signal, another bool) {
	if w.servoAt == Unknown || k.signal != Duty && k.signal != Irregular {
		return k.signal, false
	}
	n := w.sec.pulseLike(w.servoAt)
	switch {
	case w.sec.busy:
		return k.signal, false
	case k.signal == Duty && n >= fewMarks/2 && k.interval >= shortestNarrowPeriod:
		return Servo, false
	case n == 0 && w.sec.size() >= turned:
		return k.signal, true
	}
	return k.signal, false
}

// driven reports whether a line of a steady rate, or none, carries marks that
// could be pulses at the interval of one of the servo channels, so that a line
// driven out of range fails rather than vanishes.
func (r *Recording) driven(w *channelState, p *pulser) bool {
	if p == nil || p.accepted < fewMarks || p.accepted < p.stuck {
		return false
	}
	own := p.train.typicalInterval()
	for _, o := range r.channels {
		if o == w || o.high == nil || o.mostly() != Servo {
			continue
		}
		for _, q := range []*pulser{o.high, o.low} {
			if other := q.train.typicalInterval(); other >= shortestNarrowPeriod && within(own, other, 1) {
				return true
			}
		}
	}
	return false
}

// typicalInterval is the median of the first intervals, 0 where there are none.
func (t *train) typicalInterval() Time {
	var all []Time
	r := t.read()
	last := entry{start: -1}
	for e, ok := r.next(); ok && len(all) < scaleFrom; e, ok = r.next() {
		if !e.accepted() {
			continue
		}
		if last.start >= 0 && e.marks&afterBlind == 0 {
			all = append(all, e.start-last.start)
		}
		last = e
	}
	if len(all) == 0 {
		return 0
	}
	return Time(quantile(all, 0.5))
}

// mostRejected are the short marks of a line, at the level at which it has more
// of them: it rests at the other.
func (w *channelState) mostRejected() *train {
	if w.low.glitched > w.high.glitched {
		return &w.low.glitches
	}
	return &w.high.glitches
}

// unjudged notes the lines that are no servo channels though their edges keep
// time with one: outputs that something is wrong with, or inputs that float.
func (r *Recording) unjudged(a *Analysis) {
	for i, ca := range a.Channels {
		w := r.channels[i]
		switch ca.Signal {
		case Echo:
			ca.keepsTimeWith = w.echoOf
		case Duty, Irregular:
			for _, o := range a.Channels {
				if o.Signal == Servo && o.channel != nil && keepsTime(&w.high.train, o.channel) {
					ca.keepsTimeWith = o.Name
					break
				}
			}
		}
		if ca.keepsTimeWith != "" && !ca.Named && !ca.Witness {
			a.Notes = append(a.Notes, Remarkf(KeepsTime, ca.Name, "not judged, though its edges keep time with %s: an output that something is wrong with, or an input that floats; name it to have it judged", ca.keepsTimeWith))
		}
	}
}

// keepsTime reports whether marks, whatever their width, begin at one place in
// the frame of a servo channel: nine in ten of them within a twentieth of it.
func keepsTime(t *train, c *channel) bool {
	period := c.pulses.typicalInterval()
	if period < shortestNarrowPeriod {
		return false
	}
	var places []Time
	mine, its := t.read(), c.pulses.read()
	frame, ok := its.next()
	last := frame.start
	for e, more := mine.next(); more && ok && len(places) < scaleFrom; e, more = mine.next() {
		for ok && frame.start <= e.start {
			last = frame.start
			frame, ok = its.next()
		}
		if e.start >= last && e.start-last < period {
			places = append(places, e.start-last)
		}
	}
	if len(places) < fewMarks {
		return false
	}
	middle := Time(quantile(slices.Clone(places), 0.5))
	near := 0
	for _, p := range places {
		if off := absDiff(p, middle); min(off, period-off)*40 <= period {
			near++
		}
	}
	return near*10 >= len(places)*9
}
