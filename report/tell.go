package report

import (
	"fmt"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// The sentences that the screen and the pipe share.

// headline says how many channels of how many were judged and lists the silent
// ones with how to name them.
func (c *Capture) headline() string {
	judged, silent, more, example := 0, []string{}, 0, ""
	for _, ch := range c.Channels {
		switch {
		case ch.Judged:
			judged++
		case ch.Signal == string(decode.Silent) && len(silent) == 8:
			more++
		case ch.Signal == string(decode.Silent):
			silent = append(silent, ch.shown())
			if example == "" {
				example = ch.argument()
			}
		}
	}
	line := fmt.Sprintf("%d of %s judged", judged, count(int64(len(c.Channels)), "channel"))
	if len(silent) == 0 {
		return line
	}
	names := strings.Join(silent, ", ")
	if more > 0 {
		names += fmt.Sprintf(" and %d more", more)
	}
	return line + "; silent: " + names + " (to judge a silent one name it: --channel " + example + ")"
}

// unjudged lists the channels that were measured and not judged, silent ones apart.
func (c *Capture) unjudged() []string {
	s := scale{float64(c.Resolution)}
	var out []string
	for _, ch := range c.Channels {
		if !ch.Judged && ch.Signal != string(decode.Silent) {
			out = append(out, ch.shown()+": "+ch.kindOf(s))
		}
	}
	return out
}

// reason says in a few words what the verdict rests on.
func (c *Capture) reason() string {
	switch decode.Outcome(c.Verdict) {
	case decode.Failed:
		return c.failures()
	case decode.Passed:
		return "every judged channel is in order in this capture"
	}
	var open []string
	for _, ch := range c.Channels {
		if ch.Verdict == Word(decode.Undecided) {
			open = append(open, ch.shown())
		}
	}
	switch {
	case len(c.Channels) == 0:
		return "the capture has no channel to read by itself; widthwise inspect lists what it holds"
	case len(open) == 0:
		return "nothing was judged"
	}
	return "too little was seen of " + series(open)
}

// failures lists the failed channels with the kinds of finding that failed them.
func (c *Capture) failures() string {
	var parts []string
	for _, ch := range c.Channels {
		if ch.Verdict != Word(decode.Failed) {
			continue
		}
		var kinds []string
		for _, f := range c.Findings {
			if f.Severity == string(decode.Fail) && ch.owns(f) && !slices.Contains(kinds, f.Kind) {
				kinds = append(kinds, f.Kind)
			}
		}
		if len(kinds) == 0 {
			parts = append(parts, ch.shown())
			continue
		}
		parts = append(parts, ch.shown()+" ("+strings.Join(kinds, ", ")+")")
	}
	if len(parts) == 0 {
		return "the capture as a whole"
	}
	return strings.Join(parts, "; ")
}

// owns tells whether a finding speaks of the channel or of one of its slots.
func (c *Channel) owns(f Finding) bool {
	return slices.ContainsFunc(f.Channels, func(name string) bool {
		return name == c.Name || slices.ContainsFunc(c.Slots, func(s *Channel) bool { return s.Name == name })
	})
}

// figures is one channel's numbers with their uncertainty. A slot has the
// period of its stream.
func (c *Channel) figures(s scale) []string {
	var out []string
	if p := c.Period; p != nil && !p.Nominal.missing() && !c.slot {
		text := "period " + s.mean(p.Nominal, none, 1000) + " ms"
		if !p.Mean.missing() {
			text = "period " + s.mean(p.Mean, p.MeanU95, 1000) + " ms, sd " + s.spread(p.SD) + " us"
		}
		if p.Pattern != "" {
			text += ", " + string(p.Pattern)
		}
		if p.Pattern != Word(decode.Steady) && len(p.Recurring) > 1 {
			var each []string
			for _, r := range p.Recurring {
				each = append(each, s.mean(r, none, 1000))
			}
			text += " (" + strings.Join(each, ", ") + " ms)"
		}
		if !p.DriftPPM.missing() {
			text += ", drift " + fixed(p.DriftPPM, 0) + " ppm"
		}
		out = append(out, text)
	}
	if w := c.Width; w != nil {
		out = append(out, fmt.Sprintf("width %s to %s us, median %s us", s.width(w.Min), s.width(w.Max), s.width(w.Median)))
	}
	if text := c.Jitter.words(s); text != "" {
		out = append(out, text)
	}
	if c.Place != nil && *c.Place == 1 {
		out = append(out, "first in the frame")
	} else if c.Place != nil {
		out = append(out, fmt.Sprintf("place %d in the frame, %s us after the first", *c.Place, s.width(c.Offset)))
	}
	return out
}

// clockWords name what no interval knows of. 50 ppm: common practice, no source.
const clockWords = "± is 95 %. The error of the capture's own clock is not in it and cannot be seen: 50 ppm, a common figure, are 1 us in 20 ms."

// words says how steady the widths are at rest, or why that is not known.
func (j *Jitter) words(s scale) string {
	switch {
	case j == nil:
		return ""
	case j.WidthRMS.missing():
		return "jitter not known: no rest of 25 frames"
	case !j.Resolved:
		return "jitter below what this capture resolves"
	}
	text := "jitter " + s.spread(j.WidthRMS) + " us rms"
	if !j.WidthRMSLow95.missing() && !j.WidthRMSHigh95.missing() {
		text += " (95 %: " + s.spread(j.WidthRMSLow95) + " to " + s.spread(j.WidthRMSHigh95) + ")"
	}
	if !j.WidthP99.missing() {
		return text + ", p99 " + s.width(j.WidthP99) + " us, at rest over " + count(j.WidthN, "frame")
	}
	if !j.WidthPP.missing() {
		text += fmt.Sprintf(", largest swing of %d %s us", j.WidthN, s.width(j.WidthPP))
	}
	return text
}
