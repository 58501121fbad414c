package text

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// Several sets many captures, one line each, as they come.
type Several struct {
	style  report.Style
	folder string // that all files are in, with its last separator
	file   int    // columns
}

// NewSeveral lays the lines out for the names of all files.
func NewSeveral(s report.Style, files []string) *Several {
	out := &Several{style: s, folder: sharedFolder(files)}
	longest := len("file")
	for _, f := range files {
		longest = max(longest, columns(out.shown(f)))
	}
	room := s.Width - verdictWidth - 4 // for the file and what happened
	for _, b := range between {
		room -= b.width + 2
	}
	out.file = min(longest, max(room-s.Width/3, room/2))
	return out
}

// sharedFolder is the longest folder that all names begin with.
func sharedFolder(files []string) string {
	shared := files[0]
	for _, f := range files {
		for !strings.HasPrefix(f, shared) {
			shared = shared[:len(shared)-1]
		}
	}
	return shared[:strings.LastIndexAny(shared, `/\\`)+1]
}

func (s *Several) shown(file string) string {
	return report.Printable(strings.TrimPrefix(file, s.folder))
}

// The columns between the file and what happened, by their widths.
var between = []struct {
	head  string
	width int
	of    func(*report.Capture) string
}{
	{"chans", 5, func(c *report.Capture) string { return fmt.Sprintf("%d/%d", len(c.JudgedChannels()), len(c.Channels)) }},
	{"period", 6, func(c *report.Capture) string { return sharedPeriod(c.JudgedChannels()) }},
	{"jitter", 6, func(c *report.Capture) string { return worstJitter(judged(c)) }},
	{"drop", 4, func(c *report.Capture) string {
		return total(c, func(ch *report.Channel) int64 { return ch.Dropped })
	}},
	{"loss", 4, func(c *report.Capture) string {
		return total(c, func(ch *report.Channel) int64 { return ch.Losses })
	}},
}

const (
	verdictWidth = len("unreadable")
	narrowest    = 76
)

// Head writes the line above the captures.
func (s *Several) Head(w io.Writer) error {
	if s.narrow() {
		return nil
	}
	p := NewSheet(s.style)
	line := pad("verdict", verdictWidth) + pad("file", s.file)
	for _, b := range between {
		line += right(b.head, b.width)
	}
	if s.folder != "" {
		p.Text("in " + report.Printable(s.folder))
	}
	p.Line(p.strong(line + "what happened"))
	_, err := p.WriteTo(w)
	return err
}

// Capture writes one line.
func (s *Several) Capture(w io.Writer, c *report.Capture) error {
	p := NewSheet(s.style)
	verdict := p.ink("unreadable", "unreadable")
	if c.Err == "" {
		verdict = p.verdict(c.Verdict)
	}
	what := brief(c)
	if s.narrow() {
		p.hang(verdict+"  ", 2, report.Printable(c.File))
		p.hang("", 2, what)
	} else {
		line := pad(verdict, verdictWidth) + pad(tail(s.shown(c.File), s.file), s.file)
		for _, b := range between {
			cell := ""
			if c.Err == "" {
				cell = b.of(c)
			}
			line += right(cell, b.width)
		}
		p.Line(line + clip(what, p.Width-columns(line)))
	}
	_, err := p.WriteTo(w)
	return err
}

// brief is Reason for a line that has little room.
func brief(c *report.Capture) string {
	what := Reason(c)
	switch {
	case c.Err != "":
	case len(c.Events) > 0:
		what = c.Events[0].Cause + ": " + what
	case decode.Outcome(c.Verdict) == decode.Passed:
		what = "nothing in " + report.Lasting(c.Duration)
	}
	if n := c.Warnings(); n > 0 && decode.Outcome(c.Verdict) == decode.Passed {
		what = phrase.Count(n, "warning") + ", " + what
	}
	return what
}

// Foot writes the caution, once.
func (s *Several) Foot(w io.Writer) error {
	p := NewSheet(s.style)
	p.Text("Channels judged of all; period in ms, jitter in us rms, the worst of them. One capture alone tells more; --rows and --json are for scripts.")
	p.Text(caution)
	_, err := p.WriteTo(w)
	return err
}

// narrow is where a line has no room for what happened.
func (s *Several) narrow() bool { return s.style.Width < narrowest }

func pad(s string, width int) string { return s + strings.Repeat(" ", max(width-columns(s), 0)+2) }

func right(s string, width int) string {
	return strings.Repeat(" ", max(width-columns(s), 0)) + s + "  "
}

// tail keeps the end of a path, which tells files apart.
func tail(s string, width int) string {
	r := []rune(s)
	for len(r) > 1 && columns(string(r)) > width {
		r = append([]rune("…"), r[2:]...)
	}
	return string(r)
}

func total(c *report.Capture, of func(*report.Channel) int64) string {
	n := int64(0)
	for _, ch := range c.JudgedChannels() {
		n += of(ch)
	}
	return strconv.FormatInt(n, 10)
}

// sharedPeriod is the period that the channels share to 1 %, else their number.
func sharedPeriod(rows []*report.Channel) string {
	var first report.Number
	for _, ch := range rows {
		if ch.Period == nil || ch.Period.Nominal.Missing() {
			continue
		}
		switch p := ch.Period.Nominal / 1000; {
		case first == 0:
			first = p
		case p < first*0.99 || p > first*1.01:
			return "differ"
		}
	}
	if first == 0 {
		return "-"
	}
	return significant(first, 4)
}

func worstJitter(rows []*report.Channel) string {
	worst, below := report.Number(0), false
	for _, ch := range rows {
		switch {
		case ch.Jitter == nil || ch.Jitter.WidthRMS.Missing():
		case !ch.Jitter.Resolved:
			below = true
		default:
			worst = max(worst, ch.Jitter.WidthRMS)
		}
	}
	switch {
	case worst > 0:
		return significant(worst, 2)
	case below:
		return "< step"
	}
	return "-"
}
