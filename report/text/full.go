package text

import (
	"strings"

	"widthwise/report"
)

// full is all that stands behind an answer.
func (p *Sheet) full(c *report.Capture, rows []*report.Channel) {
	p.heading("capture")
	for _, f := range facts(&c.Facts) {
		p.hang("  "+f[0], 14, f[1])
	}
	if len(rows) > 0 {
		p.heading("figures")
	}
	for _, ch := range rows {
		for i, line := range lines(ch, c.Resolution) {
			first := ""
			if i == 0 {
				first = "  " + ch.Shown() + "  "
			}
			p.hang(first, p.besideName(rows), line)
		}
	}
	if len(rows) > 0 {
		p.hang("", 2, clockWords)
	}
	p.others(c)
	p.findings(c)
	if len(c.Unseen) > 0 {
		p.heading("not seen")
	}
	for _, line := range c.Unseen {
		p.hang("  ", 4, report.Printable(line))
	}
	if len(c.Notes) > 0 {
		p.heading("notes")
	}
	for _, note := range once(c.Notes) {
		p.hang("  ", 4, report.Printable(note))
	}
}

// besideName is where figures begin, behind names of ordinary length.
func (p *Sheet) besideName(rows []*report.Channel) int {
	longest := 4
	for _, ch := range rows {
		longest = max(longest, columns(ch.Shown())+4)
	}
	return min(longest, max(p.Width/3, 4))
}

// facts are the lines that tell of a file as a whole.
func facts(f *report.Facts) [][2]string {
	format := f.Format
	if f.Compression != "none" && f.Compression != "" {
		format += ", " + f.Compression
	}
	out := [][2]string{{"format", format}}
	if f.Dialect != "" {
		out = append(out, [2]string{"dialect", report.Printable(string(f.Dialect))})
	}
	span := f.Start.Decimals(3) + " s to " + f.End.Decimals(3) + " s (" + report.Lasting(f.Duration) + ")"
	if f.Origin != "" {
		span += ", counted from " + report.Printable(string(f.Origin))
	}
	return append(out, [2]string{"span", span}, [2]string{"time step", report.Step(f.Resolution)})
}

// others are the channels that were measured and not judged.
func (p *Sheet) others(c *report.Capture) {
	opened := false
	for _, ch := range c.Channels {
		if ch.Judged {
			continue
		}
		if !opened {
			p.heading("not judged")
			opened = true
		}
		p.hang("  ", 4, ch.Shown()+": "+ch.KindOf(c.Resolution))
	}
}

// findings are all of them, in order of time.
func (p *Sheet) findings(c *report.Capture) {
	if len(c.Findings) == 0 {
		return
	}
	p.heading("findings")
	for _, f := range c.Findings {
		who := ""
		if len(f.Channels) > 0 {
			who = report.Printable(strings.Join(f.Channels, ", ")) + ": "
		}
		p.hang("  "+p.severity(f.Severity), 8, moment(f.Start, f.End)+", "+who+f.Kind+", "+report.Printable(f.Message))
	}
}
