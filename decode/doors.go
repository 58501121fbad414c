package decode

import (
	"iter"
	"math"

	"golang.org/x/exp/slices"
)

// Pulse is one accepted pulse.
type Pulse struct {
	Start Time // leading edge
	Width Time
	// Interval is the time since the channel's previous accepted pulse; 0 for
	// its first one and across a stretch of unknown level.
	Interval Time
	Extra    bool // off the frame grid while the grid goes on
	Broken   bool // with a break in it, or beside a rejected part
	StartUp  bool // before the first regular frames
}

// Rejected is a short mark that is no pulse, or a break in one.
type Rejected struct {
	Start, Width Time
	Inside       bool // a break in a pulse
}

// Event is something that happened on a channel, before it is judged. Events of
// one kind are listed up to 1000; what goes beyond is joined into the last.
type Event struct {
	Start, End Time
	Count      int64   // frames, pulses or intervals it speaks of
	Measured   float64 // milliseconds for gaps, losses and stuck marks, microseconds elsewhere, frames for repeats
	Expected   float64 // in the same unit, where something else was due; the period beside a gap or a loss
}

// Pulses yields the channel's accepted pulses in order of time; of a line that is
// no signal of a receiver (duty, irregular, echo) the marks of a pulse's length.
// It yields nothing for a pulse-position stream, whose slots have pulses of their
// own.
func (a *ChannelAnalysis) Pulses() iter.Seq[Pulse] {
	return func(yield func(Pulse) bool) {
		marks, first, extras := a.marks, Time(math.MinInt64), []Event(nil)
		if c := a.decoded(); c != nil && !c.stream {
			marks, extras = c.pulses, c.frames.extras.list
			if c.frames.any {
				first = c.frames.first
			}
		}
		if marks == nil {
			return
		}
		var last Time
		have := false
		r := marks.read()
		for e, ok := r.next(); ok; e, ok = r.next() {
			if e.marks&afterBlind != 0 {
				have = false
			}
			if !e.accepted() {
				continue
			}
			p := Pulse{Start: e.start, Width: e.width, Broken: e.marks&broken != 0, StartUp: e.start < first}
			if have {
				p.Interval = e.start - last
			}
			for len(extras) > 0 && extras[0].Start < e.start {
				extras = extras[1:]
			}
			p.Extra = len(extras) > 0 && extras[0].Start == e.start
			last, have = e.start, true
			if !yield(p) {
				return
			}
		}
	}
}

// Glitches yields the rejected marks and the breaks, up to 65536 of them, on
// irregular lines and echoes too, which are not judged.
func (a *ChannelAnalysis) Glitches() iter.Seq[Rejected] {
	return func(yield func(Rejected) bool) {
		t := a.rejected
		if c := a.decoded(); c != nil && c.pulser != nil {
			t = &c.pulser.glitches
		}
		if t == nil {
			return
		}
		r := t.read()
		for e, ok := r.next(); ok; e, ok = r.next() {
			if !yield(Rejected{e.start, e.width, e.marks&broken != 0}) {
				return
			}
		}
	}
}

// Dropped yields the gaps in which frames are missing.
func (a *ChannelAnalysis) Dropped() iter.Seq[Event] {
	return a.events(func(c *channel) *events { return &c.frames.drops })
}

// Losses yields the signal losses.
func (a *ChannelAnalysis) Losses() iter.Seq[Event] {
	return a.events(func(c *channel) *events { return &c.frames.losses })
}

// StuckMarks yields the marks longer than any pulse.
func (a *ChannelAnalysis) StuckMarks() iter.Seq[Event] {
	return a.events(func(c *channel) *events { return &c.frames.stuckMarks })
}

// ExtraPulses yields the pulses off the frame grid while the grid goes on.
func (a *ChannelAnalysis) ExtraPulses() iter.Seq[Event] {
	return a.events(func(c *channel) *events { return &c.frames.extras })
}

// Spikes yields the widths off both their neighbours.
func (a *ChannelAnalysis) Spikes() iter.Seq[Event] {
	return a.events(func(c *channel) *events { return &c.spikes })
}

func (a *ChannelAnalysis) events(of func(*channel) *events) iter.Seq[Event] {
	return func(yield func(Event) bool) {
		c := a.decoded()
		if c == nil || c.frames == nil {
			return
		}
		for _, e := range of(c).list {
			if !yield(e) {
				return
			}
		}
	}
}

// NoiseScale is the robust standard deviation of the width from frame to frame
// in microseconds; NaN where there are no pulses.
func (a *ChannelAnalysis) NoiseScale() float64 {
	if c := a.decoded(); c != nil && c.scale > 0 {
		return c.scale / float64(Microsecond)
	}
	return math.NaN()
}

// LossAfter is how long a gap has to be to count as a loss; 0 where nothing was
// decoded.
func (a *ChannelAnalysis) LossAfter() Time {
	if c := a.decoded(); c != nil && c.frames != nil {
		return c.frames.lossAfter
	}
	return 0
}

// RestNoise is the noise of the noisiest rest near neutral (1500 us, narrow 760),
// and of the noisiest away from it, as where a hand holds the stick.
func (a *ChannelAnalysis) RestNoise() (near, away float64) {
	neutral := 1500.0
	if c := a.decoded(); c != nil && c.narrow {
		neutral = 760
	}
	for _, r := range a.Rests {
		if math.Abs(r.Width-neutral) > 60 {
			away = max(away, r.RMS)
		} else {
			near = max(near, r.RMS)
		}
	}
	return near, away
}

// decoded is what the figures come from, or the pulses of a channel that was
// asked for and carries something else; nil where nothing was decoded.
func (a *ChannelAnalysis) decoded() *channel {
	if a.channel != nil {
		return a.channel
	}
	return a.asked
}

// Measured lists the servo channels and the slots of pulse-position streams.
func (a *Analysis) Measured() []*ChannelAnalysis {
	var all []*ChannelAnalysis
	for _, c := range a.measured() {
		if !c.stream {
			all = append(all, c.ChannelAnalysis)
		}
	}
	return slices.Clip(all)
}
