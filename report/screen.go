package report

import (
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// Style says where text goes.
type Style struct {
	Terminal bool // lay out for a screen; otherwise tab-separated rows
	Width    int  // columns of the screen
	Colour   bool
}

// maxFindings is how many findings a screen shows; the rest are counted.
const maxFindings = 40

// maxLine is how long a line of prose may be on a wide screen.
const maxLine = 110

// maxUnjudged is how many channels that were not judged a screen names.
const maxUnjudged = 12

// screen collects one page of text.
type screen struct {
	strings.Builder
	style Style
}

// ink colours a word that tells of a finding: the Okabe-Ito set (published,
// told apart by colour-blind readers) in the nearest of 256 terminal colours.
// The word alone says the same.
func (s Style) ink(severity, word string) string {
	code := map[string]string{
		"fail": "38;5;166", "warn": "38;5;172", "undecided": "38;5;172", "note": "38;5;74",
	}[severity]
	if !s.Colour || code == "" {
		return word
	}
	return "\x1b[" + code + "m" + word + "\x1b[0m"
}

// strong marks what a reader looks for first.
func (s Style) strong(word string) string {
	if !s.Colour {
		return word
	}
	return "\x1b[1m" + word + "\x1b[0m"
}

// verdict is the outcome as a word: a failure shouts.
func (s Style) verdict(w Word) string {
	switch decode.Outcome(w) {
	case decode.Failed:
		return s.ink("fail", "FAIL")
	case decode.Undecided:
		return s.ink("undecided", "undecided")
	case "":
		return "-"
	}
	return string(w)
}

func (s Style) severity(w string) string {
	if w == string(decode.Fail) {
		return s.ink(w, "FAIL")
	}
	return s.ink(w, w)
}

// wrap writes text after a first column of indent, later lines hanging below.
func (p *screen) wrap(first string, indent int, body string) {
	if gap := indent - text.StringWidthWithoutEscSequences(first); gap > 0 {
		first += strings.Repeat(" ", gap)
	}
	room := max(min(p.style.Width, maxLine)-indent-1, 24)
	lines := strings.Split(strings.TrimRight(text.WrapSoft(body, room), "\n"), "\n")
	for i, line := range lines {
		if i > 0 {
			first = strings.Repeat(" ", indent)
		}
		p.line(first + strings.TrimRight(line, " "))
	}
}

func (p *screen) line(s string) { p.WriteString(strings.TrimRight(s, " ") + "\n") }

// heading opens a section.
func (p *screen) heading(word string) { p.WriteString("\n" + p.style.strong(word) + "\n") }

// WriteText writes the capture for a person: laid out on a terminal, in rows
// elsewhere.
func (c *Capture) WriteText(w io.Writer, style Style) error {
	if !style.Terminal {
		return c.writeRows(w, style)
	}
	p := &screen{style: style}
	p.wrap("", 0, c.headline())
	p.wrap("", 0, c.source())
	for i, line := range c.unjudged() {
		if i == maxUnjudged {
			p.wrap("  not judged", 14, fmt.Sprintf("%d more; widthwise inspect lists them", len(c.unjudged())-i))
			break
		}
		p.wrap("  not judged", 14, line)
	}
	if rows := c.judged(); len(rows) > 0 {
		p.line("")
		p.table(c, rows)
		p.lanes(c, rows)
		p.figures(c, rows)
	}
	p.findings(c)
	p.causes(c)
	p.notes(c)
	p.line("")
	p.wrap("", 0, safety)
	p.line("")
	p.wrap(style.strong("verdict "+style.verdict(c.Verdict))+"  ", 0, c.reason())
	_, err := io.WriteString(w, p.String())
	return err
}

// source says in one line what was read.
func (c *Facts) source() string {
	parts := []string{safe(c.File), c.Format}
	if c.Compression != "none" && c.Compression != "" {
		parts = append(parts, c.Compression)
	}
	parts = append(parts, duration(c.Duration), "from "+instant(c.Start)+" s to "+instant(c.End)+" s")
	return strings.Join(append(parts, "time step "+step(c.Resolution)), ", ")
}

// judged lists the judged channels, the slots of a stream after it.
func (c *Capture) judged() []*Channel {
	var rows []*Channel
	for _, ch := range c.Channels {
		if ch.Judged {
			rows = append(append(rows, ch), ch.Slots...)
		}
	}
	return rows
}

// table has one row for each judged channel, as wide as the screen allows.
func (p *screen) table(c *Capture, rows []*Channel) {
	out := ""
	for _, fit := range []fit{{signal: true, counts: true, name: 24}, {signal: true, name: 24}, {name: 24}, {name: 12}} {
		if out = ruled(p.renderTable(c, rows, fit)); text.LongestLineLen(out) <= p.style.Width {
			break
		}
	}
	p.WriteString(out)
}

// fit is what a table leaves out on a narrow screen: the column of the signal,
// a column for each count, long names.
type fit struct {
	signal, counts bool
	name           int
}

func (p *screen) renderTable(c *Capture, rows []*Channel, fit fit) string {
	s := scale{float64(c.Resolution)}
	t := table.NewWriter()
	t.SetStyle(ledger)
	head := table.Row{"channel\n"}
	if fit.signal {
		head = append(head, "signal\n")
	}
	head = append(head, "frames\n", "width\nus", "period\nms", "jitter\nus rms")
	if fit.counts {
		head = append(head, "dropped\nframes", "glitches\n", "losses\n")
	} else {
		head = append(head, "drop+glitch\n+loss")
	}
	t.AppendHeader(append(head, "verdict\n"))
	for _, ch := range rows {
		row := table.Row{ch.shown()}
		if fit.signal {
			row = append(row, ch.Signal)
		}
		row = append(row, ch.Frames, ch.Width.span(s), ch.Period.cell(s), ch.Jitter.cell(s))
		if fit.counts {
			row = append(row, ch.Dropped, ch.Glitches, ch.Losses)
		} else {
			row = append(row, fmt.Sprintf("%d+%d+%d", ch.Dropped, ch.Glitches, ch.Losses))
		}
		t.AppendRow(append(row, p.style.verdict(ch.Verdict)))
	}
	columns := []table.ColumnConfig{{Number: 1, WidthMax: fit.name}}
	for n := range head {
		if number := n + 1; head[n] != "channel\n" && head[n] != "signal\n" {
			columns = append(columns, table.ColumnConfig{Number: number, Align: text.AlignRight, AlignHeader: text.AlignRight})
		}
	}
	t.SetColumnConfigs(columns)
	return t.Render()
}

// ruled cuts the padding at the right, under the rule as well.
func ruled(table string) string {
	lines := strings.Split(table, "\n")
	longest := 0
	for i, line := range lines {
		lines[i] = strings.TrimRight(line, " ")
		if !strings.HasPrefix(line, "─") {
			longest = max(longest, text.StringWidthWithoutEscSequences(lines[i]))
		}
	}
	for i, line := range lines {
		if strings.HasPrefix(line, "─") {
			lines[i] = strings.Repeat("─", longest)
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

// ledger is a table of columns set by space alone, a rule under its head.
var ledger = table.Style{
	Name: "ledger",
	Box:  table.BoxStyle{PaddingLeft: "", PaddingRight: "  ", MiddleHorizontal: "─"},
	Options: table.Options{
		SeparateHeader: true,
	},
}

func (w *Width) span(s scale) string {
	if w == nil {
		return "-"
	}
	return s.width(w.Min) + ".." + s.width(w.Max)
}

func (p *Period) cell(s scale) string {
	if p == nil {
		return "-"
	}
	return fixed(p.Nominal/1000, min(s.decimals()+3, 3))
}

// cell marks what lies below the time step by the step it would have to exceed.
func (j *Jitter) cell(s scale) string {
	switch {
	case j == nil || j.WidthRMS.missing():
		return "-"
	case !j.Resolved:
		return "< step"
	}
	return s.spread(j.WidthRMS)
}

// lanes draws each channel as a strip of chart paper, time from left to right,
// with a mark where a finding lies. Findings that speak of the whole capture
// leave no mark.
func (p *screen) lanes(c *Capture, rows []*Channel) {
	name := 0
	for _, ch := range rows {
		name = max(name, text.StringWidthWithoutEscSequences(ch.shown()))
	}
	length := min(p.style.Width-name-4, 96)
	if length < 24 || c.Duration <= 0 {
		return
	}
	marks := 0
	var strips strings.Builder
	for _, ch := range rows {
		strip, marked := p.lane(c, ch, length)
		marks += marked
		fmt.Fprintf(&strips, "%s%s  %s\n", ch.shown(), strings.Repeat(" ", name-text.StringWidthWithoutEscSequences(ch.shown())), strip)
	}
	if marks == 0 {
		return
	}
	p.line("")
	left, right := instant(c.Start)+" s", instant(c.End)+" s"
	p.line(strings.Repeat(" ", name+2) + left + strings.Repeat(" ", max(length-len(left)-len(right), 1)) + right)
	p.WriteString(strips.String())
	p.line(strings.Repeat(" ", name+2) + p.style.ink("fail", "X") + " fail   " + p.style.ink("warn", "!") + " warn   " + p.style.ink("note", "·") + " note")
}

func (p *screen) lane(c *Capture, ch *Channel, length int) (strip string, marked int) {
	severities := []string{"", "note", "warn", "fail"}
	cells := make([]int, length)
	at := func(t Seconds) int {
		return min(max(int(float64(t-c.Start)/float64(c.Duration)*float64(length)), 0), length-1)
	}
	for _, f := range c.Findings {
		if !ch.owns(f) || f.End-f.Start > c.Duration/100*95 {
			continue
		}
		marked++
		for i := at(f.Start); i <= at(f.End); i++ {
			cells[i] = max(cells[i], slices.Index(severities, f.Severity))
		}
	}
	var b strings.Builder
	for _, cell := range cells {
		b.WriteString(p.style.ink(severities[max(cell, 0)], string([]rune("─·!X")[max(cell, 0)])))
	}
	return b.String(), marked
}

func (p *screen) figures(c *Capture, rows []*Channel) {
	s := scale{float64(c.Resolution)}
	p.heading("figures")
	indent := 4
	for _, ch := range rows {
		indent = min(max(indent, text.StringWidthWithoutEscSequences(ch.shown())+4), 24)
	}
	for _, ch := range rows {
		lines := ch.figures(s)
		for i, line := range lines {
			first := ""
			if i == 0 {
				first = "  " + ch.shown() + "  "
			}
			p.wrap(first, indent, line)
		}
	}
	p.wrap("  ", 2, clockWords)
}

func (p *screen) findings(c *Capture) {
	if len(c.Findings) == 0 {
		return
	}
	p.heading("found")
	shown, left := c.worstFindings(maxFindings)
	column := 0
	for _, f := range shown {
		column = max(column, len(f.span())+2)
	}
	for _, f := range shown {
		first := fmt.Sprintf("%*s  ", column, f.span()) + p.style.severity(f.Severity) + "  "
		who := ""
		if len(f.Channels) > 0 {
			who = safe(strings.Join(f.Channels, ", ")) + ": "
		}
		p.wrap(first, column+8, who+f.Kind+", "+safe(f.Message))
	}
	if left != "" {
		p.wrap("", column+8, left)
	}
}

// worstFindings picks at most n findings, the gravest first, and gives them
// back in order of time with a sentence on what was left out.
func (c *Capture) worstFindings(n int) (shown []Finding, left string) {
	if len(c.Findings) <= n {
		return c.Findings, ""
	}
	var others []string
	total := map[string]int64{}
	for _, severity := range []string{"fail", "warn", "note"} {
		for _, f := range c.Findings {
			switch {
			case f.Severity != severity:
			case len(shown) < n:
				shown = append(shown, f)
			default:
				if total[f.Kind] == 0 {
					others = append(others, f.Kind)
				}
				total[f.Kind]++
			}
		}
	}
	for i, kind := range others {
		others[i] = fmt.Sprintf("%d of %s", total[kind], kind)
	}
	slices.SortStableFunc(shown, func(a, b Finding) int {
		switch {
		case a.Start < b.Start:
			return -1
		case a.Start > b.Start:
			return 1
		}
		return 0
	})
	return shown, "and " + series(others) + "; --json lists them all"
}

// span is when a finding holds, in seconds.
func (f Finding) span() string {
	if from, to := instant(f.Start), instant(f.End); from != to {
		return from + ".." + to + " s"
	}
	return instant(f.Start) + " s"
}

func (p *screen) causes(c *Capture) {
	opened := false
	tell := func(who string, causes []Cause) {
		for _, cause := range causes {
			if !opened {
				p.heading("likely causes")
				opened = true
			}
			p.wrap("  ", 2, who+safe(cause.Cause))
			for _, e := range cause.Evidence {
				word := "    seen"
				if rest, found := strings.CutPrefix(e, "against: "); found {
					word, e = "    but", rest
				}
				p.wrap(word, 10, safe(e))
			}
			if cause.Try != "" {
				p.wrap("    try", 10, safe(cause.Try))
			}
		}
	}
	for _, ch := range c.Channels {
		tell(ch.shown()+": ", ch.Causes)
	}
}

func (p *screen) notes(c *Capture) {
	if len(c.Unseen) > 0 {
		p.heading("not seen")
	}
	for _, line := range c.Unseen {
		p.wrap("  ", 2, safe(line))
	}
	if len(c.Notes) == 0 {
		return
	}
	p.heading("notes")
	for _, note := range c.Notes {
		p.wrap("  ", 2, safe(note))
	}
}
