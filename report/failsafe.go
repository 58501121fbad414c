package report

import (
	"math"

	"widthwise/decode"
	"widthwise/decode/failsafe"
	"widthwise/formats"
)

// Failsafe is the document of `failsafe`: one outcome over all captures.
type Failsafe struct {
	Schema   string `json:"schema"`
	Verdict  Word   `json:"verdict"`
	Captures []any  `json:"captures"` // *FailsafeCapture or *Unread
	Safety   string `json:"safety"`
}

// Unread stands for a capture that could not be read. Its lists are empty, so
// that a script goes over them as over those of others.
type Unread struct {
	File     string   `json:"file"`
	Error    string   `json:"error"`
	Verdict  Word     `json:"verdict"` // null
	Notes    []string `json:"notes"`
	Channels []string `json:"channels"`
}

func unread(file, problem string) *Unread {
	return &Unread{File: file, Error: problem, Notes: []string{}, Channels: []string{}}
}

// FailsafeCapture is what one capture shows of a trial with the transmitter
// switched off.
type FailsafeCapture struct {
	Facts
	Off      *Seconds          `json:"off_s"`
	OffFrom  Word              `json:"off_from"`
	On       *Seconds          `json:"on_s"`
	OnFrom   Word              `json:"on_from"`
	Verdict  Word              `json:"verdict"`
	Channels []FailsafeChannel `json:"channels"`
}

// Shown is the channel's name with its label.
func (c *FailsafeChannel) Shown() string { return named(c.Name, c.Label) }

// FailsafeChannel is what one channel does with the transmitter off.
type FailsafeChannel struct {
	Name         string   `json:"name"`
	Label        string   `json:"label"`
	Signal       string   `json:"signal"`
	Verdict      Word     `json:"verdict"`
	Outcome      Word     `json:"outcome"`
	Before       Number   `json:"before_us"`
	Final        Number   `json:"final_us"`
	SettledAfter *Seconds `json:"settled_after_s"`
	Excursion    Span     `json:"excursion_us"`
	States       []State  `json:"states"`
	Safe         []Safe   `json:"safe"`
	Reason       string   `json:"reason"`
	Return       *Return  `json:"return"`
}

// Span is the smallest and the largest width, null where there is none.
type Span []Number

// State is a stretch in which a channel does one thing.
type State struct {
	State string  `json:"state"`
	Start Seconds `json:"start_s"`
	End   Seconds `json:"end_s"`
	Width Number  `json:"width_us"`
}

// Safe is a state a channel may end in.
type Safe struct {
	From string `json:"from"`
	Us   Number `json:"us"`
	Stop bool   `json:"stop"`
}

// Return is what a channel does once the transmitter is back.
type Return struct {
	FirstPulse    *Seconds `json:"first_pulse_s"`
	Jump          Number   `json:"jump_us"`
	StartUpPulses int      `json:"start_up_pulses"`
	Excursion     Span     `json:"excursion_us"`
	LiveAfter     *Seconds `json:"live_after_s"`
}

// TrialSafety comes before any trial in which a machine is under power.
const TrialSafety = "Before every trial: propeller off or drive disconnected, the machine restrained, a second person at the power switch."

// NewFailsafe starts the document of `failsafe`.
func NewFailsafe() *Failsafe {
	return &Failsafe{Schema: "widthwise.failsafe/1", Verdict: Word(decode.Undecided), Captures: []any{}, Safety: TrialSafety + " " + Safety}
}

// Add appends a capture and takes its outcome into the whole.
func (f *Failsafe) Add(c *FailsafeCapture) {
	f.Captures = append(f.Captures, c)
	f.Verdict = whole(f.Verdict, c.Verdict, len(f.Captures))
}

// Unreadable takes a capture into the whole that could not be read: what was
// not seen cannot pass.
func (f *Failsafe) Unreadable(file, problem string) {
	f.Captures = append(f.Captures, unread(file, problem))
	f.Verdict = whole(f.Verdict, Word(decode.Undecided), len(f.Captures))
}

// NewFailsafeCapture gathers what is to be told of one capture.
func NewFailsafeCapture(h *formats.Header, a *decode.Analysis, f *failsafe.Answer, labels map[string]string) *FailsafeCapture {
	c := &FailsafeCapture{Facts: newFacts(h, a), Off: seconds(f.Off), OffFrom: Word(f.OffFrom), On: seconds(f.On), OnFrom: Word(f.OnFrom),
		Verdict: Word(f.Verdict), Channels: []FailsafeChannel{}}
	c.note(f.Notes)
	for _, ch := range f.Channels {
		told := FailsafeChannel{Name: ch.Name, Label: labels[ch.Name], Signal: string(ch.Signal), Verdict: Word(ch.Verdict), Outcome: Word(ch.Outcome),
			Before: Number(ch.Before), Final: Number(ch.Final), SettledAfter: seconds(ch.SettledAfter), Excursion: span(ch.Excursion),
			States: []State{}, Safe: []Safe{}, Reason: ch.Reason}
		for _, s := range ch.States {
			told.States = append(told.States, State{string(s.Kind), Seconds(s.Start), Seconds(s.End), Number(s.Width)})
		}
		for _, s := range ch.Safe {
			told.Safe = append(told.Safe, Safe{string(s.From), Number(s.Width), s.Stop})
		}
		if r := ch.Return; r != nil {
			told.Return = &Return{seconds(r.FirstPulse), Number(r.Jump), r.StartUpPulses, span(r.Excursion), seconds(r.LiveAfter)}
		}
		c.Channels = append(c.Channels, told)
	}
	return c
}

// Reword passes every sentence through a function, see [Capture.Reword].
func (c *FailsafeCapture) Reword(spell func(string) string) {
	c.Facts.Reword(spell)
	for i := range c.Channels {
		c.Channels[i].Reason = spell(c.Channels[i].Reason)
	}
}

func seconds(t *decode.Time) *Seconds {
	if t == nil {
		return nil
	}
	s := Seconds(*t)
	return &s
}

// span is null where there are no widths.
func span(r [2]float64) Span {
	if math.IsNaN(r[0]) {
		return nil
	}
	return Span{Number(r[0]), Number(r[1])}
}
