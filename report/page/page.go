// Package page writes what check found as one page of HTML that needs nothing
// else: the words, a strip chart of every judged channel that can be zoomed to
// single pulses, figures and tables. The page makes no request; its policy
// allows the scripts and styles it was written with and nothing more.
package page

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/report"
	"widthwise/report/trace"
)

//go:embed *.html *.css script/*.js
var files embed.FS

// scripts in the order in which they build on one another.
var scripts = []string{"words", "inflate", "unpack", "thin", "pen", "lane", "view", "gestures", "overview", "chart", "plates", "reading", "findings", "main"}

// Book collects what a page shows beside the document of check: each lane's
// pulses, packed as soon as a capture has been measured.
type Book struct {
	lanes map[*report.Capture][]lane
}

// lane is a strip of chart paper: a judged channel or a slot of one.
type lane struct {
	*report.Channel
	Warn, Fail [2]float64    // widths held against, microseconds; zero where none
	Pulses     template.HTML // packed; letters, digits, + / = and nothing else
	Stream     bool          // has slots, and no pulses of its own
}

// Add takes in the lanes of a capture that was measured and judged.
func (b *Book) Add(told *report.Capture, a *decode.Analysis, j *decode.Judgement) error {
	if b.lanes == nil {
		b.lanes = map[*report.Capture][]lane{}
	}
	var lanes []lane
	for _, l := range trace.Lanes(told, a, j) {
		pulses, err := pack(l.Measured)
		if err != nil {
			return err
		}
		lanes = append(lanes, lane{l.Told, l.Judged.WidthWarn, l.Judged.WidthFail, template.HTML(pulses), l.IsStream()})
	}
	b.lanes[told] = lanes
	return nil
}

// WriteCheck writes the page of check.
func (b *Book) WriteCheck(w io.Writer, check *report.Check) error {
	document, err := report.PageJSON(check)
	if err != nil {
		return err
	}
	style, err := style()
	if err != nil {
		return err
	}
	script, err := script()
	if err != nil {
		return err
	}
	page := checkPage{
		Policy: policy(style, script), Style: template.CSS(style), Script: template.JS(script),
		Document: template.JS(document), Check: check,
	}
	for i, told := range check.Captures {
		page.Captures = append(page.Captures, captureView{Index: i, Alone: len(check.Captures) == 1, Capture: told, Lanes: b.lanes[told]})
	}
	return pages().ExecuteTemplate(w, "check.html", page)
}

// checkPage is what the template of a check's page is filled with.
type checkPage struct {
	Policy   string
	Style    template.CSS
	Script   template.JS
	Document template.JS
	Check    *report.Check
	Captures []captureView
}

// Readable says whether any capture has a lane, whose pulses can be read.
func (p checkPage) Readable() bool {
	return slices.ContainsFunc(p.Captures, func(c captureView) bool { return len(c.Lanes) > 0 })
}

// policy lets the page use its own style and script, and nothing else.
func policy(style, script string) string {
	allowed := "'none'"
	if script != "" {
		allowed = "'" + hash(script) + "'"
	}
	return fmt.Sprintf("default-src 'none'; style-src '%s'; script-src %s; base-uri 'none'; form-action 'none'", hash(style), allowed)
}

func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// style is the page's style sheet.
func style() (string, error) {
	screen, err := files.ReadFile("page.css")
	if err != nil {
		return "", err
	}
	print, err := files.ReadFile("print.css")
	return "\n" + string(screen) + string(print), err
}

// script is the page's modules as one. They are written as modules that import
// one another, so that each can be read and tried alone; a page that stands by
// itself cannot import, so they share one scope here.
func script() (string, error) {
	var all strings.Builder
	all.WriteByte('\n')
	for _, name := range scripts {
		text, err := files.ReadFile("script/" + name + ".js")
		if err != nil {
			return "", err
		}
		for line := range bytes.Lines(text) {
			if bytes.HasPrefix(line, []byte("import ")) {
				continue
			}
			all.Write(bytes.TrimPrefix(line, []byte("export ")))
		}
	}
	return all.String(), nil
}
