package report

import (
	"fmt"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/formats"
)

// Inspect is the document of `inspect`.
type Inspect struct {
	Schema   string `json:"schema"`
	Captures []any  `json:"captures"` // *Inspection, *Unread
}

// Inspection is what is in one file.
type Inspection struct {
	Facts
	Encoding     string     `json:"encoding"`
	Alternatives []string   `json:"alternatives"` // other readings of the dialect, best first
	TimeStep     TimeStep   `json:"time_step"`
	Channels     []*Glance  `json:"channels"`
	Variables    []Variable `json:"variables"` // all that the file declares
}

// TimeStep is the step of the time axis and how it was found.
type TimeStep struct {
	Step Number `json:"step_us"`
	How  string `json:"how"`
	Rows int64  `json:"rows"`
}

// Glance is a channel at a glance.
type Glance struct {
	Name   string  `json:"name"`
	Label  string  `json:"label"`
	Signal string  `json:"signal"`
	About  string  `json:"about"` // the signal with its own figures, in words
	Active Word    `json:"active"`
	Level  Word    `json:"level"` // that a silent channel holds
	Pulses int64   `json:"pulses"`
	Width  *Width  `json:"width_us"`
	Period *Period `json:"period_us"`
	Slots  int     `json:"slots"` // of a pulse-position stream
}

// Shown is a channel's name with its label.
func (g *Glance) Shown() string { return named(g.Name, g.Label) }

// Variable is one thing that the file declares.
type Variable struct {
	Name    string   `json:"name"`
	Path    Word     `json:"path"`
	Kind    string   `json:"kind"`
	Bits    int      `json:"bits"`
	Column  int      `json:"column"` // of a table, from 1; 0 elsewhere
	Aliases []string `json:"aliases"`
	Channel bool     `json:"channel"` // is among the channels
}

// NewInspect starts the document of `inspect`.
func NewInspect() *Inspect {
	return &Inspect{Schema: "widthwise.inspect/1", Captures: []any{}}
}

// Unreadable tells of a file that could not be read.
func (i *Inspect) Unreadable(file, problem string) {
	i.Captures = append(i.Captures, unread(file, problem))
}

// NewInspection gathers what is to be told about a file. Stated says that the
// user gave the sample rate.
func NewInspection(h *formats.Header, a *decode.Analysis, stated bool, labels map[string]string) *Inspection {
	out := &Inspection{
		Facts: newFacts(h, a), Encoding: h.Encoding, Alternatives: append([]string{}, h.Alternatives...),
		TimeStep: TimeStep{Step: Number(a.Resolution), How: stepFound(a, stated), Rows: a.Origin.Rows},
		Channels: []*Glance{}, Variables: []Variable{},
	}
	for _, measured := range a.Channels {
		if measured.Witness {
			continue
		}
		c := newChannel(measured, decode.ChannelJudgement{}, labels)
		out.Channels = append(out.Channels, &Glance{
			Name: c.Name, Label: c.Label, Signal: c.Signal, About: c.KindOf(Number(a.Resolution)), Active: c.Active, Level: c.Level,
			Pulses: c.Pulses, Width: c.Width, Period: c.Period, Slots: len(c.Slots),
		})
	}
	for _, v := range h.Variables {
		out.Variables = append(out.Variables, Variable{
			v.Name, Word(v.Path), v.Kind, v.Width, v.Column, append([]string{}, v.Aliases...), v.Selected,
		})
	}
	return out
}

// Reword passes every sentence through a function, see [Capture.Reword].
func (i *Inspection) Reword(spell func(string) string) {
	i.Facts.Reword(spell)
	i.TimeStep.How = spell(i.TimeStep.How)
}

// stepFound says how the time step was found.
func stepFound(a *decode.Analysis, stated bool) string {
	o := a.Origin
	switch {
	case stated:
		return "stated by option rate"
	case o.Step > 0 && !o.ChangesOnly:
		return fmt.Sprintf("evenly sampled: last stamp less first over %s", phrase.Count(max(o.Rows-1, 1), "step"))
	case !(a.Resolution > 0):
		return "not known from so few changes; option rate states it"
	case o.Unit > 0 && a.Resolution*float64(decode.Microsecond) <= float64(max(o.Unit, o.UnitAtEnd))*1.001:
		return "changes only: the unit the stamps are written in"
	}
	return "changes only: the largest usual sampling step on which all stamps lie"
}
