package report

import (
	"fmt"
	"io"
	"strconv"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats"
)

// Inspect is the document of `inspect`.
type Inspect struct {
	Schema   string        `json:"schema"`
	Captures []*Inspection `json:"captures"`
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
	return &Inspect{Schema: "widthwise.inspect/1", Captures: []*Inspection{}}
}

// NewInspection gathers what is to be told about a file. Stated says that the
// user gave the sample rate.
func NewInspection(h *formats.Header, a *decode.Analysis, stated bool, labels map[string]string) *Inspection {
	out := &Inspection{
		Facts: newFacts(h, a), Encoding: h.Encoding, Alternatives: append([]string{}, h.Alternatives...),
		TimeStep: TimeStep{Step: Number(a.Resolution), How: stepFound(a, stated), Rows: a.Origin.Rows},
		Channels: []*Glance{}, Variables: []Variable{},
	}
	s := scale{a.Resolution}
	for _, measured := range a.Channels {
		if measured.Witness {
			continue
		}
		c := newChannel(measured, decode.ChannelJudgement{}, labels)
		out.Channels = append(out.Channels, &Glance{
			Name: c.Name, Label: c.Label, Signal: c.Signal, About: c.kindOf(s), Active: c.Active, Level: c.Level,
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

// stepFound says how the time step was found.
func stepFound(a *decode.Analysis, stated bool) string {
	o := a.Origin
	switch {
	case stated:
		return "stated by --rate"
	case o.Step > 0 && !o.ChangesOnly:
		return fmt.Sprintf("evenly sampled: last stamp less first over %s", count(max(o.Rows-1, 1), "step"))
	case !(a.Resolution > 0):
		return "not known from so few changes; --rate states it"
	case o.Unit > 0 && a.Resolution*float64(decode.Microsecond) <= float64(max(o.Unit, o.UnitAtEnd))*1.001:
		return "changes only: the unit the stamps are written in"
	}
	return "changes only: the largest usual sampling step on which all stamps lie"
}

// facts are the lines that tell of the file as a whole.
func (i *Inspection) facts() [][2]string {
	format := i.Format
	if i.Compression != "none" && i.Compression != "" {
		format += ", " + i.Compression
	}
	if i.Encoding != "" {
		format += ", " + i.Encoding
	}
	lines := [][2]string{{"format", format}}
	if i.Dialect != "" {
		lines = append(lines, [2]string{"dialect", safe(string(i.Dialect))})
	}
	for _, other := range i.Alternatives {
		lines = append(lines, [2]string{"could be", safe(other)})
	}
	span := decimalText(i.Start) + " s to " + decimalText(i.End) + " s (" + duration(i.Duration) + ")"
	if i.Origin != "" {
		span += ", counted from " + safe(string(i.Origin))
	}
	found := i.TimeStep.How
	if !i.TimeStep.Step.missing() {
		found = step(i.TimeStep.Step) + "; " + found
	}
	return append(lines, [2]string{"span", span}, [2]string{"time step", found})
}

// WriteText writes the inspection for a person, or in rows for a pipe.
func (i *Inspection) WriteText(w io.Writer, style Style) error {
	if !style.Terminal {
		return i.writeRows(w)
	}
	p := &screen{style: style}
	p.line(style.strong(safe(i.File)))
	for _, f := range i.facts() {
		p.wrap("  "+f[0], 13, f[1])
	}
	if len(i.Channels) > 0 {
		shown, left := i.onScreen()
		p.line("")
		p.WriteString(ruled(i.table(shown, style.Width)))
		if left != "" {
			p.wrap("", 0, left)
		}
	}
	p.rest(i)
	if len(i.Notes) > 0 {
		p.heading("notes")
		for _, note := range i.Notes {
			p.wrap("  ", 2, safe(note))
		}
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// onScreen picks the channels that a screen lists. Where there are many these
// are the ones with a known signal and at most maxVariables others; the rest
// are counted by kind.
func (i *Inspection) onScreen() (shown []*Glance, left string) {
	known := func(g *Glance) bool {
		return !slices.Contains([]decode.Signal{decode.Irregular, decode.Silent, decode.Echo}, decode.Signal(g.Signal))
	}
	if len(i.Channels) <= 2*maxVariables {
		return i.Channels, ""
	}
	var kinds []string
	number, others := map[string]int{}, 0
	for _, want := range []bool{true, false} {
		for _, g := range i.Channels {
			switch {
			case known(g) != want:
			case want || others < maxVariables:
				shown = append(shown, g)
				if !want {
					others++
				}
			default:
				if number[g.Signal]++; number[g.Signal] == 1 {
					kinds = append(kinds, g.Signal)
				}
			}
		}
	}
	for n, kind := range kinds {
		kinds[n] = fmt.Sprintf("%d %s", number[kind], kind)
	}
	if len(kinds) > 0 {
		left = "and " + series(kinds) + " channels more; --json lists them all"
	}
	return shown, left
}

func (i *Inspection) table(shown []*Glance, width int) string {
	t := table.NewWriter()
	t.SetStyle(ledger)
	t.AppendHeader(table.Row{"channel\n", "active\n", "pulses\n", "width\nus", "period\nms", "signal\n"})
	s, longest := scale{float64(i.Resolution)}, len("channel")
	for _, c := range shown {
		name := safe(c.Name)
		if c.Label != "" {
			name += " (" + safe(c.Label) + ")"
		}
		longest = max(longest, text.StringWidthWithoutEscSequences(name))
		about := safe(c.About)
		if c.Signal == string(decode.Servo) || c.Signal == string(decode.Irregular) {
			about = c.Signal // the columns have the rest
		}
		t.AppendRow(table.Row{name, orNone(c.Active), c.Pulses, c.Width.span(s), c.Period.cell(s), about})
	}
	right := func(n int) table.ColumnConfig {
		return table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight}
	}
	const figures, signal = 42, 14 // the columns between name and signal; the least for the signal
	name := min(longest, max(width-figures-signal, 24))
	t.SetColumnConfigs([]table.ColumnConfig{
		{Number: 1, WidthMax: name}, right(3), right(4), right(5), {Number: 6, WidthMax: max(width-name-figures, signal), WidthMaxEnforcer: text.WrapSoft},
	})
	return t.Render()
}

// maxVariables is how many things of little interest a screen lists.
const maxVariables = 20

// rest lists what the file declares beside its channels.
func (p *screen) rest(i *Inspection) {
	var others []Variable
	for _, v := range i.Variables {
		if !v.Channel && v.Kind != "time" {
			others = append(others, v)
		}
	}
	if len(others) == 0 {
		return
	}
	p.heading("not read as channels")
	for n, v := range others {
		if n == maxVariables {
			p.wrap("  ", 2, fmt.Sprintf("and %d more; --json lists them all", len(others)-n))
			return
		}
		p.wrap("  ", 2, v.words())
	}
}

// words names a variable by its path, its place and its kind.
func (v Variable) words() string {
	name := safe(v.Name)
	if v.Path != "" {
		name = safe(string(v.Path))
	}
	if v.Kind == "real" {
		return fmt.Sprintf("%s, real; --channel %s", name, argument(v.Name))
	}
	if v.Bits > 1 {
		return fmt.Sprintf("%s, %s of %d bits; --channel %s", name, v.Kind, v.Bits, argument(v.Name+"[0]"))
	}
	if v.Column > 0 {
		return fmt.Sprintf("%s, %s, column %d", name, v.Kind, v.Column)
	}
	return name + ", " + v.Kind
}

func (i *Inspection) writeRows(w io.Writer) error {
	r := &rows{file: i.File}
	for _, f := range i.facts() {
		r.row(f[0], f[1])
	}
	r.WriteString("columns\tfile\tchannel\tsignal\tactive\tpulses\twidth_min_us\twidth_median_us\twidth_max_us\tperiod_ms\tabout\n")
	s := scale{float64(i.Resolution)}
	for _, c := range i.Channels {
		width := [3]string{"-", "-", "-"}
		if c.Width != nil {
			width = [3]string{s.width(c.Width.Min), s.width(c.Width.Median), s.width(c.Width.Max)}
		}
		r.row("channel", c.Name, c.Signal, orNone(c.Active), strconv.FormatInt(c.Pulses, 10), width[0], width[1], width[2], c.Period.cell(s), c.About)
	}
	for _, v := range i.Variables {
		if !v.Channel {
			r.row("variable", v.words())
		}
	}
	for _, note := range i.Notes {
		r.row("note", note)
	}
	_, err := io.WriteString(w, r.String())
	return err
}

func orNone(w Word) string {
	if w == "" {
		return "-"
	}
	return string(w)
}
