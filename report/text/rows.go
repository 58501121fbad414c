package text

import (
	"io"
	"strconv"
	"strings"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// rowColumns are the fields of the table for scripts. They never change their
// place; what comes is added behind.
var rowColumns = []struct {
	name string
	of   func(*report.Capture, *report.Channel) string
}{
	{"file", func(c *report.Capture, _ *report.Channel) string { return report.Printable(c.File) }},
	{"capture_verdict", func(c *report.Capture, _ *report.Channel) string { return string(c.Verdict) }},
	{"seen_s", func(c *report.Capture, _ *report.Channel) string { return c.Duration.String() }},
	{"channel", func(_ *report.Capture, ch *report.Channel) string { return report.Printable(ch.Name) }},
	{"label", func(_ *report.Capture, ch *report.Channel) string { return report.Printable(ch.Label) }},
	{"signal", func(_ *report.Capture, ch *report.Channel) string { return ch.Signal }},
	{"active", func(_ *report.Capture, ch *report.Channel) string { return string(ch.Active) }},
	{"verdict", func(_ *report.Capture, ch *report.Channel) string { return string(ch.Verdict) }},
	{"pulses", whole(func(ch *report.Channel) int64 { return ch.Pulses })},
	{"frames", whole(func(ch *report.Channel) int64 { return ch.Frames })},
	{"dropped_frames", whole(func(ch *report.Channel) int64 { return ch.Dropped })},
	{"glitches", whole(func(ch *report.Channel) int64 { return ch.Glitches })},
	{"losses", whole(func(ch *report.Channel) int64 { return ch.Losses })},
	{"lost_s", func(_ *report.Capture, ch *report.Channel) string { return ch.Lost.String() }},
	{"width_min_us", part(widthOf, func(w *report.Width) string { return w.Min.String() })},
	{"width_median_us", part(widthOf, func(w *report.Width) string { return w.Median.String() })},
	{"width_max_us", part(widthOf, func(w *report.Width) string { return w.Max.String() })},
	{"period_us", part(periodOf, func(p *report.Period) string { return p.Nominal.String() })},
	{"period_sd_us", part(periodOf, func(p *report.Period) string { return p.SD.String() })},
	{"jitter_rms_us", part(jitterOf, func(j *report.Jitter) string { return j.WidthRMS.String() })},
	{"jitter_p99_us", part(jitterOf, func(j *report.Jitter) string { return j.WidthP99.String() })},
	{"jitter_resolved", part(jitterOf, func(j *report.Jitter) string { return strconv.FormatBool(j.Resolved) })},
	{"error", func(c *report.Capture, _ *report.Channel) string { return report.Printable(c.Err) }},
}

// RowsHead writes the one header.
func RowsHead(w io.Writer) error {
	var names []string
	for _, c := range rowColumns {
		names = append(names, c.name)
	}
	_, err := io.WriteString(w, strings.Join(names, "\t")+"\n")
	return err
}

// Rows writes a line for each channel and slot of a capture; one that could not
// be read has a line with its error.
func Rows(w io.Writer, c *report.Capture) error {
	var b strings.Builder
	for _, ch := range c.Channels {
		row(&b, c, ch)
		for _, slot := range ch.Slots {
			row(&b, c, slot)
		}
	}
	if c.Err != "" {
		line := make([]string, len(rowColumns))
		line[0], line[len(line)-1] = report.Printable(c.File), report.Printable(c.Err)
		b.WriteString(strings.Join(line, "\t") + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func row(b *strings.Builder, c *report.Capture, ch *report.Channel) {
	for i, col := range rowColumns {
		if i > 0 {
			b.WriteByte('\t')
		}
		b.WriteString(col.of(c, ch))
	}
	b.WriteByte('\n')
}

type cell = func(*report.Capture, *report.Channel) string

func whole(of func(*report.Channel) int64) cell {
	return func(_ *report.Capture, ch *report.Channel) string { return strconv.FormatInt(of(ch), 10) }
}

// part has a field of figures that some channels lack, and is empty there.
func part[F any](figures func(*report.Channel) *F, of func(*F) string) cell {
	return func(_ *report.Capture, ch *report.Channel) string {
		f := figures(ch)
		if f == nil {
			return ""
		}
		return of(f)
	}
}

func widthOf(ch *report.Channel) *report.Width   { return ch.Width }
func periodOf(ch *report.Channel) *report.Period { return ch.Period }
func jitterOf(ch *report.Channel) *report.Jitter { return ch.Jitter }

// Quiet writes verdict, file and reason, parted by tabs.
func Quiet(w io.Writer, c *report.Capture) error {
	verdict := string(c.Verdict)
	if c.Err != "" {
		verdict = "unreadable"
	}
	reason := Reason(c)
	if open := c.Undecided(); open != "" {
		reason = open // rather than what was found besides
	}
	switch n := c.Warnings(); {
	case n == 0:
	case decode.Outcome(c.Verdict) == decode.Passed:
		reason = phrase.Count(n, "warning") + ": " + reason // the first of them
	default:
		reason += " " + phrase.Count(n, "warning") + " besides."
	}
	_, err := io.WriteString(w, strings.Join([]string{verdict, report.Printable(c.File), reason}, "\t")+"\n")
	return err
}
