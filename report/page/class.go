package page

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"widthwise/decode"
	"widthwise/report"
	"widthwise/report/grade"
	"widthwise/report/trace"
)

// A small lane is drawn on a field of so many units, a column a step.
const (
	smallColumns = 400
	smallHeight  = 60
)

// SmallLane is a judged channel's widths over a capture, drawn small.
type SmallLane struct {
	Name                string
	BandTop, BandHeight int           // the legal widths; 0 where there are none
	Path                template.HTML // of the trace: letters, digits and spaces
}

// SmallLanes draws the judged channels of a capture, slots instead of their
// stream.
func SmallLanes(told *report.Capture, a *decode.Analysis, j *decode.Judgement) []SmallLane {
	var out []SmallLane
	for _, l := range trace.Lanes(told, a, j) {
		if !l.IsStream() {
			out = append(out, small(a, l.Measured, l.Judged))
		}
	}
	return out
}

func small(a *decode.Analysis, channel *decode.ChannelAnalysis, j decode.ChannelJudgement) SmallLane {
	low, high := trace.Span(j.WidthFail, channel.Width)
	y := func(us float64) int { return int(math.Round((high - us) / (high - low) * smallHeight)) }
	lane := SmallLane{Name: channel.Name}
	if j.WidthWarn != [2]float64{} {
		lane.BandTop = y(j.WidthWarn[1])
		lane.BandHeight = y(j.WidthWarn[0]) - lane.BandTop
	}
	lane.Path = template.HTML(outline(trace.Thin(channel, a.Start, a.End, smallColumns), y))
	return lane
}

// outline is the trace as path data (SVG 1.1, section 8.3).
func outline(columns []trace.Column, y func(us float64) int) string {
	var path strings.Builder
	height := func(w decode.Time) int { return y(float64(w) / float64(decode.Microsecond)) }
	begun := false
	for x, c := range columns {
		if c.Pulses == 0 {
			continue
		}
		command := 'L'
		if c.Lifted || !begun {
			command = 'M'
		}
		fmt.Fprintf(&path, "%c%d %d", command, x, height(c.First))
		low, high, last := height(c.Min), height(c.Max), height(c.Last)
		if low != high {
			fmt.Fprintf(&path, "V%dV%d", low, high)
		}
		if last != high {
			fmt.Fprintf(&path, "V%d", last)
		}
		if low == high {
			fmt.Fprintf(&path, "h1")
		}
		begun = true
	}
	return path.String()
}

// classPage is what the template of a class is filled with.
type classPage struct {
	Policy   string
	Style    template.CSS
	Document template.JS
	*grade.Class
	Caution  string
	Students []studentView
}

// studentView is what a student handed in and what it earned.
type studentView struct {
	*grade.Student
	Index   int
	HandIns []handIn
}

type handIn struct {
	File  string
	Lanes []SmallLane
}

// WriteClass writes the page of a class; lanes are those of each file. It has
// no script: every student is a sheet to be printed.
func WriteClass(w io.Writer, class *grade.Class, lanes map[string][]SmallLane) error {
	document, err := report.PageJSON(class)
	if err != nil {
		return err
	}
	style, err := style()
	if err != nil {
		return err
	}
	page := classPage{Policy: policy(style, ""), Style: template.CSS(style), Document: template.JS(document), Class: class, Caution: report.Safety}
	for i, s := range class.Students {
		view := studentView{Student: s, Index: i}
		for _, file := range s.Files {
			view.HandIns = append(view.HandIns, handIn{file, lanes[file]})
		}
		page.Students = append(page.Students, view)
	}
	return pages().ExecuteTemplate(w, "class.html", page)
}
