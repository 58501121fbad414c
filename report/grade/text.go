package grade

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"
	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
	"widthwise/report"
)

// WriteText writes a line a student, then what the class missed most, then
// what is alike, as a question.
func (c *Class) WriteText(to io.Writer, s report.Style) error {
	w := bufio.NewWriter(to)
	hang(w, "", titled(c.Title)+c.Size(), s.Width)
	fmt.Fprintln(w)
	names, earned := make([]string, len(c.Students)), make([]string, len(c.Students))
	for i, student := range c.Students {
		names[i], earned[i] = report.Printable(student.Student), fmt.Sprintf("%s/%s", student.Points, c.Points)
	}
	left, middle := widest(names), widest(earned)
	for i, student := range c.Students {
		head := text.Pad(names[i], left, ' ') + "  " + text.AlignRight.Apply(earned[i], middle) + "  "
		hang(w, head, student.missed(), s.Width)
	}
	c.writeMissed(w, s)
	c.writeAlike(w, s)
	return w.Flush()
}

func titled(title string) string {
	if title == "" {
		return ""
	}
	return report.Printable(title) + ": "
}

func widest(all []string) (most int) {
	for _, s := range all {
		most = max(most, text.StringWidthWithoutEscSequences(s))
	}
	return most
}

// Size says how many students there are, and what each could earn.
func (c *Class) Size() string {
	return phrase.Count(len(c.Students), "student") + ", " + c.Points.Counted()
}

// missed says in words what did not earn all points, and the remark.
func (s *Student) missed() string {
	var out []string
	if s.Error != "" {
		return report.Printable(s.Remark)
	}
	for _, r := range s.Criteria {
		if r.Outcome != Full {
			out = append(out, fmt.Sprintf("%s %s/%s (%s; wanted %s)", r.Name, r.Points, r.Of, r.Measured, r.Wanted))
		}
	}
	if s.Remark != "" {
		out = append(out, s.Remark)
	}
	return report.Printable(strings.Join(out, ", "))
}

// hang writes a text behind a head, further lines below it.
func hang(w io.Writer, head, body string, width int) {
	indent := text.StringWidthWithoutEscSequences(head)
	if indent > width/2 {
		fmt.Fprintln(w, strings.TrimRight(head, " "))
		head, indent = "    ", 4
		if body == "" {
			return
		}
	}
	for i, line := range strings.Split(text.WrapSoft(body, max(20, width-indent)), "\n") {
		if i > 0 {
			head = strings.Repeat(" ", indent)
		}
		fmt.Fprintln(w, strings.TrimRight(head+line, " "))
	}
}

// writeMissed lists the criteria by what the class made of them, the worst
// first; those that all earned are left out.
func (c *Class) writeMissed(w io.Writer, s report.Style) {
	type row struct {
		Summary
		of Points
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
	fmt.Fprint(w, "\nwhat the class missed most\n")
	for _, r := range rows {
		hang(w, "  ", fmt.Sprintf("%s: %s of %s on average; all points %s, none %s", report.Printable(r.Name), points(r.Mean), r.of, phrase.Count(int64(r.Full), "time"), phrase.Count(int64(r.None), "time")), s.Width)
	}
}

func (c *Class) writeAlike(w io.Writer, s report.Style) {
	if len(c.Alike) > 0 {
		fmt.Fprint(w, "\nto be asked, not marked\n")
	}
	for _, a := range c.Alike {
		hang(w, "  ", report.Printable(a.Told()), s.Width)
	}
	if len(c.Untold) > 0 {
		names := []string{}
		for _, u := range c.Untold {
			names = append(names, u.File)
		}
		more := ""
		if n := len(names) - 5; n > 0 {
			names, more = names[:5], fmt.Sprintf(" and %d more", n)
		}
		fmt.Fprintln(w)
		hang(w, "", report.Printable("too little noise to tell whether they are anyone else's: "+strings.Join(names, ", ")+more), s.Width)
	}
}

// Planned is a file with its student and channels, before anything is graded.
type Planned struct {
	Student, File string
	Channels      []string
	Err           string
}

// WritePlan shows whose files are whose.
func WritePlan(to io.Writer, rows []Planned, missing []string, s report.Style) error {
	w := bufio.NewWriter(to)
	rows = slices.Clone(rows)
	for _, name := range missing {
		rows = append(rows, Planned{Student: name, Err: "nothing handed in"})
	}
	slices.SortStableFunc(rows, func(a, b Planned) int { return strings.Compare(a.Student, b.Student) })
	names, files := []string{}, []string{}
	for _, r := range rows {
		names, files = append(names, report.Printable(r.Student)), append(files, report.Printable(r.File))
	}
	left, middle := widest(names), widest(files)
	for i, r := range rows {
		what := strings.Join(r.Channels, ", ")
		if r.Err != "" {
			what = r.Err
		}
		hang(w, text.Pad(names[i], left, ' ')+"  "+text.Pad(files[i], middle, ' ')+"  ", report.Printable(what), s.Width)
	}
	return w.Flush()
}
