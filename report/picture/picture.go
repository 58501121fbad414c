// Package picture draws what check found as a still: the strip chart of every
// judged channel, in the look of the page. The same input gives the same bytes.
package picture

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"widthwise/decode"
	"widthwise/report"
	"widthwise/report/trace"
)

// Sizes in points; 900 of them are 1600 pixels at 128 to the inch.
const (
	width      = 900
	dots       = 128
	margin     = 14
	headHeight = 28
	lineHeight = 14
	laneHeight = 72
	rulerSpace = 28
	maxEvents  = 5
	columns    = 1600
)

// Colours of the page: paper, ink, and the Okabe-Ito set for what was found.
var (
	paper = color.NRGBA{0xf3, 0xee, 0xe3, 0xff}
	sheet = color.NRGBA{0xfc, 0xf9, 0xf2, 0xff}
	ink   = color.NRGBA{0x22, 0x1e, 0x18, 0xff}
	soft  = color.NRGBA{0x5d, 0x55, 0x47, 0xff}
	rule  = color.NRGBA{0xcf, 0xc5, 0xb1, 0xff}
	band  = color.NRGBA{0x22, 0x1e, 0x18, 0x12}

	severities = map[string]color.NRGBA{
		"fail": {0xd5, 0x5e, 0x00, 0xff}, "warn": {0xe6, 0x9f, 0x00, 0xff}, "note": {0x56, 0xb4, 0xe9, 0xff},
	}
)

// Still collects what a picture shows.
type Still struct{ captures []capture }

type capture struct {
	*report.Capture
	lanes []lane
}

type lane struct {
	*report.Channel
	names     []string // the lane's own, and its stream's
	warn      [2]float64
	low, high float64 // widths that it shows, microseconds
	columns   []trace.Column
}

// Add takes in the lanes of a capture that was measured and judged.
func (s *Still) Add(told *report.Capture, a *decode.Analysis, j *decode.Judgement) {
	c := capture{Capture: told}
	for _, l := range trace.Lanes(told, a, j) {
		if l.IsStream() {
			continue
		}
		names := []string{l.Told.Name}
		if l.Stream != nil {
			names = append(names, l.Stream.Name)
		}
		low, high := trace.Span(l.Judged.WidthFail, l.Measured.Width)
		c.lanes = append(c.lanes, lane{l.Told, names, l.Judged.WidthWarn, low, high, trace.Thin(l.Measured, a.Start, a.End, columns)})
	}
	s.captures = append(s.captures, c)
}

// AddUnread takes in a capture that could not be read: it has no lanes.
func (s *Still) AddUnread(told *report.Capture) {
	s.captures = append(s.captures, capture{Capture: told})
}

const caution = "A pass says that a capture is in order, not that the machine is safe."

// Write draws the captures one below the other, as "svg" or "png".
func (s *Still) Write(w io.Writer, format string) error {
	height := vg.Length(2*margin + lineHeight)
	for _, c := range s.captures {
		height += c.height()
	}
	var to interface {
		vg.CanvasSizer
		io.WriterTo
	}
	switch format {
	case "svg":
		to = vgsvg.New(width, height)
	case "png":
		to = lettered{vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(dots), vgimg.UseBackgroundColor(paper))}}
	default:
		return fmt.Errorf("%s: no format of a still; svg or png", format)
	}
	page := draw.New(to)
	page.FillPolygon(paper, []vg.Point{{}, {X: width}, {X: width, Y: height}, {Y: height}})
	top := height - margin
	for _, c := range s.captures {
		c.draw(draw.Crop(page, margin, -margin, top-c.height(), top-height))
		top -= c.height()
	}
	page.FillText(hand(10, soft, false), vg.Point{X: margin, Y: margin}, caution)
	_, err := to.WriteTo(w)
	return err
}

func (c *capture) height() vg.Length {
	return headHeight + vg.Length(len(c.told()))*lineHeight + vg.Length(len(c.lanes))*laneHeight + rulerSpace
}

func (c *capture) draw(to draw.Canvas) {
	top := to.Max.Y
	to.FillText(hand(15, ink, true), vg.Point{X: to.Min.X, Y: top - 16}, c.headline())
	top -= headHeight
	for _, story := range c.told() {
		to.FillText(hand(10, ink, false), vg.Point{X: to.Min.X, Y: top - 7}, story)
		top -= lineHeight
	}
	for _, l := range c.lanes {
		strip{c, l}.draw(draw.Crop(to, 0, 0, top-laneHeight-to.Min.Y, top-to.Max.Y))
		top -= laneHeight
	}
	if len(c.lanes) > 0 {
		c.ruler(to, top)
	}
}

// ruler writes round times along the foot of the paper.
func (c *capture) ruler(to draw.Canvas, y vg.Length) {
	from, end := seconds(c.Start), seconds(c.End)
	style := hand(9, ink, false)
	for _, t := range instants(from, end) {
		words := t.Label + " s"
		x := to.Min.X + vg.Length((t.Value-from)/(end-from))*(to.Max.X-to.Min.X)
		to.StrokeLine2(draw.LineStyle{Color: soft, Width: 0.75}, x, y-5, x, y)
		left := min(max(x-style.Width(words)/2, to.Min.X), to.Max.X-style.Width(words))
		to.FillText(style, vg.Point{X: left, Y: y - 15}, words)
	}
}

// told is a line for each event, those beyond a few counted, after the reason
// why nothing was read or decided.
func (c *capture) told() []string {
	var out []string
	for _, why := range []string{report.Printable(c.Err), c.Undecided()} {
		if why != "" {
			out = append(out, fit(why, 160))
		}
	}
	for i, e := range c.Events {
		if i == maxEvents {
			return append(out, fmt.Sprintf("and %d more", len(c.Events)-i))
		}
		out = append(out, fit(fmt.Sprintf("%d  %s: %s", i+1, e.Severity, report.Printable(e.Story)), 160))
	}
	return out
}

func (c *capture) headline() string {
	if c.Err != "" {
		return fit("not read   "+report.Printable(c.File), 110)
	}
	return fit(fmt.Sprintf("%s   %s   %s, %s s seen", c.Verdict, report.Printable(c.File), c.HowManyJudged(), c.Duration.Decimals(1)), 110)
}

// instants are a dozen round times at most, the last too near the end for its
// words left out.
func instants(from, to float64) []plot.Tick {
	if !(to > from) {
		return nil
	}
	const most = 12
	power := math.Pow10(int(math.Floor(math.Log10((to - from) / most))))
	step := power
	for _, k := range []float64{1, 2, 5, 10} {
		if step = k * power; (to-from)/step <= most {
			break
		}
	}
	digits := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var out []plot.Tick
	for k := math.Ceil(from/step - 1e-6); k*step <= to; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: strconv.FormatFloat(k*step+0, 'f', digits, 64)})
	}
	return out
}

func seconds(s report.Seconds) float64 { return float64(s) / float64(decode.Second) }

// hand is a style of writing.
func hand(size vg.Length, c color.Color, bold bool) draw.TextStyle {
	f := font.Font{Typeface: "Liberation", Variant: "Serif", Size: size}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return draw.TextStyle{Color: c, Font: f, Handler: text.Plain{Fonts: font.NewCache(liberation.Collection())}}
}

// lettered draws letters as paint. What its font has no letter for is written as
// an escape: a lane without its name would be nobody's.
type lettered struct{ vgimg.PngCanvas }

func (l lettered) FillString(f font.Face, at vg.Point, s string) {
	l.PngCanvas.FillString(f, at, report.Escaped(s, func(r rune) bool {
		glyph, err := f.Face.GlyphIndex(nil, r)
		return err != nil || glyph == 0
	}))
}

// fit cuts a line that is too long for the paper.
func fit(s string, letters int) string {
	if r := []rune(s); len(r) > letters {
		return string(r[:letters-3]) + "..."
	}
	return s
}
