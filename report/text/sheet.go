// Package text sets reports for a person: in a terminal and in a pipe alike,
// wrapped to a width, with colour on findings only and every colour said by a
// word or a mark as well.
package text

import (
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	pretty "github.com/jedib0t/go-pretty/v6/text"

	"widthwise/report"
)

// Sheet collects a report.
type Sheet struct {
	report.Style
	text strings.Builder
}

// NewSheet is an empty sheet of a width of at least 20.
func NewSheet(s report.Style) *Sheet {
	s.Width = max(s.Width, 20)
	return &Sheet{Style: s}
}

// WriteTo writes what was collected.
func (p *Sheet) WriteTo(w io.Writer) (int64, error) {
	n, err := io.WriteString(w, p.text.String())
	return int64(n), err
}

// Line adds a line as it is.
func (p *Sheet) Line(s string) { p.text.WriteString(strings.TrimRight(s, " ") + "\n") }

// blank adds an empty line, unless there is one, or nothing yet.
func (p *Sheet) blank() {
	if t := p.text.String(); t != "" && !strings.HasSuffix(t, "\n\n") {
		p.Line("")
	}
}

// lines is how many there are.
func (p *Sheet) lines() int { return strings.Count(p.text.String(), "\n") }

// heading opens a section.
func (p *Sheet) heading(word string) {
	p.blank()
	p.Line(p.strong(word))
}

// longestLine is how wide prose may be on a wide screen.
const longestLine = 110

// hang sets body after a first word, later lines indented. Lines break between
// words only.
func (p *Sheet) hang(first string, indent int, body string) {
	if gap := indent - columns(first); gap > 0 {
		first += strings.Repeat(" ", gap)
	}
	room := min(p.Width, longestLine)
	for i, line := range fold(body, room-columns(first), room-indent) {
		if i > 0 {
			first = strings.Repeat(" ", indent)
		}
		p.Line(first + line)
	}
}

// Text sets a paragraph.
func (p *Sheet) Text(body string) { p.hang("", 0, body) }

// columns is how wide a text is on a screen.
func columns(s string) int { return pretty.StringWidthWithoutEscSequences(s) }

// fold breaks a text between words into lines, the first of them as wide as
// first; a word that is longer has a line of its own.
func fold(s string, first, width int) []string {
	var lines []string
	line, wide := "", 0
	for _, word := range unbroken(s) {
		n, room := columns(word), width
		if len(lines) == 0 {
			room = first
		}
		switch {
		case line == "" && (n <= room || len(lines) > 0):
			line, wide = word, n
		case line != "" && wide+1+n <= room:
			line, wide = line+" "+word, wide+1+n
		default:
			lines = append(lines, line)
			line, wide = word, n
		}
	}
	return append(lines, line)
}

// unbroken splits a text into words; a number keeps its unit and its interval.
func unbroken(s string) []string {
	var out []string
	for _, word := range strings.Fields(s) {
		last := len(out) - 1
		if last >= 0 && (units[strings.TrimRight(word, ".,;:)")] && endsInDigit(out[last]) || strings.HasSuffix(out[last], "±")) {
			out[last] += " " + word
			continue
		}
		out = append(out, word)
	}
	return out
}

var units = map[string]bool{"s": true, "ms": true, "us": true, "%": true, "ppm": true, "Hz": true, "kHz": true, "MHz": true, "GHz": true, "±": true}

func endsInDigit(s string) bool { return s[len(s)-1] >= '0' && s[len(s)-1] <= '9' }

// clip cuts a text to a width, with a mark that it goes on.
func clip(s string, width int) string {
	if columns(s) <= width {
		return s
	}
	return strings.TrimRight(pretty.Trim(s, max(width-1, 0)), " ,;:") + "…"
}

// ink colours a word that tells of a finding: the Okabe-Ito set (published,
// told apart by colour-blind readers) in the nearest of 256 terminal colours.
func (p *Sheet) ink(severity, word string) string {
	code := map[string]string{
		"fail": "38;5;166", "warn": "38;5;172", "undecided": "38;5;172", "note": "38;5;74", "unreadable": "38;5;166",
	}[severity]
	if !p.Colour || code == "" {
		return word
	}
	return "\x1b[" + code + "m" + word + "\x1b[0m"
}

// strong marks what a reader looks for first.
func (p *Sheet) strong(word string) string {
	if !p.Colour {
		return word
	}
	return "\x1b[1m" + word + "\x1b[0m"
}

// verdict is the outcome as a word.
func (p *Sheet) verdict(w report.Word) string {
	if w == "" {
		return "-"
	}
	return p.ink(string(w), string(w))
}

func (p *Sheet) severity(w string) string { return p.ink(w, w) }

// ledger is a table of columns set by space alone.
var ledger = table.Style{Name: "ledger", Box: table.BoxStyle{PaddingRight: "  "}}

// column is one column of a ledger.
type column struct {
	head  string
	right bool
	cells []string
}

// ledger sets columns side by side.
func (p *Sheet) ledger(cols []column) string {
	t := table.NewWriter()
	t.SetStyle(ledger)
	head := table.Row{}
	var configs []table.ColumnConfig
	for i, c := range cols {
		head = append(head, c.head)
		if c.right {
			configs = append(configs, table.ColumnConfig{Number: i + 1, Align: pretty.AlignRight, AlignHeader: pretty.AlignRight})
		}
	}
	t.AppendRow(head)
	for r := range cols[0].cells {
		row := table.Row{}
		for _, c := range cols {
			row = append(row, c.cells[r])
		}
		t.AppendRow(row)
	}
	t.SetColumnConfigs(configs)
	lines := strings.Split(t.Render(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	lines[0] = p.strong(lines[0])
	return strings.Join(lines, "\n")
}

// fits tells whether a set table is no wider than the sheet.
func (p *Sheet) fits(set string) bool { return pretty.LongestLineLen(set) <= p.Width }
