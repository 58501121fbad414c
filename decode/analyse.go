package decode

import (
	"fmt"
	"maps"
	"math"
	"sync"

	"golang.org/x/exp/slices"
)

// channel is one train under analysis: a servo channel or a slot of a
// pulse-position stream.
type channel struct {
	*ChannelAnalysis
	rec    *Recording
	pulses *train
	pulser *pulser // nil for a slot

	step      float64 // time step in picoseconds, 0 where unknown
	usual     [2]Time // widths that say something about rests
	scale     float64 // noise of the width, picoseconds
	reference Time
	narrow    bool
	frames    *frames
	spikes    events
	repeats   events
	frozen    events
	lateStart bool
	stream    bool  // frames of a pulse-position stream
	slot      bool  // one of its slots
	markers   int64 // of the stream
}

// minPulses is how many pulses make a servo channel of one nobody named.
const minPulses = 5

// Analyse measures the recording.
func (r *Recording) Analyse() *Analysis {
	a := &Analysis{Start: r.start, End: r.end, Origin: r.origin, Resolution: math.NaN()}
	if r.resolution > 0 {
		a.Resolution = r.resolution / float64(Microsecond)
	}
	a.Notes = append(a.Notes, r.origin.Notes...)
	for _, w := range r.channels {
		a.Channels = append(a.Channels, r.identify(a, w))
	}
	a.timeFrames()
	a.boundCapture()
	a.placeInFrame()
	a.Notes = append(a.Notes, r.unitHints(a)...)
	// Channels are independent from here on, so that cores change nothing.
	var all sync.WaitGroup
	for _, c := range a.measured() {
		all.Go(c.measure)
	}
	for _, ca := range a.Channels {
		if c := ca.asked; c != nil {
			c.walkFrames(findRhythm(c.pulses, c.Stated.Period, Time(c.step)))
			all.Go(c.measure)
		}
	}
	all.Wait()
	a.Notes = append(a.Notes, a.limitations()...)
	return a
}

// limitations says what this capture cannot tell.
func (a *Analysis) limitations() []string {
	var out []string
	servos := a.servos()
	if o := a.Origin; o.ChangesOnly && !o.EndStated && len(servos) > 0 {
		out = append(out, "the capture lists changes only and ends at its last one: a loss on all channels at its end cannot be seen")
	}
	for _, c := range servos {
		if stated := c.Stated.LossAfter; stated > 0 && stated < c.frames.lossAfter {
			out = append(out, fmt.Sprintf("%s: a loss time of %s s is hardly longer than its frames of %s s; %s s is used", c.Name,
				stated.Seconds(3), c.frames.rhythm.period.Seconds(3), c.frames.lossAfter.Seconds(3)))
		}
		if c.narrow && c.frames.rhythm.period < shortestPeriod {
			out = append(out, fmt.Sprintf("%s: narrow servo pulses at %.0f Hz cannot be told from a motor drive at that rate", c.Name, float64(Second)/float64(c.frames.rhythm.period)))
		}
	}
	return out
}

// identify names the kind of a channel and chooses its active level.
func (r *Recording) identify(a *Analysis, w *channelState) *ChannelAnalysis {
	nan := math.NaN()
	ca := &ChannelAnalysis{Name: w.name, Named: w.named, Witness: w.witness, Stated: w.stated, Signal: Silent, Level: w.level, Offset: nan, RateHz: nan, DutyLow: nan, DutyHigh: nan, BitTime: nan}
	e := w.stated
	if w.edges == 0 {
		if w.named || e.Signal == Servo || e.Signal == PulsePosition {
			ca.LossCount, ca.LostTime = 1, r.end-r.start // a loss over the whole capture
		}
		return ca
	}
	ca.Signal = w.mostly()
	p, doubt := w.polarity()
	asked := w.named || e.Signal == Servo
	if ca.Signal == Servo && p.accepted < minPulses && !asked {
		ca.Signal = Irregular
	}
	if asked && ca.Signal == Irregular && p.accepted < minPulses {
		ca.Signal = Servo
	}
	for _, s := range w.spans {
		if s.Signal != ca.Signal && !(ca.Signal == Irregular && s.Signal == Servo) && !(ca.Signal == Echo && s.Signal == Servo) && !(ca.Signal == Servo && (s.Signal == Irregular || s.Signal == Duty)) {
			ca.OtherKinds = append(ca.OtherKinds, s)
		}
	}
	switch ca.Signal {
	case Servo:
		ca.Active = p.active
		if doubt {
			a.Notes = append(a.Notes, fmt.Sprintf("%s: both levels could be the pulse; %s is taken as active; --active says otherwise", w.name, p.active))
		}
		ca.channel = &channel{ChannelAnalysis: ca, rec: r, pulses: &p.train, pulser: p, step: r.resolution}
	case PulsePosition:
		ca.Active = w.marked
		r.splitStream(a, ca, w)
	case Irregular, Duty, Echo:
		if asked {
			ca.asked = &channel{ChannelAnalysis: ca, rec: r, pulses: &p.train, pulser: p, step: r.resolution}
		}
	}
	switch ca.Signal {
	case Serial:
		ca.BitTime = quantile(slices.Clone(w.bits), 0.5) / float64(Microsecond)
	case Duty:
		ca.RateHz = float64(Second) / quantile(slices.Clone(w.rates), 0.5)
		ca.DutyLow, ca.DutyHigh = w.dutyMin, w.dutyMax
	}
	return ca
}

// mostly returns the kind of most seconds that are not silent.
func (w *channelState) mostly() Signal {
	seconds := maps.Clone(w.seconds)
	if seconds[Echo] > 0 {
		seconds[Echo] += w.perhapsEcho
		seconds[Servo] -= w.perhapsEcho
	}
	best := Irregular
	for _, k := range []Signal{Echo, Serial, PulsePosition, Servo, Duty, Irregular} {
		if seconds[k] > seconds[best] {
			best = k
		}
	}
	return best
}

// polarity chooses the active level: the one with at least 90 % of its marks
// from 300 to 3000 us; of two, the one whose leading edges are the steadier,
// then the shorter, then high, in doubt.
func (w *channelState) polarity() (p *pulser, doubt bool) {
	switch w.stated.Active {
	case High:
		return w.high, false
	case Low:
		return w.low, false
	}
	fits := func(p *pulser) bool { return p.accepted > 0 && p.accepted*10 >= (p.accepted+p.stuck)*9 }
	h, l := fits(w.high), fits(w.low)
	switch {
	case h && !l:
		return w.high, false
	case l && !h:
		return w.low, false
	case !h && !l:
		if w.low.accepted > w.high.accepted {
			return w.low, false
		}
		return w.high, false
	}
	hs, ls := w.high.train.steadiness(), w.low.train.steadiness()
	if hs*2 < ls || ls*2 < hs {
		if ls < hs {
			return w.low, false
		}
		return w.high, false
	}
	hw, lw := w.high.train.typicalWidth(), w.low.train.typicalWidth()
	switch {
	case within(hw, lw, 5):
		return w.high, true
	case lw < hw:
		return w.low, true
	}
	return w.high, true
}

// steadiness is the median change from one interval to the next.
func (t *train) steadiness() float64 {
	var changes []Time
	var last Time
	t.intervals(func(d Time, joined bool) {
		if joined && len(changes) < scaleFrom {
			changes = append(changes, absDiff(d, last))
		}
		last = d
	})
	if len(changes) == 0 {
		return 0
	}
	return quantile(changes, 0.5)
}

func (t *train) typicalWidth() Time {
	var widths []Time
	r := t.read()
	for e, ok := r.next(); ok && len(widths) < scaleFrom; e, ok = r.next() {
		if e.accepted() {
			widths = append(widths, e.width)
		}
	}
	if len(widths) == 0 {
		return 0
	}
	return Time(quantile(widths, 0.5))
}

// measured lists the trains under analysis, slots included.
func (a *Analysis) measured() []*channel {
	var all []*channel
	for _, ca := range a.Channels {
		if ca.channel != nil {
			all = append(all, ca.channel)
		}
		for _, s := range ca.Slots {
			all = append(all, s.channel)
		}
	}
	return all
}

// servos lists the servo channels.
func (a *Analysis) servos() []*channel {
	return slices.DeleteFunc(a.measured(), func(c *channel) bool { return c.stream || c.slot })
}

// timeFrames finds each channel's rhythm and walks its frames. Whether frames
// follow the sum of the widths takes all channels.
func (a *Analysis) timeFrames() {
	for _, c := range a.measured() {
		if c.stream || c.slot {
			c.walkFrames(findRhythm(c.pulses, c.Stated.Period, Time(c.step)))
		}
	}
	all := a.servos()
	rhythms := make([]rhythm, len(all))
	for i, c := range all {
		rhythms[i] = findRhythm(c.pulses, c.Stated.Period, Time(c.step))
	}
	for i, c := range all {
		if rhythms[i].pattern != Alternating && followsWidths(c, all, rhythms[i].period) {
			rhythms[i].pattern = WidthTimed
		}
		c.walkFrames(rhythms[i])
	}
}

func (c *channel) walkFrames(y rhythm) {
	lossAfter := c.Stated.LossAfter
	if lossAfter == 0 {
		lossAfter = max(110*Millisecond, y.period*7/2)
	}
	lossAfter = max(lossAfter, y.period*3/2) // see doubts
	c.frames = walk(c.pulses, y, lossAfter, oddPercent, c.rec.batched())
}

// boundCapture looks at what lies before the first frame and after the last:
// a start that all servo channels share is a late start, one channel silent
// while others pulse is a loss; so is a silent tail.
func (a *Analysis) boundCapture() {
	all := slices.DeleteFunc(a.measured(), func(c *channel) bool { return c.slot })
	earliest := a.End
	for _, c := range all {
		if c.frames.any {
			earliest = min(earliest, c.frames.first)
		}
	}
	for _, c := range all {
		c.boundHead(a, earliest)
		c.boundTail(a)
	}
}

func (c *channel) boundHead(a *Analysis, earliest Time) {
	f := c.frames
	if !f.any {
		if c.Named || c.Stated.Signal == Servo {
			f.losses.add(Event{Start: a.Start, End: a.End, Count: 1, Measured: float64(a.End-a.Start) / float64(Millisecond)})
		}
		return
	}
	if f.first-a.Start <= f.lossAfter || c.headBlind() {
		return
	}
	if f.first-earliest <= f.lossAfter {
		c.lateStart = true
		return
	}
	f.losses.list = append([]Event{{Start: a.Start, End: f.first, Count: 1,
		Measured: float64(f.first-a.Start) / float64(Millisecond)}}, f.losses.list...)
	f.losses.all++
}

// headBlind says whether anything hides the time before the first pulse.
func (c *channel) headBlind() bool {
	r := c.pulses.read()
	e, ok := r.next()
	return ok && e.marks&afterBlind != 0
}

func (c *channel) boundTail(a *Analysis) {
	f := c.frames
	if !f.any || !f.tailKnown || c.pulser != nil && (c.pulser.after || c.pulser.unsure) || a.End-f.lastLife <= f.lossAfter {
		return
	}
	start := f.lastLife + f.rhythm.period
	f.losses.add(Event{Start: start, End: a.End, Count: 1, Measured: float64(a.End-start) / float64(Millisecond)})
}

// measure fills in the figures of one train.
func (c *channel) measure() {
	f := c.frames
	if !c.stream {
		c.summarise()
	}
	c.usual = [2]Time{800 * Microsecond, 2200 * Microsecond}
	if c.narrow {
		c.usual = [2]Time{400 * Microsecond, 1120 * Microsecond}
	}
	c.ChannelAnalysis.PulseCount = f.pulses
	c.DroppedCount = f.dropped
	c.FrameCount = f.frames + f.dropped
	c.LossCount = f.losses.all
	for _, l := range f.losses.list {
		c.LostTime += l.End - l.Start
	}
	if c.pulser != nil {
		c.GlitchCount = c.countGlitches()
	}
	if f.pulses == 0 {
		return
	}
	c.Period = c.period()
	if c.stream {
		c.ChannelAnalysis.PulseCount = c.markers
		c.Jitter = c.jitter(nil)
		return
	}
	c.scale = c.noise()
	rests := c.findRests()
	c.Jitter = c.jitter(rests)
	for i := range rests {
		s := &rests[i]
		c.Rests = append(c.Rests, Rest{Start: s.start, End: s.end, Frames: s.widths.n,
			Width: s.widths.mean() / float64(Microsecond), RMS: s.widths.sd() / float64(Microsecond)})
	}
	for e, off := range c.steady() {
		if off != 0 {
			c.spikes.add(Event{Start: e.start, End: e.start + e.width, Count: 1, Measured: micros(off)})
		}
	}
	c.findRepeats()
	c.findFrozen(rests)
}

// summarise describes the widths of all accepted pulses.
func (c *channel) summarise() {
	all := make([]uint32, 0, c.frames.pulses)
	var m moments
	byTime := c.rec.batched()
	r := c.pulses.read()
	for e, ok := r.next(); ok; e, ok = r.next() {
		if e.accepted() {
			all = append(all, uint32(e.width))
			m.add(int64(e.width))
			byTime.add(e.start, int64(e.width))
		}
	}
	if len(all) == 0 {
		return
	}
	us := float64(Microsecond)
	c.Width = &Summary{N: m.n, Min: Time(m.min), Max: Time(m.max),
		P01: quantile(all, 0.01) / us, Median: quantile(all, 0.5) / us, P99: quantile(all, 0.99) / us,
		Mean: m.mean() / us, SD: m.sd() / us, MeanU95: half95(byTime.jackknife((*moments).mean), c.step)}
	c.reference = Time(c.Width.Median * us)
	c.narrow = c.frames.rhythm.period > 0 && c.frames.rhythm.period < 5*Millisecond && c.Width.Median < 1000 && c.Width.P99 <= 1120
}

func (c *channel) countGlitches() int64 {
	n := c.pulser.glitched
	r := c.pulser.glitches.read()
	for e, ok := r.next(); ok && c.frames.any && e.start < c.frames.first; e, ok = r.next() {
		n--
	}
	return n
}

func (c *channel) period() *Period {
	f := c.frames
	us := float64(Microsecond)
	p := &Period{Nominal: float64(f.rhythm.period) / us, Pattern: f.rhythm.pattern, Others: f.others,
		Recurring: f.rhythm.recurring, DriftPPM: math.NaN(), Residual: math.NaN()}
	if f.rhythm.period == 0 {
		p.Nominal = math.NaN()
	}
	m := &f.intervals
	p.Intervals = Summary{N: m.n, Min: f.rhythm.period + Time(m.min), Max: f.rhythm.period + Time(m.max),
		Mean: p.Nominal + m.mean()/us, SD: m.sd() / us, P01: math.NaN(), P99: math.NaN(),
		MeanU95: half95(f.batched.jackknife((*moments).mean), c.step/float64(max(1, m.n))),
		Median:  c.medianInterval()}
	if slope, residual := f.drift.fit(); f.rhythm.period > 0 {
		seconds := float64(c.rec.end-c.rec.start) / float64(Second)
		p.DriftPPM, p.Residual = slope*seconds/p.Nominal*1e6, residual
	}
	return p
}

// medianInterval is the median of the intervals that the figures are over.
func (c *channel) medianInterval() float64 {
	y := c.frames.rhythm
	if y.period == 0 {
		return math.NaN()
	}
	var m moments
	each := func(yield func(int64)) {
		c.pulses.intervals(func(d Time, _ bool) {
			if y.regular(d) {
				yield(int64(d))
			}
		})
	}
	each(m.add)
	return quantileOf(each, m.n, m.min, m.max, 0.5) / float64(Microsecond)
}
