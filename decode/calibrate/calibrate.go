// Package calibrate finds the constants a firmware needs to turn the pulses of
// a channel into commands, and replays a capture through them. It reads an
// analysis of package decode.
package calibrate

import (
	"fmt"
	"math"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/decode/places"
)

// Constants are what a firmware is told of a channel. Widths are in
// microseconds, NaN where they could not be found.
type Constants struct {
	Low, Neutral, High  float64
	Deadband, EndMargin float64 // whole
	Reversed            bool
	LossAfter           decode.Time
}

// Channel is what a capture tells of one channel.
type Channel struct {
	Analysis *decode.ChannelAnalysis
	Constants
	Places *places.Places
	// Turned is whether the width went the other way than the stick; nil where
	// nobody said which way the stick went first.
	Turned  *bool
	Missing []string // constants that were not found, and why
	Said    []string // how far the others can be trusted
}

// A firmware waits at least as long as a gap that counts for a loss (common
// practice, no source), and at most as long as published autopilots do (ArduPilot
// ArduCopter/radio.cpp, PX4 COM_RC_LOSS_T). The rest is common practice, no source.
const (
	leastWait = 110 * decode.Millisecond
	mostWait  = 500 * decode.Millisecond
	share     = 0.999 // of the pulses of a place within its deadband
	countable = 1000  // pulses; among fewer the furthest counts
	unsure    = 10.0  // us that two visits may leave in doubt without a word
)

// Of finds a channel's constants. first is the way in which the stick was moved
// first, places.Unseen where nobody said.
func Of(a *decode.Analysis, c *decode.ChannelAnalysis, first places.Arrival) *Channel {
	p := places.Of(c, a.Resolution)
	out := &Channel{Analysis: c, Places: p, Missing: slices.Clone(p.Missing)}
	step := a.Resolution
	if math.IsNaN(step) {
		step = 0
	}
	out.Low, out.Neutral, out.High = at(p.Low), at(p.Neutral), at(p.High)
	out.Deadband = out.spread(step, p.Neutral)
	out.EndMargin = out.spread(step, p.Low, p.High)
	out.leaveRoom()
	out.doubts()
	out.waits(a)
	if way := p.FirstWay(); first != places.Unseen && way == places.Unseen {
		out.Missing = append(out.Missing, "reversed: the stick did not travel")
	} else if first != places.Unseen {
		turned := way != first
		out.Turned, out.Reversed = &turned, turned
	}
	return out
}

func at(p *places.Place) float64 {
	if p == nil {
		return math.NaN()
	}
	return p.Mean
}

// spread is how far about a place its pulses lie and its mean may be off, in
// whole microseconds; of two places the larger. NaN where one is missing.
func (c *Channel) spread(step float64, of ...*places.Place) float64 {
	out := math.Ceil(2 * step)
	for _, p := range of {
		if p == nil {
			return math.NaN()
		}
		var off []float64
		for _, v := range p.Visits {
			for w := range c.Places.Widths(v) {
				off = append(off, math.Abs(w-p.Mean))
			}
		}
		slices.Sort(off)
		n := len(off)
		furthest := off[int(math.Ceil(share*float64(n)))-1]
		if n < countable {
			furthest = off[n-1]
		}
		doubt := p.U95
		if math.IsNaN(doubt) {
			doubt = 0
		}
		out = max(out, math.Ceil(math.Ceil(furthest)+doubt))
	}
	return out
}

// leaveRoom takes back a deadband or a margin that leaves no way between neutral
// and an end: a firmware with it would stand still at full stick.
func (c *Channel) leaveRoom() {
	switch end := c.Crowded(); {
	case end == "":
	case math.IsNaN(c.Neutral):
		c.Missing = append(c.Missing, fmt.Sprintf("end margin: low and high are in doubt by %.0f us each, which leaves no way between them; hold each three times", c.EndMargin))
		c.EndMargin = math.NaN()
	default:
		c.Missing = append(c.Missing, fmt.Sprintf("deadband: neutral is in doubt by %.0f us and the ends by %.0f us, which leaves no way from neutral to %s; let go and hold the ends three times, or leave neutral out for a stick without a centre",
			c.Deadband, c.EndMargin, end))
		c.Deadband = math.NaN()
	}
}

// Crowded names the end to which deadband and margins leave no way; "" where they
// leave some to both, or an end is not known.
func (k Constants) Crowded() string {
	m := margin(k)
	switch {
	case math.IsNaN(k.Neutral) && k.Low+m >= k.High-m, k.Neutral+k.Deadband >= k.High-m:
		return "high"
	case k.Neutral-k.Deadband <= k.Low+m:
		return "low"
	}
	return ""
}

// doubts says where a place was seen too little.
func (c *Channel) doubts() {
	var few []string
	for _, p := range []struct {
		name string
		*places.Place
	}{{"low", c.Places.Low}, {"neutral", c.Places.Neutral}, {"high", c.Places.High}} {
		if p.Place == nil {
			continue
		}
		n := 0
		for _, v := range p.Visits {
			n += v.Frames
		}
		if n < countable {
			few = append(few, fmt.Sprintf("%s %d", p.name, n))
		}
		switch visits := len(p.Visits); {
		case visits == 1:
			c.say("%s was visited once: how well the stick comes back to it is not known", p.name)
		case visits == 2 && p.U95 > unsure:
			c.say("%s: two visits leave %.0f us of doubt, which the margins carry; a third would narrow it", p.name, p.U95)
		}
	}
	if n := c.Places.Neutral; n != nil && len(n.Visits) < max(c.Places.EndVisits[0], c.Places.EndVisits[1]) {
		c.say("neutral was visited less often than the ends, and a stick that is let go passes it between them: if this one has no centre, as a throttle, leave its neutral out, or low stick commands full astern")
	}
	if len(few) > 0 {
		c.say("under %d pulses at a place the furthest counts for its margin, not 99.9 %% of them: %s", countable, strings.Join(few, ", "))
	}
}

func (c *Channel) say(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !slices.Contains(c.Said, text) {
		c.Said = append(c.Said, text)
	}
}

// waits chooses how long to wait for a pulse before it is a loss, and says what
// shorter waits would have done here.
func (c *Channel) waits(a *decode.Analysis) {
	longest := decode.Time(0)
	shorter := []decode.Time{25 * decode.Millisecond, 50 * decode.Millisecond, 100 * decode.Millisecond}
	crossed := make([]int, len(shorter))
	for p := range c.Analysis.Pulses() {
		if p.Interval <= c.Analysis.LossAfter() {
			longest = max(longest, p.Interval)
		}
		for i, w := range shorter {
			if p.Interval > w {
				crossed[i]++
			}
		}
	}
	c.LossAfter = max(leastWait, longest*3/2)
	if y := c.Analysis.Period; y != nil && y.Nominal > 0 {
		c.LossAfter = max(c.LossAfter, decode.Time(3.5*y.Nominal*float64(decode.Microsecond)))
	}
	if c.LossAfter > mostWait {
		c.say("loss after: %s ms would follow from the longest gap; capped at 500 ms, beyond which a machine runs on too long", (c.LossAfter / 1000).Micros(0))
		c.LossAfter = mostWait
	}
	c.LossAfter = (c.LossAfter + decode.Millisecond - 1) / decode.Millisecond * decode.Millisecond
	if crossed[0] == 0 {
		c.say("loss after: on this capture a wait of 25 ms would never have stopped it, nor would one of 50 or 100 ms")
		return
	}
	c.say("loss after: on this capture a wait of 25 ms would have stopped it %s, of 50 ms %s, of 100 ms %s", phrase.Times(crossed[0]), phrase.Times(crossed[1]), phrase.Times(crossed[2]))
}
