// Package report renders what was measured and judged: text for a person at
// the bench or for a pipe, JSON and CSV for scripts. Every figure comes from
// package decode; this package only chooses digits, units and words. Its JSON
// and CSV are promised, its Go types are not.
package report

import (
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/formats"
)

// Check is the document of `check`: one outcome over all captures.
type Check struct {
	Schema   string     `json:"schema"`
	Verdict  Word       `json:"verdict"`
	Captures []*Capture `json:"captures"`
	Safety   string     `json:"safety"`
}

// Facts are what is known of a capture before anything is judged.
type Facts struct {
	File        string  `json:"file"`
	Format      string  `json:"format"`
	Compression string  `json:"compression"`
	Dialect     Word    `json:"dialect"`
	Origin      Word    `json:"origin"`
	Start       Seconds `json:"start_s"`
	End         Seconds `json:"end_s"`
	Duration    Seconds `json:"duration_s"`
	Resolution  Number  `json:"resolution_us"`
	Notes       []Note  `json:"notes"`
}

// Note is something to know about a capture, or about one channel of it. In JSON
// it is one sentence.
type Note struct{ Channel, Text string }

func (n Note) String() string { return decode.Remark{Channel: n.Channel, Text: n.Text}.String() }

// MarshalText makes the sentence.
func (n Note) MarshalText() ([]byte, error) { return []byte(n.String()), nil }

// Capture is everything there is to tell about one judged capture.
type Capture struct {
	Facts
	Verdict  Word       `json:"verdict"`
	Channels []*Channel `json:"channels"`
	Events   []Event    `json:"events"`
	Findings []Finding  `json:"findings"`
	Unseen   []string   `json:"unseen"` // bounds on what did not occur

	// Err says why the capture could not be read; nothing else than its file is
	// then known. "" elsewhere.
	Err string `json:"-"`
	// MayRepeat is set where the pulses cannot exclude a receiver that repeats
	// its last value when the link is lost.
	MayRepeat bool `json:"-"`
}

// Channel is what was measured on one channel and what became of it.
type Channel struct {
	Name    string `json:"name"`
	Label   string `json:"label"`
	Signal  string `json:"signal"`
	Active  Word   `json:"active"`
	Judged  bool   `json:"judged"`
	Verdict Word   `json:"verdict"`
	Totals
	Width      *Width     `json:"width_us"`
	Period     *Period    `json:"period_us"`
	Jitter     *Jitter    `json:"jitter"`
	Rests      []Rest     `json:"rests"`
	OtherKinds []KindSpan `json:"other_kinds"`
	Slots      []*Channel `json:"slots"`
	Causes     []Cause    `json:"causes"`

	Further

	column int  // of a table, from 1; 0 elsewhere
	slot   bool // is a slot of a pulse-position stream
}

// Totals count what came over a channel.
type Totals struct {
	Pulses   int64   `json:"pulses"`
	Frames   int64   `json:"frames"`
	Dropped  int64   `json:"dropped_frames"`
	Glitches int64   `json:"glitches"`
	Losses   int64   `json:"losses"`
	Lost     Seconds `json:"lost_s"`
}

// Further is what some kinds of signal have; null in all others.
type Further struct {
	Level    Word   `json:"level"`       // that a silent channel holds
	RateHz   Number `json:"rate_hz"`     // of a duty signal
	DutyLow  Number `json:"duty_low"`    // smallest duty, 0 to 1
	DutyHigh Number `json:"duty_high"`   // largest
	BitTime  Number `json:"bit_time_us"` // of a serial signal
	Place    *int   `json:"place"`       // in the receiver's frame, from 1
	Offset   Number `json:"offset_us"`   // after the first channel of the frame
	Follows  Word   `json:"follows"`     // the channel whose pulse ends where this one's begins
}

// Slot says whether the channel is a slot of a pulse-position stream.
func (c *Channel) Slot() bool { return c.slot }

// Column is the channel's column of a table, counted from 1; 0 elsewhere.
func (c *Channel) Column() int { return c.column }

// Width summarises accepted widths in microseconds. MeanU95 is the half width
// of the 95 % interval of the mean.
type Width struct {
	Min     Number `json:"min"`
	P01     Number `json:"p01"`
	Median  Number `json:"median"`
	P99     Number `json:"p99"`
	Max     Number `json:"max"`
	Mean    Number `json:"mean"`
	SD      Number `json:"sd"`
	MeanU95 Number `json:"mean_u95"`
}

// Period summarises intervals in microseconds.
type Period struct {
	Nominal   Number         `json:"nominal"`
	Pattern   Word           `json:"pattern"`
	Min       Number         `json:"min"`
	Median    Number         `json:"median"`
	Max       Number         `json:"max"`
	Mean      Number         `json:"mean"`
	SD        Number         `json:"sd"`
	DriftPPM  Number         `json:"drift_ppm"`
	MeanU95   Number         `json:"mean_u95"`
	Residual  Number         `json:"residual_sd"` // about the fitted line
	Others    int64          `json:"others"`      // intervals outside the figures
	Recurring []Number       `json:"recurring"`
	Changes   []PeriodChange `json:"changes"`
}

// PeriodChange is a change of the frame period.
type PeriodChange struct {
	At   Seconds `json:"at_s"`
	From Number  `json:"from_us"`
	To   Number  `json:"to_us"`
}

// Jitter holds the figures of steadiness in microseconds.
type Jitter struct {
	WidthRMS          Number `json:"width_rms_us"`
	WidthRMSCorrected Number `json:"width_rms_corrected_us"`
	WidthP99          Number `json:"width_p99_us"`
	WidthPP           Number `json:"width_pp_us"`
	Resolved          bool   `json:"resolved"`
	PeriodRMS         Number `json:"period_rms_us"`
	CycleToCycleRMS   Number `json:"cycle_to_cycle_rms_us"`
	WidthN            int64  `json:"width_n"`
	WidthRMSLow95     Number `json:"width_rms_low95_us"`
	WidthRMSHigh95    Number `json:"width_rms_high95_us"`
}

// Rest is a stretch in which the width did not move.
type Rest struct {
	Start  Seconds `json:"start_s"`
	End    Seconds `json:"end_s"`
	Frames int64   `json:"frames"`
	Width  Number  `json:"width_us"`
	RMS    Number  `json:"rms_us"`
}

// KindSpan is a stretch in which a channel carried another kind of signal.
type KindSpan struct {
	Signal string  `json:"signal"`
	Start  Seconds `json:"start_s"`
	End    Seconds `json:"end_s"`
}

// Cause is a likely cause, what speaks for it, and what to try.
type Cause struct {
	Cause    string   `json:"cause"`
	Evidence []string `json:"evidence"`
	Try      string   `json:"try"`
}

// Finding is one thing worth telling.
type Finding struct {
	Kind     string   `json:"kind"`
	Severity string   `json:"severity"`
	Channels []string `json:"channels"`
	Start    Seconds  `json:"start_s"`
	End      Seconds  `json:"end_s"`
	Count    int64    `json:"count"`
	Measured Number   `json:"measured"`
	Limit    Number   `json:"limit"`
	Unit     Word     `json:"unit"`
	Message  string   `json:"message"`
}

// NewCheck starts the document of `check`; nothing judged is undecided.
func NewCheck() *Check {
	return &Check{Schema: "widthwise.check/1", Verdict: Word(decode.Undecided), Captures: []*Capture{}, Safety: Safety}
}

// Add appends a capture and takes its outcome into the whole. One that was not read
// cannot pass.
func (c *Check) Add(capture *Capture) {
	c.Captures = append(c.Captures, capture)
	next := capture.Verdict
	if next == "" {
		next = Word(decode.Undecided)
	}
	c.Verdict = whole(c.Verdict, next, len(c.Captures))
}

// whole takes the outcome of the n-th capture into that of those before, of which
// there was none at first.
func whole(before, next Word, n int) Word {
	if n == 1 {
		return next
	}
	return Word(decode.Outcome(before).With(decode.Outcome(next)))
}

// Unreadable is a capture that could not be read.
func Unreadable(file string, err string) *Capture {
	return &Capture{Facts: Facts{File: file}, Err: err}
}

// NewCapture gathers what is to be told about one capture. Labels are further
// words for channels, by name.
func NewCapture(h *formats.Header, a *decode.Analysis, j *decode.Judgement, events []diagnose.Event, labels map[string]string) *Capture {
	c := &Capture{
		Facts: newFacts(h, a), Verdict: Word(j.Outcome),
		Channels: []*Channel{}, Events: newEvents(events), Findings: newFindings(j.Findings),
		Unseen: append([]string{}, j.Unseen...),
	}
	columns := map[string]int{}
	for _, v := range h.Variables {
		columns[v.Name] = v.Column
	}
	c.MayRepeat = slices.Contains(j.Unseen, decode.MayRepeat)
	for i, ch := range a.Channels {
		if ch.Witness {
			continue
		}
		var judged decode.ChannelJudgement
		if i < len(j.Channels) {
			judged = j.Channels[i]
		}
		told := newChannel(ch, judged, labels)
		told.column = columns[ch.Name]
		told.drawCauses(events)
		c.Channels = append(c.Channels, told)
	}
	return c
}

// Reword passes every sentence of the capture through a function, such as one
// that spells options as a command line does.
func (c *Capture) Reword(spell func(string) string) {
	each := func(sentences []string) { reword(sentences, spell) }
	c.Facts.Reword(spell)
	each(c.Unseen)
	for i := range c.Findings {
		c.Findings[i].Message = spell(c.Findings[i].Message)
	}
	for i := range c.Events {
		e := &c.Events[i]
		e.Story, e.Try = spell(e.Story), spell(e.Try)
		each(e.Evidence)
		each(e.Against)
		each(e.Instead)
	}
	for _, ch := range c.Channels {
		for i := range ch.Causes {
			ch.Causes[i].Try = spell(ch.Causes[i].Try)
			each(ch.Causes[i].Evidence)
		}
	}
}

// Reword passes every sentence through a function, see [Capture.Reword].
func (f *Facts) Reword(spell func(string) string) {
	for i := range f.Notes {
		f.Notes[i].Text = spell(f.Notes[i].Text)
	}
}

func reword(sentences []string, spell func(string) string) {
	for i := range sentences {
		sentences[i] = spell(sentences[i])
	}
}

func newFacts(h *formats.Header, a *decode.Analysis) Facts {
	f := Facts{
		File: h.File, Format: h.Format, Compression: h.Compression,
		Dialect: Word(h.Dialect), Origin: Word(a.Origin.Text),
		Start: Seconds(a.Start), End: Seconds(a.End), Duration: Seconds(a.End - a.Start),
		Resolution: Number(a.Resolution), Notes: []Note{},
	}
	f.note(a.Notes)
	return f
}

// note adds remarks that are not there yet.
func (f *Facts) note(remarks []decode.Remark) {
	for _, r := range remarks {
		if n := (Note{r.Channel, r.Text}); !slices.Contains(f.Notes, n) {
			f.Notes = append(f.Notes, n)
		}
	}
}

func newChannel(a *decode.ChannelAnalysis, j decode.ChannelJudgement, labels map[string]string) *Channel {
	c := &Channel{
		Name: a.Name, Label: labels[a.Name], Signal: string(a.Signal), Active: level(a.Active),
		Judged: j.Judged, Verdict: Word(j.Outcome),
		Totals: Totals{Pulses: a.PulseCount, Frames: a.FrameCount, Dropped: a.DroppedCount, Glitches: a.GlitchCount,
			Losses: a.LossCount, Lost: Seconds(a.LostTime)},
		Width: newWidth(a.Width), Period: newPeriod(a.Period), Jitter: newJitter(a.Jitter),
		Rests: []Rest{}, OtherKinds: []KindSpan{}, Slots: []*Channel{}, Causes: []Cause{},
		Further: Further{RateHz: none, DutyLow: none, DutyHigh: none, BitTime: none, Offset: none, Follows: Word(a.Follows)},
	}
	switch a.Signal {
	case decode.Silent:
		c.Level = level(a.Level)
	case decode.Duty:
		c.RateHz, c.DutyLow, c.DutyHigh = Number(a.RateHz), Number(a.DutyLow), Number(a.DutyHigh)
	case decode.Serial:
		c.BitTime = Number(a.BitTime)
	}
	if a.Place > 0 {
		c.Place, c.Offset = &a.Place, Number(a.Offset)
	}
	for _, r := range a.Rests {
		c.Rests = append(c.Rests, Rest{Seconds(r.Start), Seconds(r.End), r.Frames, Number(r.Width), Number(r.RMS)})
	}
	for _, k := range a.OtherKinds {
		c.OtherKinds = append(c.OtherKinds, KindSpan{string(k.Signal), Seconds(k.Start), Seconds(k.End)})
	}
	for i, slot := range a.Slots {
		var judged decode.ChannelJudgement
		if i < len(j.Slots) {
			judged = j.Slots[i]
		}
		told := newChannel(slot, judged, labels)
		told.slot = true
		c.Slots = append(c.Slots, told)
	}
	return c
}

// level is null for an unknown level.
func level(l decode.Level) Word {
	if l == decode.Unknown {
		return ""
	}
	return Word(l.String())
}

func newWidth(s *decode.Summary) *Width {
	if s == nil || s.N == 0 {
		return nil
	}
	return &Width{
		Min: micros(s.Min), P01: Number(s.P01), Median: Number(s.Median), P99: Number(s.P99), Max: micros(s.Max),
		Mean: Number(s.Mean), SD: Number(s.SD), MeanU95: Number(s.MeanU95),
	}
}

func newPeriod(p *decode.Period) *Period {
	if p == nil {
		return nil
	}
	out := &Period{
		Nominal: positive(p.Nominal), Pattern: Word(p.Pattern), DriftPPM: Number(p.DriftPPM),
		Min: none, Median: none, Max: none, Mean: none, SD: none, MeanU95: none,
		Residual: Number(p.Residual), Others: p.Others, Recurring: []Number{}, Changes: []PeriodChange{},
	}
	if s := p.Intervals; s.N > 0 {
		out.Min, out.Median, out.Max = micros(s.Min), Number(s.Median), micros(s.Max)
		out.Mean, out.SD, out.MeanU95 = Number(s.Mean), Number(s.SD), Number(s.MeanU95)
	}
	for _, r := range p.Recurring {
		out.Recurring = append(out.Recurring, Number(r))
	}
	for _, c := range p.Changes {
		out.Changes = append(out.Changes, PeriodChange{Seconds(c.At), Number(c.From), Number(c.To)})
	}
	return out
}

func newJitter(j *decode.Jitter) *Jitter {
	if j == nil {
		return nil
	}
	return &Jitter{
		WidthRMS: Number(j.WidthRMS), WidthRMSCorrected: Number(j.WidthRMSCorrected),
		WidthP99: Number(j.WidthP99), WidthPP: Number(j.WidthPP), Resolved: j.Resolved,
		PeriodRMS: Number(j.PeriodRMS), CycleToCycleRMS: Number(j.CycleToCycleRMS), WidthN: j.WidthN,
		WidthRMSLow95: Number(j.WidthRMSLow95), WidthRMSHigh95: Number(j.WidthRMSHigh95),
	}
}

// drawCauses gives each channel the causes of the events it is part of.
func (c *Channel) drawCauses(events []diagnose.Event) {
	for _, e := range events {
		if !slices.Contains(e.Channels, c.Name) {
			continue
		}
		cause := Cause{e.Cause, append([]string{}, e.Evidence...), e.Try}
		for _, against := range e.Against {
			cause.Evidence = append(cause.Evidence, "against: "+against)
		}
		c.Causes = append(c.Causes, cause)
	}
	for _, s := range c.Slots {
		s.drawCauses(events)
	}
}

// newFindings keeps the order of time over all channels.
func newFindings(findings []decode.Finding) []Finding {
	out := []Finding{}
	for _, f := range findings {
		out = append(out, Finding{
			Kind: string(f.Kind), Severity: string(f.Severity), Channels: append([]string{}, f.Channels...),
			Start: Seconds(f.Start), End: Seconds(f.End), Count: f.Count,
			Measured: Number(f.Measured), Limit: Number(f.Limit), Unit: Word(f.Unit), Message: f.Message,
		})
	}
	slices.SortStableFunc(out, func(a, b Finding) int {
		switch {
		case a.Start < b.Start:
			return -1
		case a.Start > b.Start:
			return 1
		}
		return 0
	})
	return out
}

// positive is null for a period that was not found.
func positive(v float64) Number {
	if !(v > 0) {
		return none
	}
	return Number(v)
}

var none = Number(math.NaN())
