package vcd

import (
	"fmt"
	"math"
	"strconv"

	"widthwise/decode"
	"widthwise/formats/internal/analog"
	"widthwise/formats/internal/capture"
)

// A real's threshold is looked for over this time from its first change on, or
// over this much of the dump. So long the block does not end.
const (
	lookAhead      = 100 * decode.Millisecond
	lookAheadBytes = 4 << 20
	maxReal        = 1e9 // volts
)

// reals turns the values of reals, in volts, into levels. A value holds
// until the next one, so an edge is the instant of the change that crosses.
type reals struct {
	tracks   []*track
	of       []int32  // the track of a channel
	live     []*track // those that may have a value, each once
	waiting  int      // tracks that keep the block from ending
	waitFrom int64    // where in the text that began
}

// track is one real.
type track struct {
	channel            int32
	threshold, half    float64 // volts; half the hysteresis
	stated, halfStated bool
	decided            bool
	found              bool        // two states were told apart
	samples            []sample    // while it is not decided
	rest               float64     // its first value, NaN before it
	left               bool        // it has another one: the look-ahead has begun
	from, until        decode.Time // which is from here to there
	listed             bool        // is in live
	state              decode.Level
	crossed            bool // the value has crossed, but is within the hysteresis
	crossing           decode.Time
}

// sample is a value, NaN if unknown, that holds until the next one.
type sample struct {
	at    decode.Time
	value float64
}

// newReals prepares the channels that are reals.
func (s *source) newReals(o capture.Options) {
	for i := range s.signals {
		g := &s.signals[i]
		if g.kind != ofReal || g.channel < 0 {
			continue
		}
		if s.reals.of == nil {
			s.reals.of = make([]int32, len(s.channels))
		}
		k := &track{channel: g.channel, threshold: analog.FlatHigh / 1e9, rest: math.NaN()}
		if o.Threshold != nil {
			k.stated, k.threshold = true, float64(*o.Threshold)/1e6
		}
		if o.Hysteresis != nil {
			k.halfStated, k.half = true, float64(*o.Hysteresis)/2e6
		}
		k.decided = k.stated && k.halfStated
		s.reals.of[g.channel] = int32(len(s.reals.tracks))
		s.reals.tracks = append(s.reals.tracks, k)
	}
}

// changeReal gives a real a value.
func (s *source) changeReal(channel int32, value float64) {
	k := s.reals.tracks[s.reals.of[channel]]
	if s.block.wires[channel].muted {
		return
	}
	if !(math.Abs(value) < maxReal) {
		s.remark(remarkReal, "a real that is no number or beyond a billion volts was read as unknown")
		value = math.NaN()
	} else if !k.listed {
		k.listed = true
		s.reals.live = append(s.reals.live, k)
	}
	s.takeReal(k, sample{s.now, value})
}

// beginReals dates the values that came before the first time stamp.
func (s *source) beginReals(at decode.Time) {
	for _, k := range s.reals.tracks {
		for i := range k.samples {
			k.samples[i].at = at
		}
	}
}

func (s *source) takeReal(k *track, v sample) {
	if k.decided || k.left && v.at > k.until && s.decide(k, v.at, false) {
		s.step(k, v)
		return
	}
	switch {
	case math.IsNaN(v.value) || v.value == k.rest:
	case math.IsNaN(k.rest) || s.block.starting:
		k.rest = v.value
	case !k.left:
		k.left, k.from, k.until = true, v.at, v.at+lookAhead
		s.wait(true)
	}
	if n := len(k.samples) - 1; n >= 0 && s.block.starting {
		k.samples[n], k.rest = v, v.value // the last one at the first instant holds
	} else {
		k.samples = append(k.samples, v)
	}
}

// step moves the level of a track on by one value.
func (s *source) step(k *track, v sample) {
	was := k.crossed
	k.crossed = false
	above := v.value >= k.threshold
	switch {
	case math.IsNaN(v.value):
		k.state = decode.Unknown
		s.block.set(k.channel, v.at, decode.Unknown)
	case k.state == decode.Unknown:
		k.state = levelAt(above)
		s.block.set(k.channel, v.at, k.state)
	case above == (k.state == decode.High):
	default:
		if k.crossed = true; !was {
			k.crossing = v.at
		}
		if math.Abs(v.value-k.threshold) >= k.half {
			k.crossed = false
			k.state = k.state.Other()
			s.block.set(k.channel, k.crossing, k.state)
		}
	}
	if k.crossed != was {
		s.wait(k.crossed)
	}
}

// wait counts what keeps the block from ending.
func (s *source) wait(more bool) {
	if !more {
		s.reals.waiting--
		return
	}
	if s.reals.waiting == 0 {
		s.reals.waitFrom = s.tokens.offset()
	}
	s.reals.waiting++
}

func levelAt(above bool) decode.Level {
	if above {
		return decode.High
	}
	return decode.Low
}

// decide finds the threshold of a track in what it has seen up to an instant,
// and lets its levels out. Where two states cannot be told apart the look-ahead
// goes on, twice as long, unless this is the last of it.
func (s *source) decide(k *track, end decode.Time, last bool) bool {
	low, high, ok := states(k.samples, end)
	if !ok && !last {
		k.until = end + max(end-k.from, lookAhead)
		return false
	}
	switch {
	case k.stated:
	case ok:
		k.threshold = low + (high-low)/2
	case k.left:
		s.remark(remarkFlat, "no two voltages stand out in %s, so %s divides low from high; --threshold states another",
			s.channels[k.channel].Name, inVolts(analog.FlatHigh/1e9))
	}
	if !k.halfStated && ok {
		k.half = (high - low) / 20
	}
	k.decided, k.found = true, ok
	if k.left {
		s.wait(false)
	}
	s.release(k)
	k.samples = nil
	return true
}

// release lets the levels of the samples out. A block that has ended may have
// told the first of them otherwise: it is then unknown up to the second.
func (s *source) release(k *track) {
	for i, v := range k.samples {
		told := s.block.wires[k.channel].level
		if i == 0 && told != decode.Unknown && !math.IsNaN(v.value) && told != levelAt(v.value >= k.threshold) {
			v.value = math.NaN()
		}
		s.step(k, v)
	}
}

// states finds the two state levels among values that hold until the next,
// the last one until end: the modes of both halves of a histogram over time
// (IEEE 181).
func states(samples []sample, end decode.Time) (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range samples {
		if !math.IsNaN(v.value) {
			low, high = min(low, v.value), max(high, v.value)
		}
	}
	if !(high > low) {
		return low, high, false
	}
	bottom, width := low, (high-low)/analog.Bins
	var held, sum [analog.Bins]float64
	for i, v := range samples {
		until := end
		if i+1 < len(samples) {
			until = samples[i+1].at
		}
		if !math.IsNaN(v.value) {
			b := min(int((v.value-bottom)/width), analog.Bins-1)
			held[b] += float64(until - v.at)
			sum[b] += float64(until-v.at) * v.value
		}
	}
	low, high = analog.Mode(held[:analog.Bins/2], sum[:analog.Bins/2]), analog.Mode(held[analog.Bins/2:], sum[analog.Bins/2:])
	return low, high, (high-low)*1e9 >= analog.LeastSwing
}

// settle readies the reals for the end of a block: what has looked ahead for
// long enough is decided, and a real that has not moved yet shows a level.
func (s *source) settle() {
	for _, k := range s.reals.tracks {
		switch {
		case k.decided || len(k.samples) == 0:
		case k.left:
			s.decide(k, s.now, true)
		default:
			s.release(k)
			k.samples = append(k.samples[:0], sample{s.now, k.samples[len(k.samples)-1].value})
			k.state = decode.Unknown
		}
		if k.crossed {
			k.crossing = max(k.crossing, s.now)
		}
	}
	s.reals.waitFrom = s.tokens.offset()
}

// finishReals decides what is open at the end of the dump.
func (s *source) finishReals() {
	for _, k := range s.reals.tracks {
		if !k.decided {
			s.decide(k, s.now, true)
		}
	}
}

// blindReals makes every real unknown.
func (s *source) blindReals() {
	for _, k := range s.reals.live {
		s.takeReal(k, sample{s.now, math.NaN()})
		k.listed = false
	}
	s.reals.live = s.reals.live[:0]
}

// realNotes tell how the first few reals were read.
func (s *source) realNotes() (notes []string) {
	const most = 8
	for _, k := range s.reals.tracks {
		if k.found && !(k.stated && k.halfStated) && len(notes) < most {
			notes = append(notes, fmt.Sprintf("%s is analog: threshold %s, hysteresis %s; --threshold and --hysteresis state others",
				s.channels[k.channel].Name, inVolts(k.threshold), inVolts(2*k.half)))
		}
	}
	return notes
}

func inVolts(v float64) string { return strconv.FormatFloat(v, 'g', 5, 64) + " V" }
