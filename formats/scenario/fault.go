package scenario

import (
	"math"
	"math/rand/v2"

	"widthwise/decode"
	"widthwise/formats/tomlfile"
)

// episodes are the times at which a fault begins.
type episodes struct {
	next, every decode.Time
	left        int64
}

func newEpisodes(f *Fault) episodes {
	e := episodes{next: decode.Time(f.At), every: decode.Time(f.Repeat), left: 1}
	if f.Repeat != 0 {
		e.left = f.Times
		if f.Times == 0 {
			e.left = math.MaxInt64
		}
	}
	return e
}

// take returns the next beginning if it lies before the given time.
func (e *episodes) take(before decode.Time) (decode.Time, bool) {
	if e.left == 0 || e.next >= before {
		return 0, false
	}
	at := e.next
	e.left--
	e.next += e.every
	return at, true
}

// picker picks the frames or edges that a fault befalls: from each beginning
// on count of them, or all for a time, or each by chance.
type picker struct {
	*Fault
	rng   *rand.Rand
	times episodes
	end   decode.Time // of the current episode; before the first: its beginning
	run   int64       // still to come in this run
	k     int64       // so far in this run
	fresh bool        // the next one is the first of its run
}

func (p *picker) hit(t decode.Time) bool {
	for {
		start, ok := p.times.take(t + 1)
		if !ok {
			break
		}
		p.end = math.MaxInt64
		if p.For != 0 {
			p.end = start + decode.Time(p.For)
		}
		p.run = 0
		if p.Chance == 0 {
			p.begin()
		}
	}
	if t >= p.end {
		return false
	}
	if p.Chance > 0 && p.rng.Float64() < p.Chance && p.run == 0 {
		p.begin()
	}
	if p.run == 0 {
		return false
	}
	p.k++
	if p.EveryFrames > 1 && (p.k-1)%p.EveryFrames != 0 {
		return false
	}
	p.run--
	return true
}

func (p *picker) begin() {
	p.run, p.k, p.fresh = max(p.Count, 1), 0, true
	if p.Count == 0 && p.For != 0 && p.Chance == 0 {
		p.run = math.MaxInt64
	}
}

// frameFault is a fault that befalls whole frames.
type frameFault struct {
	picker
	held   []decode.Time
	record int // where it is noted
}

// marks tells whether f adds to a frame that was sent rather than shaping it.
func (f *frameFault) marks() bool {
	return oneOf(f.Kind, "glitch", "break", "edge-chatter", "extra-pulse")
}

// shape changes a frame before it is sent.
func (f *frameFault) shape(fr *frame, g *framed) {
	slot := min(int(max(f.Slot, 1)), len(fr.widths)) - 1
	switch f.Kind {
	case "dropped-frame", "late-start", "boot-noise", "serial-text":
		fr.dropped = true
	case "late-frame":
		fr.start += decode.Time(f.By)
	case "width-spike":
		fr.widths[slot] = max(fr.widths[slot]+micros(f.ByUs), 0)
	case "width-out-of-range":
		fr.widths[slot] = micros(f.WidthUs)
	case "jitter-burst":
		for i := range fr.widths {
			fr.widths[i] = max(fr.widths[i]+micros(f.SigmaUs*f.rng.NormFloat64()), 0)
		}
	case "frozen-width", "repeated-width":
		f.hold(fr, g)
	case "signal-loss":
		switch f.Then {
		case "hold":
			f.hold(fr, g)
		case "preset":
			for i := range fr.widths {
				fr.widths[i] = micros(f.WidthUs)
			}
		default:
			fr.dropped = true
		}
	}
}

// hold sends what was sent before the run began.
func (f *frameFault) hold(fr *frame, g *framed) {
	if f.fresh || len(f.held) == 0 {
		f.held = append(f.held[:0], g.sent...)
	}
	copy(fr.widths, f.held)
}

// mark adds to a frame that was sent. Its edges are those of its first pulse.
func (f *frameFault) mark(w *mixer, fr *frame) {
	lead, trail := fr.start, fr.start+fr.widths[0]
	long := micros(f.WidthUs)
	at := lead + micros(f.OffsetUs)
	if f.ScatterUs != 0 {
		at += micros(f.ScatterUs * (2*f.rng.Float64() - 1))
	}
	switch f.Kind {
	case "extra-pulse":
		f.put(w, opPulse, at, long)
	case "glitch", "break":
		o := opPulse
		if f.Kind == "break" {
			o = opBreak
		}
		if f.Level == "unknown" {
			o = opUnknown
		}
		for range max(f.Train, 1) {
			f.put(w, o, at, long)
			at += micros(f.SpacingUs)
		}
	case "edge-chatter":
		for i := range decode.Time(max(f.Train, 1)) {
			if f.Edge != "trailing" {
				f.put(w, opBreak, lead+(2*i+1)*long, long)
			}
			if f.Edge != "" && f.Edge != "leading" {
				f.put(w, opPulse, trail+(2*i+1)*long, long)
			}
		}
	}
}

// put adds a mark and notes it.
func (f *frameFault) put(w *mixer, o op, at, long decode.Time) {
	w.add(o, at, at+long)
	w.truth.touch(o, at, at+long)
	f.note(w, at, at+long)
}

// note keeps the record of the run up to date.
func (f *frameFault) note(w *mixer, from, to decode.Time) {
	if w.truth == nil {
		f.fresh = false
		return
	}
	if f.fresh {
		f.fresh = false
		f.record = w.truth.note(f.Kind, from, to, f.size())
		w.truth.Faults[f.record].Count = 0
	}
	r := &w.truth.Faults[f.record]
	r.End = max(r.End, to)
	r.Count++
}

// size is what a fault is measured by, in microseconds: its width where it has
// one, else how long it lasts.
func (f *Fault) size() float64 {
	switch f.Kind {
	case "width-spike":
		return f.ByUs
	case "late-frame", "phase-restart":
		return float64(f.By) / 1e6
	case "jitter-burst":
		return f.SigmaUs
	case "serial-text":
		return f.BitUs
	case "signal-loss", "boot-noise":
		return float64(f.For) / 1e6
	}
	return orElse(f.WidthUs, float64(f.For)/1e6)
}

// faultChance is the stream of chance of fault n on a channel.
func (s *Scenario) faultChance(i, n int) *rand.Rand {
	f, name, like := &s.Faults[n], s.Channels[i].Name, int64(0)
	for _, before := range s.Faults[:n] {
		if before.Kind == f.Kind && before.At == f.At && before.Seed == f.Seed {
			like++
		}
	}
	if f.Together {
		name = ""
	}
	return s.chance(name, f.Kind, int64(f.At), f.Seed, like)
}

// applyFault puts fault n on the wire of channel i, as far as it is one of the
// wire and not of the frames.
func (s *Scenario) applyFault(w *mixer, i, n int, crosstalk bool) {
	f := &s.Faults[n]
	rng := s.faultChance(i, n)
	long := decode.Time(f.For)
	if long == 0 {
		long = decode.Time(s.Length)
	}
	level := map[string]op{"high": opHigh, "unknown": opUnknown}[f.Level]
	if level == 0 {
		level = opLow
	}
	spell := func(o op, long decode.Time) {
		w.fillers = append(w.fillers, &spells{f: f, times: newEpisodes(f), make: func(from decode.Time) filler {
			w.truth.note(f.Kind, from, from+long, f.size())
			w.truth.touch(o, from, from+long)
			return &once{o, from, from + long}
		}})
	}
	switch f.Kind {
	case "stuck-level":
		spell(level, long)
	case "unknown-level":
		spell(opUnknown, long)
	case "inverted":
		spell(opFlip, long)
	case "supply-dip":
		spell(opLow, long+decode.Time(f.Restart))
	case "late-start":
		if !framedChannel(&s.Channels[i]) {
			spell(opBreak, long)
		}
	case "loose-wire":
		w.fillers = append(w.fillers, &spells{f: f, times: newEpisodes(f), make: func(from decode.Time) filler {
			l := &loose{f: f, rng: rng, op: level, at: from, to: from + long}
			l.wait(f.Closed)
			return l
		}})
		w.pace += 2e12 / float64(f.Open+f.Closed)
	case "boot-noise":
		mean, width := orElse(f.MeanUs, 10_000), orElse(f.WidthUs, 400)
		w.fillers = append(w.fillers, &spells{f: f, times: newEpisodes(f), make: func(from decode.Time) filler {
			w.truth.note(f.Kind, from, from+long, f.size())
			return newNoise(rng, mean, width, from, from+long)
		}})
		w.pace += 4e6 / mean
	case "serial-text":
		spell(opFlip, long) // the line rests high
		w.fillers = append(w.fillers, &spells{f: f, times: newEpisodes(f), make: func(from decode.Time) filler {
			return newSerial(rng, f.BitUs, f.Text, 0, 0, from, from+long)
		}})
		w.pace += 1e6 / f.BitUs
	case "crosstalk":
		if crosstalk {
			src := s.mixer(s.channel(f.From), nil, false)
			w.fillers = append(w.fillers, &leak{frameFault: frameFault{picker: picker{Fault: f, rng: rng, times: newEpisodes(f)}}, src: src})
			w.pace += 2 * src.pace
			w.margin = max(w.margin, micros(max(-f.OffsetUs, 0)))
		}
	}
}

func orElse(x, usual float64) float64 {
	if x == 0 {
		return usual
	}
	return x
}

// frameFaults are the faults of channel i that befall its frames.
func (s *Scenario) frameFaults(i int) []*frameFault {
	var all []*frameFault
	for n := range s.Faults {
		f := &s.Faults[n]
		if ofFrames(f.Kind) && oneOf(s.Channels[i].Name, s.channelsOf(f)...) {
			all = append(all, &frameFault{picker: picker{Fault: f, rng: s.faultChance(i, n), times: newEpisodes(f)}})
		}
	}
	return all
}

func ofFrames(kind string) bool {
	return !oneOf(kind, "stuck-level", "unknown-level", "inverted", "supply-dip", "phase-restart", "loose-wire", "crosstalk", "uneven-time")
}

// spells makes a filler for each episode of a fault.
type spells struct {
	f     *Fault
	times episodes
	make  func(from decode.Time) filler
	now   filler
}

func (s *spells) fill(w *mixer, until decode.Time) {
	if s.now != nil {
		s.now.fill(w, until)
	}
	for {
		from, ok := s.times.take(until)
		if !ok {
			return
		}
		s.now = s.make(from)
		s.now.fill(w, until)
	}
}

// loose is a wire that opens and closes at random.
type loose struct {
	f      *Fault
	rng    *rand.Rand
	op     op
	at, to decode.Time
}

func (l *loose) fill(w *mixer, until decode.Time) {
	for l.at < min(until, l.to) {
		from := l.at
		l.wait(l.f.Open)
		w.add(l.op, from, min(l.at, l.to))
		w.truth.touch(l.op, from, min(l.at, l.to))
		w.truth.note(l.f.Kind, from, min(l.at, l.to), float64(min(l.at, l.to)-from)/1e6)
		l.wait(l.f.Closed)
	}
}

func (l *loose) wait(mean tomlfile.Duration) {
	l.at += decode.Time(l.rng.ExpFloat64()*float64(mean)) + decode.Nanosecond
}

// leak is what the edges of another wire do to this one.
type leak struct {
	frameFault
	src *mixer
}

func (l *leak) fill(w *mixer, until decode.Time) {
	for _, c := range l.src.advance(until) {
		rising := c.Level == decode.High
		if c.At == 0 || c.Level == decode.Unknown || l.Edge == "leading" && !rising || l.Edge == "trailing" && rising {
			continue
		}
		if l.hit(c.At) {
			l.put(w, opFlip, c.At+micros(l.OffsetUs), micros(l.WidthUs))
		}
	}
}
