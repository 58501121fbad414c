package scenario

import (
	"cmp"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// Truth is what a scenario puts on its channels, before anything samples it.
type Truth struct{ Channels []ChannelTruth }

// ChannelTruth is what was put on one channel, in order of time. Times are as
// stamped in the capture, but not rounded to its samples.
type ChannelTruth struct {
	Name   string
	Pulses []TruePulse
	Faults []InjectedFault
	cuts   []cut
}

// TruePulse is a pulse of a frame: of a servo or duty channel, or a marker of a
// pulse-position stream. Start and Width are as sent, after faults of the frame
// such as a spike or a late frame. Pulses of serial, echo and noise channels
// and of faults are not listed.
type TruePulse struct {
	Start, Width decode.Time
	Fate         Fate
	Slot         int // of a stream: the slot that begins with this marker, counted from 1; 0 at the last
}

// Fate is what became of a pulse on its way to the capture.
type Fate uint8

// Fates of a pulse.
const (
	Sent    Fate = iota // on the wire as it should be
	Missing             // not on the wire at all; Start is when it was due
	Altered             // a fault of the wire touches or breaks it
	Cut                 // by an end of the capture
)

// InjectedFault is one run or stretch of a fault of the scenario, or a change
// of period (kind "period-change"). Count is frames, marks or 1; Size is in
// microseconds: the width, shift or deviation stated, else how long it lasts.
// Samples left out (uneven-time) are no fault of a channel.
type InjectedFault struct {
	Kind       string
	Start, End decode.Time
	Count      int64
	Size       float64
}

// cut is a stretch of a wire that a fault changed.
type cut struct {
	from, to decode.Time
	whole    bool // nothing of a pulse within it is left
}

// note adds a fault and returns its index. A nil truth notes nothing.
func (t *ChannelTruth) note(kind string, from, to decode.Time, size float64) int {
	if t == nil {
		return 0
	}
	t.Faults = append(t.Faults, InjectedFault{kind, from, to, 1, size})
	return len(t.Faults) - 1
}

// touch notes that a stretch of the wire is changed.
func (t *ChannelTruth) touch(o op, from, to decode.Time) {
	if t != nil {
		t.cuts = append(t.cuts, cut{from, to, o != opPulse && o != opFlip})
	}
}

// Truth returns every pulse of every frame and every fault that befell it. It
// takes memory for all of them: some 32 bytes a pulse.
func (s *Scenario) Truth() (*Truth, error) {
	if bad := s.check(); bad != nil {
		return nil, bad
	}
	src, err := s.source(capture.Options{})
	if err != nil {
		return nil, err
	}
	t := &Truth{Channels: make([]ChannelTruth, len(s.Channels))}
	for i := range t.Channels {
		c := &t.Channels[i]
		c.Name = s.Channels[i].Name
		w := s.mixer(i, c, true)
		for done := decode.Time(0); done <= src.length; {
			done = min(done+src.window, src.length+1)
			w.advance(done)
			if done > src.length {
				break
			}
		}
		c.settle(src.length, src.shift)
	}
	return t, nil
}

// settle sorts what was noted, decides the fate of each pulse and leaves out
// what lies behind the end.
func (t *ChannelTruth) settle(length, shift decode.Time) {
	slices.SortStableFunc(t.Pulses, func(a, b TruePulse) int { return cmp.Compare(a.Start, b.Start) })
	slices.SortStableFunc(t.Faults, func(a, b InjectedFault) int { return cmp.Compare(a.Start, b.Start) })
	slices.SortFunc(t.cuts, func(a, b cut) int { return cmp.Compare(a.from, b.from) })
	t.Pulses = slices.DeleteFunc(t.Pulses, func(p TruePulse) bool { return p.Start > length })
	t.Faults = slices.DeleteFunc(t.Faults, func(f InjectedFault) bool { return f.Start > length })
	var open []cut
	next := 0
	for i := range t.Pulses {
		p := &t.Pulses[i]
		end := p.Start + p.Width
		for ; next < len(t.cuts) && t.cuts[next].from <= end; next++ {
			open = append(open, t.cuts[next])
		}
		open = slices.DeleteFunc(open, func(c cut) bool { return c.to < p.Start })
		if p.Fate == Sent {
			p.decide(open, length)
		}
		p.Start += shift
	}
	for i := range t.Faults {
		t.Faults[i].Start += shift
		t.Faults[i].End = min(t.Faults[i].End, length) + shift
	}
	t.cuts = nil
}

// decide finds out what the cuts near p, or the capture's end, did to it.
func (p *TruePulse) decide(cuts []cut, length decode.Time) {
	end := p.Start + p.Width
	if end > length || p.Start == 0 {
		p.Fate = Cut
	}
	for _, c := range cuts {
		switch {
		case c.from > end || c.to < p.Start:
		case c.whole && c.from <= p.Start && c.to >= end:
			p.Fate = Missing
			return
		default:
			p.Fate = Altered
		}
	}
}
