package picture

import (
	"fmt"
	"image/color"

	"golang.org/x/exp/slices"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"widthwise/decode"
	"widthwise/report/trace"
)

// strip draws a lane: its legal widths, what was found, its rests, its trace.
type strip struct {
	c *capture
	l lane
}

// Heights within a lane, in points.
const (
	railTop = 12 // below the top, where events have their rail
	foot    = 8  // above the bottom, where rests and gaps are marked
)

func (s strip) draw(c draw.Canvas) {
	start, end := seconds(s.c.Start), seconds(s.c.End)
	x := func(t float64) vg.Length { return c.Min.X + vg.Length((t-start)/(end-start))*(c.Max.X-c.Min.X) }
	low, high := s.l.low, s.l.high
	bottom, top := c.Min.Y+foot, c.Max.Y-railTop-4
	y := func(us float64) vg.Length { return bottom + vg.Length((us-low)/(high-low))*(top-bottom) }
	box(c, sheet, c.Min.X, c.Max.X, c.Min.Y, c.Max.Y)
	if s.l.warn != [2]float64{} {
		box(c, band, c.Min.X, c.Max.X, max(y(s.l.warn[0]), bottom), min(y(s.l.warn[1]), top))
		for _, us := range s.l.warn {
			style := hand(8, soft, false)
			style.XAlign = draw.XRight
			c.FillText(style, vg.Point{X: c.Max.X - 3, Y: y(us) - 3}, fmt.Sprintf("%g", us))
		}
	}
	s.found(c, x)
	s.rests(c, x)
	s.trace(c, y)
	line := draw.LineStyle{Color: rule, Width: 0.75}
	c.StrokeLines(line, []vg.Point{c.Min, {X: c.Max.X, Y: c.Min.Y}, c.Max, {X: c.Min.X, Y: c.Max.Y}, c.Min})
	c.FillText(hand(10, ink, true), vg.Point{X: c.Min.X + 5, Y: c.Max.Y - 10}, fit(s.l.Shown(), 60))
}

// trace draws what the pen would do within each column.
func (s strip) trace(c draw.Canvas, y func(float64) vg.Length) {
	style := draw.LineStyle{Color: ink, Width: 0.9}
	gaps := draw.LineStyle{Color: ink, Width: 0.6}
	step := (c.Max.X - c.Min.X) / vg.Length(len(s.l.columns))
	at := func(i int, w decode.Time) vg.Point {
		return vg.Point{X: c.Min.X + (vg.Length(i)+0.5)*step, Y: y(float64(w) / float64(decode.Microsecond))}
	}
	var pen []vg.Point
	for i, column := range s.l.columns {
		if column.Pulses == 0 {
			continue
		}
		if column.Lifted && len(pen) > 0 {
			c.StrokeLines(style, pen)
			pen = nil
		}
		if column.Gap {
			x := at(i, 0).X
			c.StrokeLine2(gaps, x, c.Min.Y+foot-4, x, c.Min.Y+foot)
		}
		pen = append(pen, stroke(at, i, column)...)
	}
	if len(pen) > 0 {
		c.StrokeLines(style, pen)
	}
}

// stroke is one column's part of the line; a single pulse leaves a dot.
func stroke(at func(int, decode.Time) vg.Point, i int, column trace.Column) []vg.Point {
	points := []vg.Point{at(i, column.First)}
	for _, w := range []decode.Time{column.Min, column.Max, column.Last} {
		if next := at(i, w); next != points[len(points)-1] {
			points = append(points, next)
		}
	}
	if len(points) == 1 {
		points = append(points, vg.Point{X: points[0].X + 0.5, Y: points[0].Y})
	}
	return points
}

func (s strip) rests(c draw.Canvas, x func(float64) vg.Length) {
	style := draw.LineStyle{Color: soft, Width: 0.75}
	y := c.Min.Y + 2.5
	for _, r := range s.l.Rests {
		from, to := x(seconds(r.Start)), x(seconds(r.End))
		if to-from < 2 {
			continue
		}
		c.StrokeLine2(style, from, y, to, y)
		c.StrokeLine2(style, from, y-2, from, y+2)
		c.StrokeLine2(style, to, y-2, to, y+2)
	}
}

// found marks the events that touch the lane: a wash down the lane, a rail and
// a numbered flag on top.
func (s strip) found(c draw.Canvas, x func(float64) vg.Length) {
	var taken [][2]vg.Length
	for i, e := range s.c.Events {
		if len(e.Channels) > 0 && !slices.ContainsFunc(e.Channels, func(name string) bool { return slices.Contains(s.l.names, name) }) {
			continue
		}
		for _, t := range s.c.Stretches(&e) {
			from := x(seconds(t[0]))
			to := max(x(seconds(t[1])), from+1.5)
			colour := severities[e.Severity]
			if t[1]-t[0] <= s.c.Duration/100*95 {
				wash := colour
				wash.A = 0x33
				box(c, wash, from, to, c.Min.Y, c.Max.Y-railTop)
			}
			box(c, colour, from, to, c.Max.Y-railTop-3, c.Max.Y-railTop)
			taken = s.flag(c, colour, fmt.Sprint(i+1), [2]vg.Length{from, to}, taken)
		}
	}
}

// flag writes an event's number over a stretch, clear of the lane's name and of
// other flags, or not at all. It returns the room that is taken.
func (s strip) flag(c draw.Canvas, colour color.Color, words string, over [2]vg.Length, taken [][2]vg.Length) [][2]vg.Length {
	x := max(over[0], c.Min.X+8+hand(10, ink, true).Width(fit(s.l.Shown(), 60)))
	style := hand(8, color.Black, true)
	end := x + style.Width(words) + 6
	if x > over[0] && x > over[1] || slices.ContainsFunc(taken, func(t [2]vg.Length) bool { return x < t[1]+2 && end > t[0]-2 }) {
		return taken
	}
	box(c, colour, x, end, c.Max.Y-railTop, c.Max.Y-2)
	c.FillText(style, vg.Point{X: x + 3, Y: c.Max.Y - 9.5}, words)
	return append(taken, [2]vg.Length{x, end})
}

func box(c draw.Canvas, colour color.Color, left, right, bottom, top vg.Length) {
	c.FillPolygon(colour, []vg.Point{{X: left, Y: bottom}, {X: right, Y: bottom}, {X: right, Y: top}, {X: left, Y: top}})
}
