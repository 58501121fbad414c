package text

import (
	"fmt"
	"strconv"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// Inspect sets what is in a file.
func Inspect(p *Sheet, i *report.Inspection) {
	p.Line(p.strong(report.Printable(i.File)))
	for _, f := range found(i) {
		p.hang("  "+f[0], 13, f[1])
	}
	if len(i.Channels) > 0 {
		shown, left := onScreen(i)
		p.blank()
		p.glances(shown, i.Resolution)
		if left != "" {
			p.Text(left)
		}
	}
	p.rest(i)
	if len(i.Notes) > 0 {
		p.heading("notes")
	}
	for _, note := range once(i.Notes) {
		p.hang("  ", 4, report.Printable(note))
	}
}

// found are the lines that tell of the file as a whole.
func found(i *report.Inspection) [][2]string {
	out := facts(&i.Facts)
	if i.Encoding != "" {
		out[0][1] += ", " + i.Encoding
	}
	step := &out[len(out)-1]
	if i.TimeStep.Step.Missing() {
		step[1] = i.TimeStep.How
	} else {
		step[1] += "; " + i.TimeStep.How
	}
	for _, other := range i.Alternatives {
		out = slices.Insert(out, len(out)-2, [2]string{"could be", report.Printable(other)})
	}
	return out
}

// mostListed is how many things of little interest are listed.
const mostListed = 20

// onScreen picks the channels to list. Where there are many these are the ones
// with a known signal and some others; the rest are counted by kind.
func onScreen(i *report.Inspection) (shown []*report.Glance, left string) {
	if len(i.Channels) <= 2*mostListed {
		return i.Channels, ""
	}
	dull := func(g *report.Glance) bool {
		return slices.Contains([]decode.Signal{decode.Irregular, decode.Silent, decode.Echo}, decode.Signal(g.Signal))
	}
	var others []*report.Glance
	for _, g := range i.Channels {
		if dull(g) {
			others = append(others, g)
		} else {
			shown = append(shown, g)
		}
	}
	few := min(len(others), mostListed)
	return append(shown, others[:few]...), countedKinds(others[few:])
}

func countedKinds(left []*report.Glance) string {
	if len(left) == 0 {
		return ""
	}
	var kinds []string
	number := map[string]int{}
	for _, g := range left {
		if number[g.Signal]++; number[g.Signal] == 1 {
			kinds = append(kinds, g.Signal)
		}
	}
	for n, kind := range kinds {
		kinds[n] = fmt.Sprintf("%d %s", number[kind], kind)
	}
	return "and " + phrase.And(kinds) + " channels more; --json lists them all"
}

// glances is a table of channels, or a sentence each where it is too wide.
func (p *Sheet) glances(shown []*report.Glance, resolution report.Number) {
	cols := []column{{head: "channel"}, {head: "active"}, {head: "pulses", right: true}, {head: "width us", right: true}, {head: "period ms", right: true}, {head: "signal"}}
	for _, g := range shown {
		for k, text := range []string{g.Shown(), orNone(g.Active), strconv.FormatInt(g.Pulses, 10), span(g.Width), period(g.Period), glanceSignal(g)} {
			cols[k].cells = append(cols[k].cells, text)
		}
	}
	if set := p.ledger(cols); p.fits(set) {
		p.Line(set)
		return
	}
	for _, g := range shown {
		about := glanceSignal(g)
		if g.Width != nil {
			about += fmt.Sprintf(", active %s, %s, width %s us, period %s ms", orNone(g.Active), phrase.Count(g.Pulses, "pulse"), span(g.Width), period(g.Period))
		}
		p.hang(g.Shown()+": ", 2, about)
	}
}

// glanceSignal leaves out what the columns have.
func glanceSignal(g *report.Glance) string {
	if g.Signal == string(decode.Servo) || g.Signal == string(decode.Irregular) {
		return g.Signal
	}
	return report.Printable(g.About)
}

// rest lists what the file declares beside its channels.
func (p *Sheet) rest(i *report.Inspection) {
	var others []report.Variable
	for _, v := range i.Variables {
		if !v.Channel && v.Kind != "time" {
			others = append(others, v)
		}
	}
	if len(others) > 0 {
		p.heading("not read as channels")
	}
	for n, v := range others {
		if n == mostListed {
			p.hang("  ", 4, fmt.Sprintf("and %d more; --json lists them all", len(others)-n))
			return
		}
		p.hang("  ", 4, variable(v))
	}
}

// variable names one by its path, its place and its kind, with how to read it.
func variable(v report.Variable) string {
	name := report.Printable(v.Name)
	if v.Path != "" {
		name = report.Printable(string(v.Path))
	}
	switch {
	case v.Kind == "real":
		return fmt.Sprintf("%s, real; --channel %s", name, report.Argument(v.Name))
	case v.Bits > 1:
		return fmt.Sprintf("%s, %s of %d bits; --channel %s", name, v.Kind, v.Bits, report.Argument(v.Name+"[0]"))
	case v.Column > 0:
		return fmt.Sprintf("%s, %s, column %d", name, v.Kind, v.Column)
	}
	return name + ", " + v.Kind
}

func orNone(w report.Word) string {
	if w == "" {
		return "-"
	}
	return string(w)
}
