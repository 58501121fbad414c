package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"
)

// rows collects tab-separated lines whose first word says what the rest is, so
// that the lines of many captures can be joined, picked and compared.
type rows struct {
	strings.Builder
	file string
}

// columns names the fields of the channel rows. They never change their place.
var columns = []string{
	"columns", "file", "channel", "verdict", "signal", "pulses", "frames",
	"width_min_us", "width_median_us", "width_max_us", "period_ms", "period_u95_us", "period_sd_us",
	"jitter_rms_us", "jitter_p99_us", "dropped_frames", "glitches", "losses", "lost_s", "label",
}

func (r *rows) row(kind string, fields ...string) {
	r.WriteString(kind + "\t" + safe(r.file))
	for _, f := range fields {
		r.WriteString("\t" + safe(f))
	}
	r.WriteString("\n")
}

// writeRows writes a capture for a pipe. Colour, where it was asked for, is on
// the words of verdict and severity only.
func (c *Capture) writeRows(w io.Writer, style Style) error {
	r := &rows{file: c.File}
	r.WriteString(c.headline() + "\n")
	r.row("capture", c.Format, c.Compression, decimalText(c.Start)+" s", decimalText(c.End)+" s", "time step "+step(c.Resolution))
	r.WriteString(strings.Join(columns, "\t") + "\n")
	for _, ch := range c.judged() {
		r.channel(ch, scale{float64(c.Resolution)})
	}
	for _, line := range c.unjudged() {
		r.row("unjudged", line)
	}
	for _, f := range c.Findings {
		r.row("finding", strings.Join(f.Channels, ","), f.Severity, f.Kind, decimalText(f.Start)+" s", decimalText(f.End)+" s", strconv.FormatInt(f.Count, 10), f.Message)
	}
	for _, ch := range c.Channels {
		r.causes(ch.Name, ch.Causes)
	}
	for _, note := range c.Notes {
		r.row("note", note)
	}
	for _, line := range c.Unseen {
		r.row("unseen", line)
	}
	r.WriteString("safety\t" + safety + "\n")
	r.row("verdict", string(c.Verdict), c.reason())
	text := r.String()
	if style.Colour {
		text = style.inkRows(text)
	}
	_, err := io.WriteString(w, text)
	return err
}

func (r *rows) channel(ch *Channel, s scale) {
	width, period, jitter := [3]string{"-", "-", "-"}, [3]string{"-", "-", "-"}, [2]string{"-", "-"}
	if w := ch.Width; w != nil {
		width = [3]string{s.width(w.Min), s.width(w.Median), s.width(w.Max)}
	}
	if p := ch.Period; p != nil {
		period = [3]string{fixed(p.Nominal/1000, min(s.decimals()+4, 6)), fixed(p.MeanU95, 3), s.spread(p.SD)}
	}
	if j := ch.Jitter; j != nil {
		jitter = [2]string{s.spread(j.WidthRMS), s.width(j.WidthP99)}
		if !j.Resolved && !j.WidthRMS.missing() {
			jitter[0] = "unresolved"
		}
	}
	n := func(v int64) string { return strconv.FormatInt(v, 10) }
	verdict := string(ch.Verdict)
	if verdict == "" {
		verdict = "-"
	}
	r.row("channel", ch.Name, verdict, ch.Signal, n(ch.Pulses), n(ch.Frames),
		width[0], width[1], width[2], period[0], period[1], period[2], jitter[0], jitter[1],
		n(ch.Dropped), n(ch.Glitches), n(ch.Losses), decimalText(ch.Lost), ch.Label)
}

func (r *rows) causes(channel string, causes []Cause) {
	for _, cause := range causes {
		r.row("cause", channel, cause.Cause, "seen: "+strings.Join(cause.Evidence, "; "), "try: "+cause.Try)
	}
}

// inkRows colours the words of verdict and severity, which stand in fields of
// their own.
func (s Style) inkRows(text string) string {
	lines := strings.SplitAfter(text, "\n")
	for i, line := range lines {
		for _, word := range []string{"fail", "warn", "undecided", "note"} {
			if !strings.HasPrefix(line, word+"\t") {
				line = strings.Replace(line, "\t"+word+"\t", "\t"+s.ink(word, word)+"\t", 1)
			}
		}
		lines[i] = line
	}
	return strings.Join(lines, "")
}

// decimalText is an instant or duration in seconds with all its decimals.
func decimalText(s Seconds) string {
	b, _ := s.MarshalJSON()
	return string(b)
}

// WriteVerdict writes the one line of a quiet check.
func (c *Capture) WriteVerdict(w io.Writer, style Style) error {
	var err error
	if style.Terminal {
		pad := strings.Repeat(" ", max(11-len(c.Verdict), 2))
		_, err = fmt.Fprintf(w, "%s%s%s\n", style.verdict(c.Verdict), pad, safe(c.File))
	} else {
		_, err = fmt.Fprintf(w, "%s\t%s\n", c.Verdict, safe(c.File))
	}
	return err
}
