// Package trace thins a channel's pulses to what a strip of chart paper can
// show: one column for each step of the paper, in which no extreme is lost.
// The strips in the terminal, the stills and the page share it; the page thins
// in the browser by the same rules.
package trace

import (
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// Column is what a pen would draw within one step of the paper. It is empty
// where Pulses is 0.
type Column struct {
	First, Last decode.Time // widths of the first and the last pulse in it
	Min, Max    decode.Time // the extremes of the widths
	Pulses      int
	// Lifted is set where the pen is lifted before the column's first pulse, Gap
	// where it is lifted anywhere in it, but for the channel's first pulse.
	Lifted, Gap bool
}

// Thin draws the pulses that begin in from..to, ends included, into columns of
// equal length. A pulse belongs to the column in which it begins.
func Thin(a *decode.ChannelAnalysis, from, to decode.Time, columns int) []Column {
	out := make([]Column, max(columns, 0))
	if len(out) == 0 || to <= from {
		return out
	}
	reach, first := Reach(a), true
	for p := range a.Pulses() {
		gap := !first && Lifts(p, reach)
		first = false
		if p.Start < from {
			continue
		}
		if p.Start > to {
			break
		}
		at := int(float64(p.Start-from) / float64(to-from) * float64(columns))
		out[min(at, columns-1)].add(p.Width, Lifts(p, reach), gap)
	}
	return out
}

func (c *Column) add(width decode.Time, lifted, gap bool) {
	if c.Pulses == 0 {
		c.First, c.Min, c.Max, c.Lifted = width, width, width, lifted
	}
	c.Last, c.Min, c.Max = width, min(c.Min, width), max(c.Max, width)
	c.Gap = c.Gap || gap
	c.Pulses++
}

// Span is the widths that a lane shows, in microseconds: those that do not
// fail, all that occur, and some room.
func Span(fail [2]float64, occur *decode.Summary) (low, high float64) {
	low, high = fail[0], fail[1]
	if low == high {
		low, high = decode.DefaultLimits.WidthFail[0], decode.DefaultLimits.WidthFail[1]
	}
	if occur != nil && occur.N > 0 {
		low = min(low, float64(occur.Min)/float64(decode.Microsecond))
		high = max(high, float64(occur.Max)/float64(decode.Microsecond))
	}
	room := (high - low) * 0.06
	return low - room, high + room
}

// Lifts says whether the pen is lifted before a pulse: at a channel's first,
// after a stretch of unknown level, and where the one before is out of reach.
func Lifts(p decode.Pulse, reach decode.Time) bool {
	return p.Interval == 0 || p.Interval > reach
}

// Reach is the longest interval across which the pen stays on the paper: one
// and a half of the longest interval that recurs, from where on frames are
// missing, or the wait for a loss where no period was found.
func Reach(a *decode.ChannelAnalysis) decode.Time {
	longest := 0.0
	if p := a.Period; p != nil {
		usual := append([]float64{p.Nominal}, p.Recurring...)
		for _, change := range p.Changes {
			usual = append(usual, change.From, change.To)
		}
		longest = slices.Max(slices.DeleteFunc(append(usual, 0), math.IsNaN))
	}
	if longest <= 0 {
		return a.LossAfter()
	}
	return decode.Time(1.5 * longest * float64(decode.Microsecond))
}
