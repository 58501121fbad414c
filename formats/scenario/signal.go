package scenario

import (
	"math"
	"math/rand/v2"

	"widthwise/decode"
)

// metronome says when frames start.
type metronome struct {
	spec   *Frames
	rng    *rand.Rand
	length decode.Time
	due    decode.Time // start of the next frame
	n      int64       // frames so far
	period decode.Time
	change int       // changes of period so far
	sum    []*widths // whose widths make the period
	jumps  []*jump
	truth  *ChannelTruth
}

// jump moves the frames: by a time, or to the end of a stretch.
type jump struct {
	times episodes
	fault *Fault
}

func (s *Scenario) metronome(i int, c *Carried, from decode.Time, truth *ChannelTruth) *metronome {
	spec, stream := s.frames(c, s.Channels[i].Name)
	k := &metronome{spec: spec, rng: s.chance(stream, "period", int64(from)), length: decode.Time(s.Length), period: decode.Time(spec.Period), truth: truth}
	for _, name := range spec.FromWidths {
		k.sum = append(k.sum, s.widths(s.channel(name), &s.Channels[s.channel(name)].Carried))
	}
	first := decode.Time(spec.First)
	if first == 0 {
		first = spec.least() / 2
	}
	k.due = from + first
	for n := range s.Faults {
		f := &s.Faults[n]
		if (f.Kind == "phase-restart" || f.Kind == "supply-dip") && oneOf(s.Channels[i].Name, s.channelsOf(f)...) {
			j := &jump{newEpisodes(f), f}
			for j.times.left > 0 && j.times.next < from {
				j.times.take(from)
			}
			k.jumps = append(k.jumps, j)
		}
	}
	return k
}

// next returns the start of the next frame and its period.
func (k *metronome) next() (start, period decode.Time) {
	start = k.due
	for k.change < len(k.spec.Changes) && start >= decode.Time(k.spec.Changes[k.change].At) {
		k.period = decode.Time(k.spec.Changes[k.change].Period)
		k.change++
		k.truth.note("period-change", start, start, float64(k.period)/1e6)
	}
	period = k.period
	switch {
	case len(k.sum) > 0:
		period = decode.Time(k.spec.Sync)
		for _, g := range k.sum {
			for _, width := range g.next(start) {
				period += width
			}
		}
	case len(k.spec.Periods) > 0 && k.change == 0:
		period = decode.Time(k.spec.Periods[k.n%int64(len(k.spec.Periods))])
	}
	plain := period
	if k.spec.DriftPPM != 0 {
		grown := k.spec.DriftPPM * 1e-6 * (float64(start) / float64(k.length))
		period += decode.Time(math.Round(float64(plain) * grown))
	}
	if k.spec.JitterUs != 0 {
		period += micros(k.spec.JitterUs * k.rng.NormFloat64())
	}
	period = max(period, plain/2)
	k.due += period
	k.n++
	for _, j := range k.jumps {
		j.move(k)
	}
	return start, period
}

func (j *jump) move(k *metronome) {
	for {
		start, ok := j.times.take(k.due + 1)
		if !ok {
			return
		}
		if j.fault.Kind == "phase-restart" {
			k.due += decode.Time(j.fault.By)
			k.truth.note(j.fault.Kind, start, k.due, float64(j.fault.By)/1e6)
		} else {
			k.due = max(k.due, start+decode.Time(j.fault.For+j.fault.Restart))
		}
	}
}

// widths are what a channel's stick asks for, frame by frame.
type widths struct {
	spec          *Carried
	sticks        []stick
	value, jitter *rand.Rand
	link          *link
	n             int64
	packet        []float64     // values of the last radio packet
	out           []decode.Time // reused
}

func (s *Scenario) widths(i int, c *Carried) *widths {
	name := s.Channels[i].Name
	g := &widths{spec: c, value: s.chance(name, "value"), jitter: s.chance(name, "width"), link: s.link(c)}
	at := []float64{c.WidthUs}
	switch c.Kind {
	case "pulse-position":
		at = c.SlotsUs
	case "duty":
		f, _ := s.frames(c, name)
		at = []float64{float64(f.least()) * c.DutyPercent / 100e6}
	}
	for slot, width := range at {
		st := stick{from: width, hand: newHeld(c.Hand, s.chance(name, "hand", int64(slot)))}
		for j := range c.Moves {
			if m := &c.Moves[j]; max(m.Slot, 1) == int64(slot+1) {
				st.moves = append(st.moves, m)
			}
		}
		g.sticks = append(g.sticks, st)
	}
	g.packet = make([]float64, len(at))
	g.out = make([]decode.Time, len(at))
	return g
}

// next returns the widths of a frame that starts at t, valid until the next call.
func (g *widths) next(t decode.Time) []decode.Time {
	fresh := g.n%max(g.spec.RepeatFrames, 1) == 0 && (g.n == 0 || !g.link.lost(t))
	g.n++
	for i := range g.sticks {
		if fresh {
			v := g.sticks[i].at(t)
			if g.spec.ValueJitterUs != 0 {
				v += float64(g.spec.ValueJitterUs * g.value.NormFloat64())
			}
			if g.spec.StepUs != 0 {
				v = math.Round(v/g.spec.StepUs) * g.spec.StepUs
			}
			g.packet[i] = v
		}
		v := g.packet[i]
		if g.link.presets(t) {
			v = g.link.does.WidthUs
		}
		if g.spec.JitterUs != 0 {
			v += float64(g.spec.JitterUs * g.jitter.NormFloat64())
		}
		g.out[i] = max(micros(v), 0)
	}
	return g.out
}

// stick is where one stick stands over time.
type stick struct {
	from  float64 // where the current move began
	now   *Move   // the current move, nil before the first
	moves []*Move // still to come
	hand  *held
}

func (s *stick) at(t decode.Time) float64 {
	for len(s.moves) > 0 && t >= decode.Time(s.moves[0].At) {
		s.from = s.now.from(s.from, decode.Time(s.moves[0].At)) + s.hand.strayed(decode.Time(s.moves[0].At))
		s.now, s.moves = s.hand.takes(s.moves[0], s.from), s.moves[1:]
	}
	return s.now.from(s.from, t) + s.hand.off(t)
}

// from returns the width at t of a move that began at width w.
func (m *Move) from(w float64, t decode.Time) float64 {
	if m == nil {
		return w
	}
	spent := float64(t-decode.Time(m.At)) / 1e12
	if m.SweepUs != 0 {
		if m.For != 0 && t >= decode.Time(m.At+m.For) {
			return w
		}
		return w + float64(m.SweepUs*wave(m.Shape, spent/(float64(m.Every)/1e12)))
	}
	way := m.WidthUs - w
	if m.Rate == 0 || spent >= math.Abs(way)/m.Rate {
		return m.WidthUs
	}
	return w + float64(way*ease(m.Shape, spent*m.Rate/math.Abs(way)))
}

// wave goes from 0 to 1, through 0 to -1 and back, once in each unit of x.
func wave(shape string, x float64) float64 {
	x -= math.Floor(x)
	if shape != "triangle" {
		return math.Sin(2 * math.Pi * x)
	}
	switch {
	case x < 0.25:
		return 4 * x
	case x < 0.75:
		return 2 - 4*x
	}
	return 4*x - 4
}

// ease goes from 0 to 1 as u does.
func ease(shape string, u float64) float64 {
	switch shape {
	case "smooth":
		return u * u * (3 - 2*u)
	case "expo":
		return math.Expm1(3*u) / math.Expm1(3)
	}
	return u
}

// framed puts a pulse, or the markers of a pulse-position stream, on the wire
// in every frame.
type framed struct {
	metronome *metronome
	own       *widths
	before    []*widths // of the pulses that come first in the frame
	lead      decode.Time
	marker    decode.Time // 0: a single pulse
	shaping   []*frameFault
	marking   []*frameFault
	from, to  decode.Time
	margin    decode.Time
	pace      float64
	sent      []decode.Time // widths of the last frame sent
}

// frame is one frame on its way to the wire.
type frame struct {
	start   decode.Time // of the first pulse
	widths  []decode.Time
	dropped bool
}

func (s *Scenario) framed(i int, c *Carried, from, to decode.Time, w *mixer) *framed {
	g := &framed{
		metronome: s.metronome(i, c, from, w.truth), own: s.widths(i, c), lead: decode.Time(c.Offset),
		marker: micros(c.MarkerUs), from: from, to: to,
	}
	for at := c; at.After != ""; {
		j := s.channel(at.After)
		at = &s.Channels[j].Carried
		g.before = append(g.before, s.widths(j, at))
		g.lead += decode.Time(at.Offset)
	}
	events := 2 + 2*len(c.SlotsUs)
	for _, f := range w.frameFaults {
		if f.marks() {
			g.marking = append(g.marking, f)
			events += 2 * int(max(f.Train, 1))
		} else {
			g.shaping = append(g.shaping, f)
		}
		g.margin = max(g.margin, micros(max(-f.OffsetUs, 0)+f.ScatterUs))
	}
	g.pace = float64(events) * 1e12 / float64(g.metronome.spec.least())
	return g
}

func (g *framed) fill(w *mixer, until decode.Time) {
	for g.metronome.due < min(until, g.to) {
		g.frame(w)
	}
}

func (g *framed) frame(w *mixer) {
	start, _ := g.metronome.next()
	fr := frame{start: start + g.lead, widths: g.own.next(start), dropped: g.own.link.stops(start)}
	for _, b := range g.before {
		fr.start += b.next(start)[0]
	}
	due := fr.start
	for _, f := range g.shaping {
		if f.hit(due) {
			f.shape(&fr, g)
			if !oneOf(f.Kind, "boot-noise", "serial-text") { // noted as one stretch
				f.note(w, due, fr.end(g.marker))
			}
		}
	}
	g.send(w, &fr)
	for _, f := range g.marking {
		if f.hit(due) {
			f.mark(w, &fr)
		}
	}
}

// end is where the last pulse of the frame ends.
func (fr *frame) end(marker decode.Time) decode.Time {
	end := fr.start + marker
	for _, width := range fr.widths {
		end += width
	}
	return end
}

func (g *framed) send(w *mixer, fr *frame) {
	fate := Sent
	if fr.dropped {
		fate = Missing
	} else {
		g.sent = append(g.sent[:0], fr.widths...)
	}
	if g.marker == 0 {
		g.pulse(w, TruePulse{Start: fr.start, Width: fr.widths[0], Fate: fate})
		return
	}
	at := fr.start
	for i, width := range fr.widths {
		g.pulse(w, TruePulse{Start: at, Width: g.marker, Fate: fate, Slot: i + 1})
		at += width
	}
	g.pulse(w, TruePulse{Start: at, Width: g.marker, Fate: fate})
}

func (g *framed) pulse(w *mixer, p TruePulse) {
	if p.Start >= g.to || p.Width == 0 {
		return
	}
	if p.Fate == Sent {
		w.add(opPulse, p.Start, min(p.Start+p.Width, g.to))
	}
	if w.truth != nil {
		w.truth.Pulses = append(w.truth.Pulses, p)
	}
}

// serial sends bytes: a start bit, eight bits with the least first, a stop bit.
type serial struct {
	rng    *rand.Rand
	bit    float64 // picoseconds
	text   string
	sent   int64
	burst  int64
	gap    decode.Time
	at, to decode.Time
}

func newSerial(rng *rand.Rand, bitUs float64, text string, burst int64, gap, from, to decode.Time) *serial {
	if burst == 0 {
		burst = 16
	}
	if gap == 0 {
		gap = 5 * decode.Millisecond
	}
	return &serial{rng: rng, bit: bitUs * 1e6, text: text, burst: burst, gap: gap, at: from + gap/2, to: to}
}

func (s *serial) fill(w *mixer, until decode.Time) {
	for s.at < min(until, s.to) {
		s.send(w)
	}
}

func (s *serial) send(w *mixer) {
	b := byte(s.rng.UintN(256))
	if s.text != "" {
		b = s.text[s.sent%int64(len(s.text))]
	}
	s.sent++
	place := func(bit int) decode.Time { return min(s.at+decode.Time(math.Round(float64(bit)*s.bit)), s.to) }
	bits := uint(b)<<1 | 1<<9 // start bit 0, stop bit 1
	for bit := 0; bit < 10; bit++ {
		from := bit
		for bits>>bit&1 == 0 {
			bit++
		}
		w.add(opPulse, place(from), place(bit))
	}
	s.at += decode.Time(math.Round(10 * s.bit))
	if s.sent%s.burst == 0 {
		s.at += decode.Time(s.rng.ExpFloat64() * float64(s.gap))
	}
}

// noise is marks at random.
type noise struct {
	rng         *rand.Rand
	mean, width float64 // picoseconds
	at, to      decode.Time
}

func newNoise(rng *rand.Rand, meanUs, widthUs float64, from, to decode.Time) *noise {
	if widthUs == 0 {
		widthUs = meanUs / 2
	}
	n := &noise{rng: rng, mean: meanUs * 1e6, width: widthUs * 1e6, at: from, to: to}
	n.step()
	return n
}

func (n *noise) step() { n.at += decode.Time(n.rng.ExpFloat64()*n.mean) + 1000 }

func (n *noise) fill(w *mixer, until decode.Time) {
	for n.at < min(until, n.to) {
		w.add(opPulse, n.at, min(n.at+decode.Time(n.rng.Float64()*n.width)+1, n.to))
		n.step()
	}
}

// echo copies another wire in part, as an open input beside it does: some
// pulses whole, some as a spike at the leading edge, some not at all.
type echo struct {
	src      *mixer
	rng      *rand.Rand
	share    float64
	from, to decode.Time
	copying  bool
}

// echoDelay and echoSpike are common practice, no source.
const (
	echoDelay = 300 * decode.Nanosecond
	echoSpike = 800 * decode.Nanosecond
)

func (e *echo) fill(w *mixer, until decode.Time) {
	for _, c := range e.src.advance(until) {
		at := c.At + echoDelay
		switch {
		case c.Level == decode.High && !e.copying && at >= e.from && at < e.to:
			if x := e.rng.Float64(); x < e.share {
				w.push(at, opPulse, 1)
				e.copying = true
			} else if x < (1+e.share)/2 {
				w.add(opPulse, at, at+echoSpike)
			}
		case c.Level != decode.High && e.copying:
			w.push(at, opPulse, -1)
			e.copying = false
		}
	}
}
