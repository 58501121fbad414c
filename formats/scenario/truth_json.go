package scenario

import (
	"encoding/json"
	"io"
	"strings"

	"widthwise/decode"
)

// toldTruth is the document that WriteTruth writes: times in seconds, widths in
// microseconds, null where there is none.
type toldTruth struct {
	Schema   string        `json:"schema"`
	Scenario string        `json:"scenario"`
	Off      *seconds      `json:"transmitter_off_s"`
	On       *seconds      `json:"transmitter_on_s"`
	Channels []toldChannel `json:"channels"`
}

type toldChannel struct {
	Name     string      `json:"name"`
	Kind     string      `json:"kind"`
	Failsafe *string     `json:"failsafe"` // of a receiver whose transmitter is switched
	Pulses   int         `json:"pulses"`   // sent whole
	Missing  int         `json:"missing"`
	Altered  int         `json:"altered"`
	Moves    []toldMove  `json:"moves"`
	Faults   []toldFault `json:"faults"`
}

type toldMove struct {
	At    seconds  `json:"at_s"`
	Slot  int64    `json:"slot"` // of a pulse-position stream, else 0
	Width *float64 `json:"width_us"`
	Sweep *float64 `json:"sweep_us"`
}

type toldFault struct {
	Kind  string  `json:"kind"`
	Start seconds `json:"start_s"`
	End   seconds `json:"end_s"`
	Count int64   `json:"count"`
	Size  float64 `json:"size_us"`
}

// seconds are written with all their decimals and no more.
type seconds decode.Time

func (s seconds) MarshalJSON() ([]byte, error) {
	text := strings.TrimRight(decode.Time(s).Seconds(12), "0")
	if strings.HasSuffix(text, ".") {
		text += "0"
	}
	return []byte(text), nil
}

// WriteTruth writes what the scenario puts on its channels as one JSON object,
// for an exercise whose solution is kept apart.
func (s *Scenario) WriteTruth(w io.Writer) error {
	truth, err := s.Truth()
	if err != nil {
		return err
	}
	shift := decode.Time(s.Start)
	out := toldTruth{Schema: "widthwise.truth/1", Scenario: s.Title}
	if t := s.Transmitter; t != nil {
		out.Off = instant(decode.Time(t.Off) + shift)
		if t.On != 0 {
			out.On = instant(decode.Time(t.On) + shift)
		}
	}
	for i := range truth.Channels {
		out.Channels = append(out.Channels, s.tell(i, &truth.Channels[i], shift))
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(out)
}

func instant(t decode.Time) *seconds { s := seconds(t); return &s }

func (s *Scenario) tell(i int, truth *ChannelTruth, shift decode.Time) toldChannel {
	spec := &s.Channels[i]
	out := toldChannel{Name: spec.Name, Kind: spec.Kind, Moves: []toldMove{}, Faults: []toldFault{}}
	if l := s.link(&spec.Carried); l != nil && isFramed(spec.Kind) && spec.Kind != "duty" {
		out.Failsafe = &l.does.Does
	}
	for _, p := range truth.Pulses {
		switch p.Fate {
		case Sent:
			out.Pulses++
		case Missing:
			out.Missing++
		case Altered:
			out.Altered++
		}
	}
	for _, m := range spec.Moves {
		told := toldMove{At: seconds(decode.Time(m.At) + shift), Slot: m.Slot, Width: &m.WidthUs}
		if m.SweepUs != 0 {
			told.Width, told.Sweep = nil, &m.SweepUs
		}
		out.Moves = append(out.Moves, told)
	}
	for _, f := range truth.Faults {
		out.Faults = append(out.Faults, toldFault{f.Kind, seconds(f.Start), seconds(f.End), f.Count, f.Size})
	}
	return out
}
