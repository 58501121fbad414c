package page

import (
	"fmt"
	"html/template"
	"strconv"
	"sync"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// maxRows is how many events and findings a capture's table shows at once; the
// filters reach all.
const maxRows = 500

// pages are the templates, which commands that write no page do not pay for.
var pages = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("").Funcs(template.FuncMap{
		"json": asJSON, "series": phrase.And, "shape": shape, "bounds": bounds, "text": report.Printable, "add": func(a, b int) int { return a + b },
	}).ParseFS(files, "*.html"))
})

// captureView is one capture as the template shows it.
type captureView struct {
	Index int
	Alone bool // the only one of the page
	*report.Capture
	Lanes []lane
}

// event is one of the capture's, with its number less one.
type event struct {
	Index int
	report.Event
}

// maxFirst is how many events are told before the chart; the rest are folded.
const maxFirst = 5

// First are the events told in full, Further those beyond.
func (c captureView) First() []event   { return c.events()[:min(len(c.Events), maxFirst)] }
func (c captureView) Further() []event { return c.events()[min(len(c.Events), maxFirst):] }

func (c captureView) events() []event {
	var out []event
	for i, e := range c.Events {
		out = append(out, event{i, e})
	}
	return out
}

// row is an event or a finding in the table.
type row struct {
	Kind, Severity string
	Channels       []string
	Start, End     report.Seconds
	Count          int64
	Measured       string
	Words          string
	Event, Finding int // index, -1 where it is the other
}

// Rows are the events and then the findings, up to maxRows.
func (c captureView) Rows() []row {
	var out []row
	for i, e := range c.Events {
		out = append(out, row{e.Cause, e.Severity, e.Channels, e.Start, e.End, e.Count, "", e.Story, i, -1})
	}
	for i, f := range c.Findings {
		out = append(out, row{f.Kind, f.Severity, f.Channels, f.Start, f.End, f.Count, c.measured(f), f.Message, -1, i})
	}
	return out[:min(len(out), maxRows)]
}

func (c captureView) measured(f report.Finding) string {
	if f.Measured.Missing() {
		return ""
	}
	return strconv.FormatFloat(float64(f.Measured), 'f', report.Decimals(c.Resolution), 64) + " " + string(f.Unit)
}

// Others counts what stands in no row at first.
func (c captureView) Others() int { return max(len(c.Events)+len(c.Findings)-maxRows, 0) }

// Headline is how many events warn, and how much was seen.
func (c captureView) Headline() string {
	headline := c.HowManyJudged() + ", " + c.Duration.Decimals(1) + " s seen"
	if n := c.Warnings(); n > 0 {
		return phrase.Count(n, "warning") + ", " + headline
	}
	return headline
}

// Clean says that nothing was found that would be worth a warning.
func (c captureView) Clean() bool {
	return c.Verdict == report.Word(decode.Passed) && !slices.ContainsFunc(c.Findings, func(f report.Finding) bool { return f.Severity != "note" })
}

// Unjudged names the channels that have no lane, with what they carry.
func (c captureView) Unjudged() []string {
	var out []string
	for _, channel := range c.Channels {
		if !channel.Judged {
			out = append(out, shown(channel)+" ("+channel.Signal+")")
		}
	}
	return out
}

// Shown is a lane's name with its label.
func (l lane) Shown() string { return shown(l.Channel) }

func shown(c *report.Channel) string {
	if c.Label == "" {
		return c.Name
	}
	return c.Name + " (" + c.Label + ")"
}

// Span is when something holds, in seconds.
func (c captureView) Span(start, end report.Seconds) string {
	from, to := start.Decimals(3), end.Decimals(3)
	if from == to {
		return from + " s"
	}
	return from + " to " + to + " s"
}

// Figures are the cells of a lane in the table of channels: frames, width,
// period, jitter, dropped frames, glitches, losses.
func (c captureView) Figures(l lane) []string {
	width, period, jitter := "", "", ""
	if w := l.Width; w != nil {
		width = c.fixed(w.Min, 0) + " to " + c.fixed(w.Max, 0)
	}
	if p := l.Period; p != nil && !p.Nominal.Missing() {
		period = c.fixed(p.Nominal/1000, 3)
	}
	switch j := l.Jitter; {
	case j == nil || j.WidthRMS.Missing():
	case !j.Resolved:
		jitter = "below the time step"
	default:
		jitter = c.fixed(j.WidthRMS, 1)
	}
	return []string{
		strconv.FormatInt(l.Frames, 10), width, period, jitter,
		strconv.FormatInt(l.Dropped, 10), strconv.FormatInt(l.Glitches, 10), strconv.FormatInt(l.Losses, 10),
	}
}

// fixed writes a figure with the digits of the time step and more.
func (c captureView) fixed(n report.Number, more int) string {
	return strconv.FormatFloat(float64(n), 'f', min(report.Decimals(c.Resolution)+more, 3), 64)
}

// asJSON writes a time as the document has it.
func asJSON(s report.Seconds) (string, error) {
	b, err := s.MarshalJSON()
	return string(b), err
}

// shape tells a severity or verdict by more than colour.
func shape(word string) string {
	return map[string]string{"fail": "✕", "warn": "▲", "undecided": "?", "note": "●", "pass": "✓", "full": "✓", "partly": "◐", "none": "✕"}[word]
}

func bounds(b [2]float64) string {
	if b == [2]float64{} {
		return ""
	}
	return fmt.Sprintf("%g %g", b[0], b[1])
}
