package text

import (
	"fmt"
	"math"
	"strings"

	"widthwise/decode/phrase"
	"widthwise/report"
)

// Calibrate sets each stick as a ruler, its constants, and what a machine would
// do with them.
func Calibrate(p *Sheet, c *report.Calibrate) {
	if noneRead(c.Captures) {
		return
	}
	p.Text(report.TrialSafety)
	for _, capture := range c.Captures {
		if capture, ok := capture.(*report.CalibrateCapture); ok {
			p.blank()
			p.sticks(capture)
		}
	}
	p.blank()
	p.Text("These are the widths of this capture. Trims, another model memory, another receiver or a cold radio move them; measure again after each. " +
		"--toml writes them as a file, --header as a C header.")
}

func (p *Sheet) sticks(c *report.CalibrateCapture) {
	p.Text(fmt.Sprintf("%s, %s seen, time step %s", report.Printable(c.File), report.Lasting(c.Duration), report.Step(c.Resolution)))
	for _, ch := range c.Channels {
		p.blank()
		p.Line(p.strong(ch.Shown()))
		p.ruler(ch)
		for _, line := range constants(ch, c.Resolution) {
			first, rest, _ := strings.Cut(line, " ")
			p.hang("  "+first+" ", 4, rest)
		}
	}
	if len(c.Channels) == 0 {
		p.hang("  ", 2, "no servo channel is judged; --channel NAME judges one")
	}
	if m := c.Mix; m != nil {
		p.blank()
		p.Text(fmt.Sprintf("mix of %s and %s: sum %s, difference %s", report.Printable(m.A), report.Printable(m.B), mixed(m.Sum), mixed(m.Difference)))
	}
}

func mixed(r report.Range) string {
	if r.Clipped == 0 {
		return fmt.Sprintf("%d to %d, never clipped", r.Min, r.Max)
	}
	return fmt.Sprintf("%d to %d, clipped %s", r.Min, r.Max, phrase.Times(r.Clipped))
}

// ruler draws the stick's way as a strip from low to high, with the deadband
// about neutral.
func (p *Sheet) ruler(c *report.CalibrateChannel) {
	length := min(p.Width, 84) - 6
	if c.Low.Missing() || c.High.Missing() || length < 30 {
		return
	}
	at := func(us report.Number) int {
		return int(math.Round(float64((us - c.Low) / (c.High - c.Low) * report.Number(length-1))))
	}
	strip := []rune("├" + strings.Repeat("─", length-2) + "┤")
	names := []rune(strings.Repeat(" ", length))
	put := func(where int, name string) {
		from := min(max(where-len(name)/2, 0), length-len(name))
		copy(names[from:], []rune(name))
	}
	put(0, report.Fixed(c.Low, 0))
	put(length-1, report.Fixed(c.High, 0))
	if !c.Neutral.Missing() {
		if !c.Deadband.Missing() {
			for i := max(at(c.Neutral-c.Deadband), 0); i <= min(at(c.Neutral+c.Deadband), length-1); i++ {
				strip[i] = '═'
			}
		}
		strip[at(c.Neutral)] = '╪'
		put(at(c.Neutral), report.Fixed(c.Neutral, 0))
	}
	p.Line("  " + string(names))
	p.Line("  " + string(strip))
}

// constants lists them and the proof, a line each.
func constants(c *report.CalibrateChannel, resolution report.Number) []string {
	var out []string
	for _, place := range []struct {
		name    string
		us, u95 report.Number
		visits  int
	}{{"low", c.Low, c.LowU95, c.LowVisits}, {"neutral", c.Neutral, c.NeutralU95, c.NeutralVisits}, {"high", c.High, c.HighU95, c.HighVisits}} {
		if !place.us.Missing() {
			out = append(out, fmt.Sprintf("%s %s us, visited %s", place.name, stated(place.us, place.u95), phrase.Times(place.visits)))
		}
	}
	if apart := c.NeutralFromAbove - c.NeutralFromBelow; !apart.Missing() {
		out = append(out, fmt.Sprintf("comes to %s us from below and %s us from above", width(c.NeutralFromBelow, resolution), width(c.NeutralFromAbove, resolution)))
	}
	var more []string
	for _, k := range []struct {
		name string
		us   report.Number
		unit string
	}{{"deadband", c.Deadband, " us"}, {"end margin", c.EndMargin, " us"}, {"loss after", report.Number(c.LossAfter) / 1e9, " ms"}} {
		if !k.us.Missing() {
			more = append(more, k.name+" "+report.Fixed(k.us, 0)+k.unit)
		}
	}
	if !c.Step.Missing() {
		more = append(more, "transmitter's step "+report.Fixed(c.Step, 2)+" us")
	}
	if c.Reversed != nil {
		more = append(more, map[bool]string{true: "reversed", false: "not reversed"}[*c.Reversed])
	}
	out = append(out, strings.Join(more, ", "))
	for _, m := range c.Missing {
		out = append(out, "missing: "+report.Printable(m))
	}
	return append(append(out, proof(c)...), c.Said...)
}

// reaches says at which ends the command is what it should be.
func reaches(c *report.CalibrateChannel) string {
	p := c.Proof
	low := "full command at low"
	if c.OneWay {
		low = "a command of 0 at low"
	}
	switch {
	case p.ReachesLow && p.ReachesHigh && c.OneWay:
		return "reaches a command of 0 at low and full command at high"
	case p.ReachesLow && p.ReachesHigh:
		return "reaches full command at both ends"
	case p.ReachesLow:
		return "reaches " + low + " and never full command at high"
	case p.ReachesHigh:
		return "reaches full command at high and never " + low
	}
	return "never reaches " + low + ", nor full command at high"
}

// proof says what a machine would have done.
func proof(c *report.CalibrateChannel) []string {
	p := c.Proof
	switch {
	case p == nil && c.Given:
		return []string{"with the constants given there is no command: it needs both low and high"}
	case p == nil:
		return nil
	}
	whose := "with these constants a machine"
	if c.Given {
		whose = "with the constants given a machine"
	}
	var parts []string
	switch {
	case p.IdleFrames == 0 || c.OneWay: // no neutral at which to stand still
	case p.IdleNotZero == 0:
		parts = append(parts, fmt.Sprintf("stands still in all %d frames at neutral", p.IdleFrames))
	default:
		parts = append(parts, fmt.Sprintf("creeps in %d of %d frames at neutral", p.IdleNotZero, p.IdleFrames))
	}
	parts = append(parts, reaches(c))
	parts = append(parts, fmt.Sprintf("jumps by at most %d of %d from frame to frame", p.LargestJump, p.Full))
	if p.StopsOnLoss > 0 {
		parts = append(parts, fmt.Sprintf("stops for lost pulses %s, at commands of up to %d, and takes up to %d up again at once", phrase.Times(p.StopsOnLoss), p.JumpAtLoss, p.JumpAfterLoss))
	}
	if p.StartUpNotZero > 0 {
		parts = append(parts, fmt.Sprintf("is driven by %s at start-up", phrase.Count(int64(p.StartUpNotZero), "pulse")))
	}
	return []string{whose + " " + strings.Join(parts, "; ")}
}
