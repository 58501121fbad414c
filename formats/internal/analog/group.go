package analog

import (
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// Group is the channels of a capture. It decides together when a block may go.
type Group struct {
	Channels []*Channel
	held     int64 // text when a block was first held back
}

// MayEmit tells whether what was gathered up to a stamp can go out: no channel
// still looks ahead for its states, and none has a crossing that is not certain
// yet, unless that was waited for long enough.
func (g *Group) MayEmit(at decode.Time, place, text int64) bool {
	if g.held == 0 {
		g.held = text
	}
	waited := text-g.held >= lookAheadText
	for _, c := range g.Channels {
		if c.due(at, text) {
			c.decide(at, place)
		}
		switch {
		case c.stage == swinging,
			c.stage == quiet && c.guessed == decode.Unknown && len(c.kept) > 0 && text < lookAheadText,
			c.pending && !waited:
			return false
		}
	}
	return true
}

// Settle readies the channels for the end of a block at a stamp: what is not
// known yet is told as far as it is.
func (g *Group) Settle(at decode.Time, place int64) {
	for _, c := range g.Channels {
		if c.stage == swinging {
			c.decide(at, place)
		}
	}
	g.flat()
	for _, c := range g.Channels {
		c.floor = at
	}
	g.held = 0
}

// Finish decides what is open at the capture's end.
func (g *Group) Finish(at decode.Time, place int64) {
	for _, c := range g.Channels {
		c.decide(at, place)
	}
	g.flat()
}

// flat tells the levels of channels that have not swung yet.
func (g *Group) flat() {
	var elsewhere *int64
	if i := slices.IndexFunc(g.Channels, func(c *Channel) bool { return c.fixed && !c.ZeroOne }); i >= 0 {
		elsewhere = &g.Channels[i].mid
	}
	for _, c := range g.Channels {
		if !c.fixed && c.guessed == decode.Unknown && len(c.kept) > 0 {
			c.settleFlat(elsewhere)
		}
	}
}

// Graded tells whether any channel has more than two values.
func (g *Group) Graded() bool {
	return slices.ContainsFunc(g.Channels, func(c *Channel) bool { return c.stage == graded })
}

// shownNotes is how many channels are told of.
const shownNotes = 8

// Notes are the sentences on how the channels were read, those of the first few.
func (g *Group) Notes() (notes []decode.Remark) {
	told := 0
	for _, c := range g.Channels {
		own := c.notes()
		if len(own) == 0 {
			continue
		}
		if told++; told <= shownNotes {
			notes = append(notes, own...)
		}
	}
	if told > shownNotes {
		notes = append(notes, decode.Remarkf(decode.LevelsRead, "", "%d further analog channels were read likewise.", told-shownNotes))
	}
	return notes
}

func (c *Channel) notes() (notes []decode.Remark) {
	switch {
	case c.stage == graded:
		notes = append(notes, decode.Remarkf(decode.LevelsRead, c.Name, "analog, threshold %s, hysteresis %s; option threshold and option hysteresis state others",
			c.reading(c.mid), c.reading(c.upper-c.lower)))
		switch {
		case c.outside < 10:
		case c.Threshold != nil:
			notes = append(notes, decode.Remarkf(decode.LevelsShift, c.Name, "its levels lie far from the stated threshold from %s s on", c.outAt.Seconds(6)))
		default:
			notes = append(notes, decode.Remarkf(decode.LevelsShift, c.Name, "its levels shift at %s s; the threshold was found before that", c.outAt.Seconds(6)))
		}
	case c.third != "":
		notes = append(notes, decode.Remarkf(decode.LevelsRead, c.Name, "read as digital, though it holds a third value, %s", c.third))
	case !c.fixed && c.known && c.top > c.low:
		notes = append(notes, decode.Remarkf(decode.LevelsRead, c.Name, "between %s and %s throughout: taken as one level, %s; option threshold states another",
			c.reading(c.low), c.reading(c.top), c.guessed))
	}
	if c.fixed && !c.ZeroOne && c.swing() <= smallSwing && (c.stage == graded || c.Volts) {
		notes = append(notes, decode.Remarkf(decode.SmallSwing, c.Name, "a swing of %s only, less than that of logic: is the probe, or its ground, in contact?", c.reading(c.swing())))
	}
	return notes
}

// reading writes a reading with its unit, if it has one.
func (c *Channel) reading(nanovolts int64) string {
	text := strconv.FormatFloat(float64(nanovolts)/1e9, 'g', 5, 64)
	if c.Volts {
		text += " V"
	}
	return strings.TrimSpace(text)
}
