package vcd

import (
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/analog"
	"widthwise/formats/internal/capture"
)

// reals turns the values of reals, in volts, into levels. A value holds until
// the next one, so an edge is the instant of the change that crosses.
type reals struct {
	analog.Group
	of map[int32]*analog.Channel // by channel
}

// realSink passes the levels of reals on to the block.
type realSink struct{ *block }

func (s realSink) Set(channel int, l decode.Level, at decode.Time) { s.set(int32(channel), at, l) }
func (s realSink) Level(channel int) decode.Level                  { return s.states[channel].level }

// newReals prepares the channels that are reals.
func (s *source) newReals(o capture.Options) {
	s.reals.of = map[int32]*analog.Channel{}
	for i := range s.signals {
		g := &s.signals[i]
		if g.kind != ofReal || g.channel < 0 {
			continue
		}
		c := analog.New(analog.Settings{Channel: int(g.channel), Name: s.channels[g.channel].Name, Volts: true, Holds: true,
			Threshold: capture.Nanovolts(o.Threshold), Band: capture.Nanovolts(o.Hysteresis)}, realSink{s.block})
		s.reals.of[g.channel] = c
		s.reals.Channels = append(s.reals.Channels, c)
	}
}

// changeReal gives a real a value.
func (s *source) changeReal(channel int32, volts float64) {
	if s.block.states[channel].muted {
		return
	}
	nanovolts := math.RoundToEven(volts * 1e9)
	unknown := !(math.Abs(nanovolts) < analog.Most)
	if unknown {
		s.remark(remarkReal, "a real that is no number or beyond 400 million volts was read as unknown")
		nanovolts = 0
	}
	s.reals.of[channel].Add(s.reading(int64(nanovolts), unknown))
}

// reading is what a real reads from now on.
func (s *source) reading(nanovolts int64, unknown bool) analog.Reading {
	return analog.Reading{At: s.now, Before: s.now, Place: int64(s.now), Text: s.tokens.offset(), Value: nanovolts, Unknown: unknown}
}

// blindReals makes every real unknown.
func (s *source) blindReals() {
	for _, c := range s.reals.Channels {
		c.Add(s.reading(0, true))
	}
}

// beginReals dates the values that came before the first time stamp.
func (s *source) beginReals(at decode.Time) {
	for _, c := range s.reals.Channels {
		c.Date(at, int64(at))
	}
}

// mayEmit tells whether no real holds the block back.
func (s *source) mayEmit() bool {
	return len(s.reals.Channels) == 0 || s.reals.MayEmit(s.now, int64(s.now), s.tokens.offset())
}

// noteReals adds how the reals were read to the notes.
func (s *source) noteReals(notes []decode.Remark) []decode.Remark {
	return append(slices.Clip(notes), s.reals.Notes()...)
}
