package grade

import (
	"cmp"
	"fmt"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode/alike"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// Class is the document of `grade`.
type Class struct {
	Schema   string     `json:"schema"`
	Title    string     `json:"title"`
	Points   Points     `json:"points"`
	Students []*Student `json:"students"`
	Alike    []Alike    `json:"alike"`
	Untold   []Untold   `json:"untold"`
	Class    []Summary  `json:"class"`
}

// Student is what one student handed in and what it earned. Criteria are the
// best over the captures.
type Student struct {
	Student  string      `json:"student"`
	Files    []string    `json:"files"`
	Points   Points      `json:"points"`
	Error    report.Word `json:"error"`
	Criteria []Result    `json:"criteria"`
	Remark   string      `json:"remark"` // what could not be read, for the gradebook
}

// Summary is what the class made of one criterion.
type Summary struct {
	Name string  `json:"name"`
	Mean float64 `json:"mean"` // points
	Full int     `json:"full"` // students with all of them
	None int     `json:"none"`
}

// Alike is a pair of captures that hold the same recording, as far as that
// goes: a question, never a mark.
type Alike struct {
	Students []string          `json:"students"`
	Files    []string          `json:"files"`
	Channels []string          `json:"channels"`
	Frames   int               `json:"frames"`
	Start    [2]report.Seconds `json:"start_s"`
	End      [2]report.Seconds `json:"end_s"`
	Message  string            `json:"message"`
}

// Told is whose captures they are, what makes one ask, and where it is seen.
func (a *Alike) Told() string {
	var where []string
	for i, file := range a.Files {
		if a.Frames > 0 {
			file = fmt.Sprintf("%s in %s, %s to %s s", a.Channels[i], file, a.Start[i].Decimals(1), a.End[i].Decimals(1))
		}
		where = append(where, file)
	}
	return fmt.Sprintf("%s and %s: %s (%s)", a.Students[0], a.Students[1], a.Message, strings.Join(where, "; "))
}

// Untold is a capture of which likeness cannot be told.
type Untold struct {
	Student string `json:"student"`
	File    string `json:"file"`
	Message string `json:"message"`
}

// Graded is one file: what it earned, or why it could not be read.
type Graded struct {
	Student, File string
	Results       []Result
	Err           string
	Recording     *alike.Recording // nil where it could not be read
	Sum           string           // of the file's bytes where another has as many; "" elsewhere
}

// Grade holds a hand-in against every criterion.
func (r *Rubric) Grade(h *HandIn) []Result {
	results := make([]Result, len(r.Criteria))
	for i, c := range r.Criteria {
		results[i] = c.grade(h)
	}
	return results
}

// NewClass gathers what was graded; missing are students of whom there is no
// capture. Students are in the order of code points.
func NewClass(r *Rubric, graded []Graded, missing []string) *Class {
	c := &Class{Schema: "widthwise.grade/1", Title: r.Title, Points: r.Points, Students: []*Student{}, Alike: []Alike{}, Untold: []Untold{}, Class: []Summary{}}
	for _, g := range graded {
		c.student(g.Student).add(g)
	}
	for _, name := range missing {
		c.student(name).Remark = "nothing handed in"
	}
	slices.SortFunc(c.Students, func(a, b *Student) int { return strings.Compare(a.Student, b.Student) })
	for _, s := range c.Students {
		s.settle(r)
	}
	for i := range r.Criteria {
		c.Class = append(c.Class, c.summary(r, i))
	}
	c.compare(graded)
	return c
}

// Size says how many students there are, and what each could earn.
func (c *Class) Size() string {
	return phrase.Count(len(c.Students), "student") + ", " + c.Points.Counted()
}

func (c *Class) student(name string) *Student {
	i := slices.IndexFunc(c.Students, func(s *Student) bool { return s.Student == name })
	if i < 0 {
		c.Students = append(c.Students, &Student{Student: name, Files: []string{}, Criteria: []Result{}})
		i = len(c.Students) - 1
	}
	return c.Students[i]
}

// add takes a capture in: each criterion takes the best. One that cannot be
// read counts only where nothing else was handed in.
func (s *Student) add(g Graded) {
	s.Files = append(s.Files, g.File)
	switch {
	case g.Err != "" && s.Remark != "":
		s.Remark += "; " + g.Err
	case g.Err != "":
		s.Remark = g.Err
	case len(s.Criteria) == 0:
		s.Criteria = slices.Clone(g.Results)
	default:
		for i, r := range g.Results {
			if r.Points > s.Criteria[i].Points {
				s.Criteria[i] = r
			}
		}
	}
}

// settle adds the points up; a student in error has none.
func (s *Student) settle(r *Rubric) {
	if len(s.Criteria) == 0 {
		s.Error = report.Word(s.Remark)
		for _, c := range r.Criteria {
			s.Criteria = append(s.Criteria, Result{Name: c.Name, Of: c.Points, Outcome: None, Wanted: c.task.wanted(nil, nil)})
		}
	}
	for _, result := range s.Criteria {
		s.Points += result.Points
	}
}

func (c *Class) summary(r *Rubric, i int) Summary {
	s := Summary{Name: r.Criteria[i].Name}
	var all Points
	for _, student := range c.Students {
		result := student.Criteria[i]
		all += result.Points
		switch result.Outcome {
		case Full:
			s.Full++
		case None:
			s.None++
		}
	}
	if n := len(c.Students); n > 0 {
		s.Mean = float64(all) / 100 / float64(n)
	}
	return s
}

// Ungraded says whether nothing at all could be graded.
func (c *Class) Ungraded() bool {
	return !slices.ContainsFunc(c.Students, func(s *Student) bool { return s.Error == "" })
}

// compare finds what was handed in twice.
func (c *Class) compare(graded []Graded) {
	recordings := make([]*alike.Recording, len(graded))
	for i, g := range graded {
		if recordings[i] = g.Recording; g.Recording != nil && !g.Recording.Told() {
			c.Untold = append(c.Untold, Untold{g.Student, g.File, "too little noise to tell"})
		}
	}
	matches := alike.Find(recordings, func(i int) string { return graded[i].Student })
	matches = append(matches, sameBytes(graded, matches)...)
	slices.SortStableFunc(matches, func(x, y alike.Match) int { return cmp.Or(cmp.Compare(x.A, y.A), cmp.Compare(x.B, y.B)) })
	for _, m := range matches {
		c.Alike = append(c.Alike, told(m, graded[m.A], graded[m.B]))
	}
}

// sameBytes lists the pairs of files of equal bytes that nothing else tells of.
func sameBytes(graded []Graded, known []alike.Match) (out []alike.Match) {
	for i, a := range graded {
		for k := i + 1; k < len(graded) && a.Sum != ""; k++ {
			b := graded[k]
			if a.Sum != b.Sum || a.Student == b.Student || slices.ContainsFunc(known, func(m alike.Match) bool { return m.A == i && m.B == k }) {
				continue
			}
			m := alike.Match{A: i, B: k}
			if a.Recording != nil {
				m = a.Recording.Whole(i, k)
			}
			out = append(out, m)
		}
	}
	return out
}

func told(m alike.Match, a, b Graded) Alike {
	out := Alike{Students: []string{a.Student, b.Student}, Files: []string{a.File, b.File}, Channels: []string{}, Frames: m.Frames,
		Start: [2]report.Seconds{report.Seconds(m.Start[0]), report.Seconds(m.Start[1])},
		End:   [2]report.Seconds{report.Seconds(m.End[0]), report.Seconds(m.End[1])}}
	if m.Frames > 0 {
		out.Channels = m.Channels[:]
	}
	switch same := a.Sum != "" && a.Sum == b.Sum; {
	case same:
		out.Message = "the two files are equal to the byte: were they recorded together, or handed on?"
	default:
		out.Message = fmt.Sprintf("%d frames agree pulse by pulse: is this one recording, handed in twice?", m.Frames)
	}
	return out
}
