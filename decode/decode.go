package decode

import (
	"context"
	"errors"
	"io"
	"math"

	"golang.org/x/exp/slices"
)

// Settings steer the first pass. The zero value takes the whole capture.
type Settings struct {
	From, To *Time // instants to cut the capture at
	Stated   PerChannel[Stated]
}

// Recording is what one pass over a capture keeps. It grows with the pulses of
// the capture and not with its length or its noise.
type Recording struct {
	channels   []*channelState
	start, end Time
	origin     Origin
	resolution float64 // picoseconds; 0 where unknown
}

// channelState is what is kept of one channel.
type channelState struct {
	place   int // among the channels
	name    string
	named   bool
	witness bool
	stated  Stated

	input
	output
	kinds
	sec     second
	kind    secondKind // of the second that closes
	touched bool
}

// input is what a channel's level does.
type input struct {
	level   Level // now
	since   Time
	open    open // openStart where since is no edge
	edges   int64
	lengths [3]Time   // of the last stretch at each level
	early   [3][]Time // of the first stretches at each level
}

// output is what is made of a channel's stretches.
type output struct {
	below      Time    // pulses shorter than this are glitches
	high, low  *pulser // servo pulses, either polarity; nil where nothing moved
	foreignEnd Time    // end of the last stretch of another kind
	markers    train   // of a pulse-position stream
	marked     Level   // their level
	markBlind  bool    // nothing is known of the time before the next one
}

// kinds are what a channel's seconds were.
type kinds struct {
	seconds map[Signal]int64
	echoOf  string     // the channel whose edges it copied last
	servoAt Level      // the level of the last servo pulses; Unknown before any
	servo   int64      // seconds of enough of them
	spans   []KindSpan // seconds of one kind joined; silent ones left out
	others  []KindSpan // signals that took the place of servo pulses
	bits    []Time     // bit times, one a serial second (capped)
	rates   []Time     // intervals, one a duty second (capped)
	dutyMin float64
	dutyMax float64
}

// Decode passes once over s. An error of the source ends it and is returned
// as it is.
func Decode(ctx context.Context, s Source, o Settings) (*Recording, error) {
	if o.From != nil || o.To != nil {
		s = Between(s, o.From, o.To)
	}
	d := &decoder{rec: &Recording{}}
	for i, c := range s.Channels() {
		w := &channelState{place: i, name: c.Name, named: c.Named, witness: c.Witness, stated: o.Stated.For(c.Name)}
		w.dutyMin, w.foreignEnd = 1, math.MinInt64
		if w.below = w.stated.GlitchBelow; w.below == 0 {
			w.below = shortest
		}
		d.rec.channels = append(d.rec.channels, w)
		s.Want(i, CountsWhenBusy)
	}
	d.runs = make([][]Run, len(d.rec.channels))
	d.counts = make([][]Count, len(d.rec.channels))
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		b, err := s.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		d.begin(b.Facts)
		d.block(b)
	}
	origin := s.Origin()
	d.begin(Facts{origin.Start, origin.Unit})
	d.finish(origin)
	return d.rec, nil
}

// decoder is the state of the one pass.
type decoder struct {
	rec      *Recording
	begun    bool
	from     Time
	now      Time // start of the second that is being filled
	touched  []*channelState
	scratch  Tally
	runs     [][]Run // of the block, by channel
	counts   [][]Count
	involved []int
	grid     sampleGrid
}

// begin starts the first second, once.
func (d *decoder) begin(f Facts) {
	if d.begun {
		return
	}
	d.begun, d.grid.unit = true, f.Unit
	d.from, d.now, d.rec.start = f.Start, f.Start, f.Start
	for _, w := range d.rec.channels {
		w.since, w.open = d.from, openStart
	}
}

// block deals out a block's edges second by second.
func (d *decoder) block(b *Block) {
	d.involved = d.involved[:0]
	for _, r := range b.Runs {
		if len(d.runs[r.Channel]) == 0 && len(d.counts[r.Channel]) == 0 {
			d.involved = append(d.involved, r.Channel)
		}
		d.runs[r.Channel] = append(d.runs[r.Channel], r)
	}
	for _, c := range b.Counts {
		if len(d.runs[c.Channel]) == 0 && len(d.counts[c.Channel]) == 0 {
			d.involved = append(d.involved, c.Channel)
		}
		d.counts[c.Channel] = append(d.counts[c.Channel], c)
	}
	for {
		next, any := Time(0), false
		for _, i := range d.involved {
			if t, ok := d.deal(i, d.now+Second); ok && (!any || t < next) {
				next, any = t, true
			}
		}
		if any {
			d.closeSecond()
			d.now += (next - d.now) / Second * Second
			continue
		}
		if b.Until >= d.now+Second {
			d.closeSecond()
			d.now += (b.Until - d.now) / Second * Second
		}
		break
	}
	for _, i := range d.involved {
		d.runs[i], d.counts[i] = d.runs[i][:0], d.counts[i][:0]
	}
}

// deal hands channel i its edges before end and returns the instant of the
// first one left.
func (d *decoder) deal(i int, end Time) (next Time, left bool) {
	w := d.rec.channels[i]
	for len(d.runs[i]) > 0 || len(d.counts[i]) > 0 {
		if len(d.runs[i]) == 0 || len(d.counts[i]) > 0 && d.counts[i][0].Tally.firstAt < d.runs[i][0].At[0] {
			c := d.counts[i][0]
			if c.Tally.firstAt >= end {
				return c.Tally.firstAt, true
			}
			d.touch(w)
			w.count(c.Tally)
			d.counts[i] = d.counts[i][1:]
			continue
		}
		r := &d.runs[i][0]
		if r.First == Unknown {
			r.At = r.At[:min(1, len(r.At))]
		}
		k := 0
		for k+8 < len(r.At) && r.At[k+7] < end {
			k += 8
		}
		for k < len(r.At) && r.At[k] < end {
			k++
		}
		if w.changes(r.First, r.At[:k], d.from) {
			d.touch(w)
		}
		if k < len(r.At) {
			if k%2 == 1 {
				r.First = r.First.Other()
			}
			r.At = r.At[k:]
			return r.At[0], true
		}
		d.runs[i] = d.runs[i][1:]
	}
	return 0, false
}

func (d *decoder) touch(w *channelState) {
	if !w.touched {
		w.touched = true
		d.touched = append(d.touched, w)
	}
}

// changes takes a run of levels, the first of them the given one, and reports
// whether any was a change.
func (w *channelState) changes(to Level, at []Time, from Time) (any bool) {
	for len(at) > 0 {
		if n := w.alternate(to, at, from); n > 0 {
			any = true
			if at = at[n:]; n%2 == 1 {
				to = to.Other()
			}
			continue
		}
		any = w.change(to, at[0], from) || any
		at, to = at[1:], to.Other()
	}
	return any
}

// alternate takes as many changes of a run as there is nothing special to, and
// returns how many: change would come to the same by a longer way.
func (w *channelState) alternate(to Level, at []Time, from Time) int {
	s := &w.sec
	if plain || w.level == Unknown || to != w.level.Other() || at[0] <= from || w.open != 0 ||
		len(w.early[Low]) < hintLengths || len(w.early[High]) < hintLengths {
		return 0
	}
	switch {
	case s.busy:
		s.tally.AddRun(to, at)
	case s.tally == nil:
		at = at[:min(len(at), max(0, gathered-s.size()))]
		s.alternate(toggles{level: w.level, start: w.since, ends: at})
	default:
		return 0 // it may become busy at any of them
	}
	n := len(at)
	if n > 0 {
		w.since = at[n-1]
		w.edges += int64(n)
	}
	if n%2 == 1 {
		w.level = w.level.Other()
	}
	return n
}

// change takes the level that the channel has from t on and reports whether
// that was a change.
func (w *channelState) change(to Level, t, from Time) bool {
	if to == w.level {
		return false
	}
	if t <= from {
		w.level = to // the level the capture starts with, not an edge
		return false
	}
	was := w.level
	if w.open == 0 && len(w.early[was]) < hintLengths {
		w.early[was] = append(w.early[was], t-w.since)
	}
	w.keep(stretch{w.since, t, was, w.open})
	w.level, w.since, w.open = to, t, 0
	if to != Unknown && was != Unknown {
		w.edges++
		w.tally(to, t)
	}
	return true
}

// tally counts an edge once there are many in this second.
func (w *channelState) tally(to Level, t Time) {
	s := &w.sec
	switch {
	case s.tally != nil:
		s.tally.Add(to, t)
		if !s.busy && s.tally.Busy() {
			s.goBusy()
		}
	case s.size() > gathered:
		s.tally = &Tally{}
		s.count(s.tally, to)
	}
}

func (w *channelState) keep(s stretch) {
	if !w.sec.busy {
		w.sec.add(s)
	}
}

// count takes edges that a source counted; they alone make the second busy.
func (w *channelState) count(t *Tally) {
	w.edges += t.Edges
	if w.sec.tally == nil {
		before := &Tally{}
		w.sec.count(before, t.firstTo.Other())
		w.sec.tally = before
	}
	w.sec.tally.Merge(t)
	w.sec.goBusy()
	w.level, w.since, w.open = t.lastTo, t.lastAt, 0
}

// closeSecond closes the second: each channel's kind is decided and its stretches go
// where that kind wants them.
func (d *decoder) closeSecond() {
	slices.SortFunc(d.touched, func(a, b *channelState) int { return a.place - b.place })
	for _, w := range d.touched {
		d.stamps(w)
		w.kind = w.sec.classify(&d.scratch, w.level)
		if w.sec.tally == &d.scratch {
			w.sec.tally = nil
		}
	}
	for _, w := range d.touched {
		if o := d.echoed(w); o != nil && w.kind.signal != Silent && w.kind.signal != Serial {
			w.kind.signal, w.echoOf = Echo, o.name
		}
		w.book(&w.kind)
	}
	for _, w := range d.touched {
		w.sec.empty()
		w.touched = false
	}
	d.touched = d.touched[:0]
}

// stamps shows the edges of a second to the search for the sampling grid, those
// of a busy second aside: a source may have counted them.
func (d *decoder) stamps(w *channelState) {
	if w.sec.busy || d.grid.settled {
		return
	}
	for i := range w.sec.size() {
		s := w.sec.stretch(i)
		if !s.whole() || s.level == Unknown {
			continue
		}
		d.grid.add(s.end, absDiff(s.length(), w.lengths[s.level]))
		w.lengths[s.level] = s.length()
	}
}

// echoed returns the channel whose edges another copied in this second, and only
// a part of whose pulses; nil where there is none.
func (d *decoder) echoed(w *channelState) *channelState {
	i := slices.IndexFunc(d.touched, func(o *channelState) bool {
		return o != w && echoes(&w.sec, &o.sec) && !mirrors(&w.sec, &o.sec)
	})
	if i < 0 {
		return nil
	}
	return d.touched[i]
}

// book books a second's kind and feeds the channel's pulsers.
func (w *channelState) book(k *secondKind) {
	if w.high == nil {
		w.seconds = map[Signal]int64{}
		w.high, w.low = &pulser{active: High, below: w.below}, &pulser{active: Low, below: w.below}
	}
	signal, another := w.asServo(k)
	k.signal = signal
	if k.signal != Silent {
		w.seconds[k.signal]++
		w.spans = addKind(w.spans, KindSpan{k.signal, k.start, k.end})
	}
	if another {
		w.others = addKind(w.others, KindSpan{k.signal, k.start, k.end})
	}
	if k.signal == Servo && k.pulses >= fewMarks {
		w.servo++
		w.servoAt = k.active
	}
	w.rate(k)
	w.mark()
	from, n := 0, w.sec.size()
	if another || w.sec.busy || k.signal == PulsePosition || k.signal == Serial {
		for from < n && w.sec.stretch(from).end < k.start {
			from++
		}
		w.feed(0, from)
		for from < n && w.sec.stretch(from).start < k.end {
			from++
		}
		w.skip(k.start, k.end)
	}
	w.feed(from, n)
}

// rate keeps what tells how fast a signal other than servo pulses is.
func (w *channelState) rate(k *secondKind) {
	switch k.signal {
	case Serial:
		if len(w.bits) < maxSpans {
			w.bits = append(w.bits, k.bit)
		}
	case Duty:
		if len(w.rates) < maxSpans {
			w.rates = append(w.rates, k.interval)
		}
		w.dutyMin, w.dutyMax = min(w.dutyMin, k.duty), max(w.dutyMax, k.duty)
	case PulsePosition:
		if w.marked == Unknown {
			w.marked = k.markers
		}
	}
}

// feed gives the stretches from one up to another to the pulsers. What another kind
// of signal left behind is no sign of life.
func (w *channelState) feed(from, to int) {
	for from < to && w.sec.stretch(from).start == w.foreignEnd {
		from++
	}
	for _, p := range []*pulser{w.high, w.low} {
		if len(w.sec.ended) > 0 {
			for i := from; i < to; i++ {
				p.add(&w.sec.ended[i])
			}
		} else if from < to {
			x := w.sec.stretch(from)
			p.addToggles(x.level, x.start, w.sec.toggles.ends[from:to], w.sec.toggles.active)
		}
	}
}

// mark keeps the markers of a pulse-position stream, and marks that no frame can
// hold, once there was one: a second in which the stream changes may look like
// nothing in particular.
func (w *channelState) mark() {
	if w.marked == Unknown && !w.sec.blind {
		return
	}
	for i := range w.sec.size() {
		switch s := w.sec.stretch(i); {
		case s.level == Unknown && s.length() >= gapFinal:
			w.markBlind = true
		case w.marked == Unknown || s.level != w.marked || s.open&openStart != 0:
		case s.length() > longest:
			w.markers.add(entry{s.start, s.length(), stuck | cut})
		case s.whole() && s.length() >= minMarker && s.length() <= maxMarker:
			e := entry{start: s.start, width: s.length()}
			if w.markBlind {
				e.marks, w.markBlind = afterBlind, false
			}
			w.markers.add(e)
		}
	}
}

// skip tells the pulsers that another kind of signal was on the wire.
func (w *channelState) skip(start, end Time) {
	w.foreignEnd = end
	w.high.foreign(start, end)
	w.low.foreign(start, end)
}

// addKind joins what is of one kind in neighbouring seconds.
func addKind(all []KindSpan, s KindSpan) []KindSpan {
	if n := len(all); n > 0 && all[n-1].Signal == s.Signal && s.Start-all[n-1].End < 2*Second || len(all) >= maxSpans {
		all[len(all)-1].End = s.End
		return all
	}
	return append(all, s)
}

// finish closes what is open at the capture's end.
func (d *decoder) finish(o Origin) {
	r := d.rec
	r.origin = o
	r.end = max(o.End, r.start)
	for _, w := range r.channels {
		if w.edges == 0 && w.high == nil && !w.touched {
			continue // it never moved
		}
		d.touch(w)
		w.keep(stretch{w.since, r.end, w.level, w.open | openEnd})
	}
	d.closeSecond()
	for _, w := range r.channels {
		if w.high != nil {
			w.high.release()
			w.low.release()
		}
	}
	r.resolution = o.Step
	if r.resolution == 0 {
		r.resolution = d.grid.step()
	}
}
