package text

import (
	"fmt"
	"math"
	"strings"

	pretty "github.com/jedib0t/go-pretty/v6/text"
	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
	"widthwise/report"
	"widthwise/report/grade"
)

// Class sets a line a student, then what the class missed most, then what is
// alike, as a question.
func Class(p *Sheet, c *grade.Class) {
	title := c.Size()
	if c.Title != "" {
		title = c.Title + ": " + title
	}
	p.Text(report.Printable(title))
	p.blank()
	var rows [][3]string
	for _, s := range c.Students {
		rows = append(rows, [3]string{s.Student, fmt.Sprintf("%s/%s", s.Points, c.Points), missed(s)})
	}
	p.behind(rows, pretty.AlignRight)
	p.mostMissed(c)
	p.alike(c)
}

// behind sets each text behind two short ones.
func (p *Sheet) behind(rows [][3]string, second pretty.Align) {
	first, middle := 0, 0
	for i := range rows {
		for k := range rows[i] {
			rows[i][k] = report.Printable(rows[i][k])
		}
		first, middle = max(first, columns(rows[i][0])), max(middle, columns(rows[i][1]))
	}
	indent := first + middle + 4
	if indent > p.Width/2 {
		indent = 4
	}
	for _, r := range rows {
		p.hang(pretty.Pad(r[0], first, ' ')+"  "+second.Apply(r[1], middle)+"  ", indent, r[2])
	}
}

// missed says in words what did not earn all points, and the remark.
func missed(s *grade.Student) string {
	if s.Error != "" {
		return s.Remark
	}
	var out []string
	for _, r := range s.Criteria {
		if r.Outcome != grade.Full {
			out = append(out, fmt.Sprintf("%s %s/%s (%s; wanted %s)", r.Name, r.Points, r.Of, r.Measured, r.Wanted))
		}
	}
	if s.Remark != "" {
		out = append(out, s.Remark)
	}
	return strings.Join(out, ", ")
}

// mostMissed lists the criteria by what the class made of them, the worst first;
// those that all earned are left out.
func (p *Sheet) mostMissed(c *grade.Class) {
	type row struct {
		grade.Summary
		of grade.Points
	}
	var rows []row
	for i, sum := range c.Class {
		if len(c.Students) > 0 && sum.Full < len(c.Students) {
			rows = append(rows, row{sum, c.Students[0].Criteria[i].Of})
		}
	}
	if len(rows) == 0 {
		return
	}
	slices.SortStableFunc(rows, func(a, b row) int {
		return int(min(max((a.Mean/float64(a.of)-b.Mean/float64(b.of))*1e9, -1), 1))
	})
	p.heading("what the class missed most")
	for _, r := range rows {
		p.hang("  ", 2, fmt.Sprintf("%s: %s of %s on average; all points %s, none %s", report.Printable(r.Name), grade.Points(math.Round(100*r.Mean)), r.of, phrase.Count(r.Full, "time"), phrase.Count(r.None, "time")))
	}
}

func (p *Sheet) alike(c *grade.Class) {
	if len(c.Alike) > 0 {
		p.heading("to be asked, not marked")
	}
	for _, a := range c.Alike {
		p.hang("  ", 2, report.Printable(a.Told()))
	}
	if len(c.Untold) == 0 {
		return
	}
	var names []string
	for _, u := range c.Untold {
		names = append(names, u.File)
	}
	more := ""
	if n := len(names) - 5; n > 0 {
		names, more = names[:5], fmt.Sprintf(" and %d more", n)
	}
	p.blank()
	p.Text(report.Printable("too little noise to tell whether they are anyone else's: " + strings.Join(names, ", ") + more))
}

// Planned is a file with its student and channels, before anything is graded.
type Planned struct {
	Student, File string
	Channels      []string
	Err           string
}

// Plan shows whose files are whose.
func Plan(p *Sheet, files []Planned) {
	slices.SortStableFunc(files, func(a, b Planned) int { return strings.Compare(a.Student, b.Student) })
	var rows [][3]string
	for _, f := range files {
		what := strings.Join(f.Channels, ", ")
		if f.Err != "" {
			what = f.Err
		}
		rows = append(rows, [3]string{f.Student, f.File, what})
	}
	p.behind(rows, pretty.AlignLeft)
}
