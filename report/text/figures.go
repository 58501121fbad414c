package text

import (
	"fmt"
	"math"
	"strings"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// How figures are written: with as many digits as their uncertainty allows,
// and the uncertainty with two.

// stated writes a value and the half width of its 95 % interval.
func stated(v, u report.Number) string {
	if v.Missing() {
		return "-"
	}
	if u.Missing() || u <= 0 {
		return significant(v, 5)
	}
	digits := decimalsOf(u, 2)
	return report.Fixed(v, digits) + " ± " + report.Fixed(u, digits)
}

// decimalsOf is how many decimals leave u so many digits, at most nine.
func decimalsOf(u report.Number, digits int) int {
	return min(max(digits-1-int(math.Floor(math.Log10(float64(u))+1e-9)), 0), 9)
}

// significant writes v with so many digits, and no exponent.
func significant(v report.Number, digits int) string {
	if v.Missing() {
		return "-"
	}
	if v == 0 {
		return "0"
	}
	return report.Fixed(v, decimalsOf(max(v, -v), digits))
}

// width is a single width or percentile, as fine as the time step.
func width(n, resolution report.Number) string { return report.Fixed(n, report.Decimals(resolution)) }

// span writes a range of widths to the microsecond, for a table.
func span(w *report.Width) string {
	if w == nil {
		return "-"
	}
	low, high := report.Fixed(w.Min, 0), report.Fixed(w.Max, 0)
	if low == high {
		return low
	}
	return low + ".." + high
}

// period in milliseconds, for a table: to the microsecond and no finer than its
// interval.
func period(p *report.Period) string {
	switch {
	case p == nil || p.Nominal.Missing():
		return "-"
	case len(p.Changes) > 0:
		return "changes"
	}
	digits := 3
	if u := p.MeanU95 / 1000; u > 0 {
		digits = min(digits, max(decimalsOf(u, 1), 1))
	}
	return report.Fixed(p.Nominal/1000, digits)
}

// jitter in microseconds, for a table.
func jitter(j *report.Jitter) string {
	switch {
	case j == nil || j.WidthRMS.Missing():
		return "-"
	case !j.Resolved:
		return "< step"
	}
	return significant(j.WidthRMS, 2)
}

// lines are one channel's figures with their uncertainty. A slot has the period
// of its stream, which has no stick and no jitter of its own.
func lines(c *report.Channel, resolution report.Number) []string {
	var out []string
	if text := periodLine(c.Period); text != "" && !c.Slot() {
		out = append(out, text)
		for _, change := range c.Period.Changes {
			out = append(out, fmt.Sprintf("period changes at %s s from %s to %s ms", change.At.Decimals(2),
				significant(change.From/1000, 4), significant(change.To/1000, 4)))
		}
	}
	stream := len(c.Slots) > 0
	if w := c.Width; w != nil {
		of := "width"
		if stream {
			of = "markers"
		}
		out = append(out, fmt.Sprintf(of+" %s to %s us, median %s us", width(w.Min, resolution), width(w.Max, resolution), width(w.Median, resolution)))
	}
	if text := jitterLine(c.Jitter, resolution); text != "" && !stream {
		out = append(out, text)
	}
	out = append(out, fmt.Sprintf("%s of %s; %s, %s, %s, %s s lost", phrase.Count(c.Pulses, "pulse"), phrase.Count(c.Frames, "frame"),
		phrase.Count(c.Dropped, "dropped frame"), phrase.Count(c.Glitches, "glitch"), phrase.Count(c.Losses, "loss"), c.Lost.Decimals(3)))
	switch {
	case c.Follows != "":
		out = append(out, fmt.Sprintf("place %d in the frame; begins where %s ends", place(c), report.Printable(string(c.Follows))))
	case place(c) == 1:
		out = append(out, "first in the frame")
	case place(c) > 1:
		out = append(out, fmt.Sprintf("place %d in the frame, %s us after its first pulse", place(c), width(c.Offset, resolution)))
	}
	for _, k := range c.OtherKinds {
		out = append(out, fmt.Sprintf("%s from %s to %s s", k.Signal, k.Start.Decimals(3), k.End.Decimals(3)))
	}
	return out
}

func place(c *report.Channel) int {
	if c.Place == nil {
		return 0
	}
	return *c.Place
}

func periodLine(p *report.Period) string {
	if p == nil || p.Nominal.Missing() {
		return ""
	}
	text := "period " + significant(p.Nominal/1000, 6) + " ms"
	if !p.Mean.Missing() {
		text = "period " + stated(p.Mean/1000, p.MeanU95/1000) + " ms, sd " + significant(p.SD, 2) + " us"
	}
	if p.Pattern != "" {
		text += ", " + string(p.Pattern)
	}
	if p.Pattern != report.Word(decode.Steady) && len(p.Recurring) > 1 {
		var each []string
		for _, r := range p.Recurring {
			each = append(each, significant(r/1000, 5))
		}
		text += " (" + strings.Join(each, ", ") + " ms)"
	}
	if !p.DriftPPM.Missing() {
		text += ", drift " + report.Fixed(p.DriftPPM, 0) + " ppm"
	}
	return text
}

// jitterLine says how steady the widths are at rest, or why that is not known.
func jitterLine(j *report.Jitter, resolution report.Number) string {
	switch {
	case j == nil:
		return ""
	case j.WidthRMS.Missing():
		return "jitter not known: no rest of 25 frames"
	case !j.Resolved:
		return "jitter below what the time step resolves"
	}
	low, high := j.WidthRMSLow95, j.WidthRMSHigh95
	text := "jitter " + significant(j.WidthRMS, 2) + " us rms"
	if !low.Missing() && !high.Missing() && high > low {
		digits := decimalsOf((high-low)/2, 2)
		text = fmt.Sprintf("jitter %s us rms (95 %%: %s to %s)", report.Fixed(j.WidthRMS, digits), report.Fixed(low, digits), report.Fixed(high, digits))
	}
	if !j.WidthP99.Missing() {
		return text + ", p99 " + width(j.WidthP99, resolution) + " us, at rest over " + phrase.Count(j.WidthN, "frame")
	}
	if !j.WidthPP.Missing() {
		text += ", largest swing " + width(j.WidthPP, resolution) + " us, at rest over " + phrase.Count(j.WidthN, "frame")
	}
	return text
}

// clockWords name what no interval knows of. 50 ppm: common practice, no source.
const clockWords = "± is 95 %. The error of the capture's own clock is not in it and cannot be seen: 50 ppm, a common figure, is 1 us in 20 ms."
