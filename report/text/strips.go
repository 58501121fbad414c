package text

import (
	"math"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/report"
	"widthwise/report/trace"
)

// Strips of chart paper, one a channel: time from left to right, the width as
// the height of the pen, a gap where no pulse is, and a mark where a finding
// lies. Findings that speak of the whole capture leave no mark.

const (
	shortestStrip = 20
	paleInk       = " "
)

// pens draw a width by its height, low to high; marks a finding by its severity.
var (
	pens       = []string{"⎽", "⎼", "─", "⎻", "⎺"}
	severities = []string{"", "note", "warn", "fail"}
	marks      = []string{"", "·", "!", "X"}
)

// strips draws at most so many channels, those with a mark first.
func (p *Sheet) strips(c *report.Capture, a *decode.Analysis, rows []*report.Channel, most int) {
	measured := map[string]*decode.ChannelAnalysis{}
	for _, m := range a.Measured() {
		measured[m.Name] = m
	}
	names := 0
	for _, ch := range rows {
		names = min(max(names, columns(ch.Shown())), 24)
	}
	length := p.Width - names - 2
	if length < shortestStrip || c.Duration <= 0 {
		return
	}
	var strips []string
	for _, ch := range p.worthDrawing(c, rows, length, most) {
		if m := measured[ch.Name]; m != nil {
			name := clip(ch.Shown(), names)
			strips = append(strips, name+strings.Repeat(" ", names-columns(name)+2)+p.strip(c, ch, m, length))
		}
	}
	if len(strips) == 0 {
		return
	}
	p.Line(strings.Join(strips, "\n"))
	left, right := c.Start.Decimals(1)+" s", c.End.Decimals(1)+" s"
	legend := "X fail  ! warn  · note"
	if gap := length - len(left) - len(right) - len([]rune(legend)); gap >= 4 {
		p.Line(strings.Repeat(" ", names+2) + left + strings.Repeat(" ", gap/2) + legend + strings.Repeat(" ", gap-gap/2) + right)
		return
	}
	p.Line(strings.Repeat(" ", names+2) + left + strings.Repeat(" ", max(length-len(left)-len(right), 1)) + right)
}

// worthDrawing picks channels in their order, those without a mark only as far
// as there is room.
func (p *Sheet) worthDrawing(c *report.Capture, rows []*report.Channel, length, most int) []*report.Channel {
	marked := map[*report.Channel]bool{}
	for _, ch := range rows {
		marked[ch] = slices.Max(findingsOn(c, ch, length)) > 0
	}
	byMark := slices.Clone(rows)
	slices.SortStableFunc(byMark, func(x, y *report.Channel) int {
		switch {
		case marked[x] == marked[y]:
			return 0
		case marked[x]:
			return -1
		}
		return 1
	})
	drawn := byMark[:min(most, len(byMark))]
	slices.SortStableFunc(drawn, func(x, y *report.Channel) int { return slices.Index(rows, x) - slices.Index(rows, y) })
	return drawn
}

// paper is the range of widths that a strip's height stands for, in
// picoseconds: the usual one, or half of it for narrow pulses.
func paper(ch *report.Channel) (low, high decode.Time) {
	const usual, narrow = 1000 * decode.Microsecond, 500 * decode.Microsecond
	if ch.Width != nil && ch.Width.Median < 1000 && ch.Period != nil && ch.Period.Nominal < 5000 {
		return narrow, 2 * narrow
	}
	return usual, 2 * usual
}

func (p *Sheet) strip(c *report.Capture, ch *report.Channel, m *decode.ChannelAnalysis, length int) string {
	low, high := paper(ch)
	found := findingsOn(c, ch, length)
	columns := trace.Thin(m, decode.Time(c.Start), decode.Time(c.End), length)
	var b strings.Builder
	for i, pen := range heights(columns, low, high) {
		if at := found[i]; at > 0 {
			b.WriteString(p.ink(severities[at], marks[at]))
			continue
		}
		b.WriteString(pen)
	}
	return b.String()
}

// stay is how far a width goes beyond a pen's height, in heights, before the pen
// moves: a channel at rest between two heights draws a line.
const stay = 0.1

// heights draws each column; one without a pulse keeps the height where the pen
// stays down across it.
func heights(paper []trace.Column, low, high decode.Time) []string {
	out := make([]string, len(paper))
	last := -1 // the column drawn last
	pen := 0
	for i, col := range paper {
		if out[i] = paleInk; col.Pulses == 0 {
			continue
		}
		height := float64((col.Min+col.Max)/2-low) / float64(high-low) * float64(len(pens))
		if last < 0 || math.Abs(height-float64(pen)-0.5) > 0.5+stay {
			pen = min(max(int(height), 0), len(pens)-1)
		}
		out[i] = pens[pen]
		for k := last + 1; last >= 0 && !col.Lifted && k < i; k++ {
			out[k] = out[last]
		}
		last = i
	}
	return out
}

// findingsOn tells how grave the findings are in each column.
func findingsOn(c *report.Capture, ch *report.Channel, length int) []int {
	cells := make([]int, length)
	at := func(t report.Seconds) int {
		return min(max(int(float64(t-c.Start)/float64(c.Duration)*float64(length)), 0), length-1)
	}
	for _, f := range c.Findings {
		if !speaksOf(c, f, ch) || f.End-f.Start > c.Duration/100*95 {
			continue
		}
		for i := at(f.Start); i <= at(f.End); i++ {
			cells[i] = max(cells[i], slices.Index(severities, f.Severity))
		}
	}
	return cells
}

// speaksOf tells whether a finding is about a channel, one of its slots, or the
// stream that it is a slot of.
func speaksOf(c *report.Capture, f report.Finding, ch *report.Channel) bool {
	return slices.ContainsFunc(f.Channels, func(name string) bool {
		named := func(other *report.Channel) bool { return other.Name == name }
		return named(ch) || slices.ContainsFunc(ch.Slots, named) ||
			slices.ContainsFunc(c.Channels, func(stream *report.Channel) bool { return named(stream) && slices.Contains(stream.Slots, ch) })
	})
}
