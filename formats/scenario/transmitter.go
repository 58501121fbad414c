package scenario

import (
	"fmt"
	"math"
	"math/rand/v2"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
	"widthwise/formats/tomlfile"
)

// Transmitter says when the transmitter is switched off, and on again.
type Transmitter struct {
	Off tomlfile.Duration `toml:"off"`
	On  tomlfile.Duration `toml:"on"` // 0: it stays off
}

// Failsafe is what a receiver does on a channel while the transmitter is off.
// A channel without one holds.
type Failsafe struct {
	Does    string            `toml:"does"`     // "hold", "preset" or "stop"
	After   tomlfile.Duration `toml:"after"`    // it holds that long first
	WidthUs float64           `toml:"width_us"` // of the preset
	Back    tomlfile.Duration `toml:"back"`     // how long after switch-on it follows again
}

// link is the radio link as one channel sees it; nil where nobody switches.
type link struct {
	off, on decode.Time
	does    Failsafe
}

func (s *Scenario) link(c *Carried) *link {
	if s.Transmitter == nil {
		return nil
	}
	l := &link{off: decode.Time(s.Transmitter.Off), on: math.MaxInt64, does: Failsafe{Does: "hold"}}
	if c.Failsafe != nil {
		l.does = *c.Failsafe
	}
	if on := decode.Time(s.Transmitter.On); on > 0 {
		l.on = on + decode.Time(l.does.Back)
	}
	return l
}

// lost reports whether nothing new arrives at t, and acts whether the receiver
// no longer holds then.
func (l *link) lost(t decode.Time) bool { return l != nil && t >= l.off && t < l.on }

func (l *link) acts(t decode.Time) bool { return l.lost(t) && t >= l.off+decode.Time(l.does.After) }

func (l *link) stops(t decode.Time) bool { return l.acts(t) && l.does.Does == "stop" }

func (l *link) presets(t decode.Time) bool { return l.acts(t) && l.does.Does == "preset" }

// mark puts a line on the wire that changes its level when the transmitter is
// switched, with contacts that bounce.
func (s *Scenario) mark(w *mixer, c *Carried, rng *rand.Rand, from, to decode.Time) {
	if s.Transmitter == nil {
		return
	}
	t := s.Transmitter
	on := decode.Time(math.MaxInt64)
	if t.On > 0 {
		on = decode.Time(t.On + c.Offset)
	}
	off := decode.Time(t.Off + c.Offset)
	w.fillers = append(w.fillers, &once{opFlip, max(off, from), min(on, to)})
	for _, at := range []decode.Time{off, on} {
		if at == math.MaxInt64 {
			continue
		}
		for end := at + decode.Time(c.Bounce); c.Bounce > 0 && at < end && end < to; {
			at += decode.Time(float64(c.Bounce) * (0.05 + 0.2*rng.Float64()))
			open := at + decode.Time(float64(c.Bounce)*(0.02+0.1*rng.Float64()))
			w.fillers = append(w.fillers, &once{opFlip, at, open})
			at = open
		}
	}
}

func (s *Scenario) checkTransmitter() *problem {
	t := s.Transmitter
	switch {
	case t == nil:
		return nil
	case t.Off <= 0:
		return &problem{"transmitter.off", "must be above zero", `write off = "12s"`}
	case t.On != 0 && t.On <= t.Off:
		return &problem{"transmitter.on", "is not later than off", "leave it out where the transmitter stays off"}
	}
	return nil
}

func (f *Failsafe) wrong(path string) *problem {
	switch {
	case f == nil:
		return nil
	case !oneOf(f.Does, "hold", "preset", "stop"):
		return &problem{path + ".failsafe.does", fmt.Sprintf("is %q", exact.Shorten(f.Does)), `write "hold", "preset" or "stop"`}
	case (f.Does == "preset") != (f.WidthUs != 0):
		return &problem{path + ".failsafe.width_us", "goes with a preset, and a preset with it", `write { does = "preset", width_us = 1000 }`}
	case f.WidthUs != 0 && !within(f.WidthUs, 1, 1e6):
		return &problem{path + ".failsafe.width_us", "must lie in 1..1000000", ""}
	case f.After < 0 || f.Back < 0 || decode.Time(max(f.After, f.Back)) > longestPause:
		return &problem{path + ".failsafe.after", "and back must lie in 0..1 h", ""}
	}
	return nil
}
