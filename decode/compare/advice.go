package compare

import (
	"fmt"
	"math"

	"widthwise/decode"
)

// Advice is what to change, and why.
type Advice struct {
	Message string
	Because []string
}

// rule is one line of the table of advice: it looks at one pair and says what to
// change, or "".
type rule func(p *Pair) (message, because string)

// rules are looked at in this order; equal advice of several channels is told
// once with all its reasons.
var rules = []rule{
	longerPeriod,
	gapsThatStop,
	analogServos,
	reversed,
	inverted,
	movedNeutral,
	shortEnd("low_us", "low", 1),
	shortEnd("high_us", "high", -1),
	moreJitter,
	moreFaults,
	fewLosses,
}

func advise(pairs []*Pair) []Advice {
	out := []Advice{}
	at := map[string]int{}
	for _, r := range rules {
		for _, p := range pairs {
			message, because := r(p)
			if message == "" {
				continue
			}
			i, told := at[message]
			if !told {
				i = len(out)
				at[message] = i
				out = append(out, Advice{Message: message})
			}
			out[i].Because = append(out[i].Because, p.After+": "+because)
		}
	}
	return out
}

// changed is a figure that did, nil for one that did not or is not there.
func (p *Pair) changed(name string) *Figure {
	if f := p.figure(name); f != nil && f.Verdict == Changed {
		return f
	}
	return nil
}

func (f *Figure) from(unit string, divisor float64, digits int) string {
	return fmt.Sprintf("%.*f to %.*f %s", digits, f.Value[0]/divisor, digits, f.Value[1]/divisor, unit)
}

func longerPeriod(p *Pair) (string, string) {
	f := p.changed("period_us")
	if f == nil {
		return "", ""
	}
	if f.Difference > 0 {
		return fmt.Sprintf("frames come further apart: a firmware that waits less than %.0f ms for a pulse would take every lost frame for a lost link; wait at least 110 ms, and lengthen filters that count frames", math.Round(2.5*f.Value[1]/1000)),
			"period " + f.from("ms", 1000, 2)
	}
	return "frames come closer together: shorten filters and waits that count frames, so that a lost link is still seen in time", "period " + f.from("ms", 1000, 2)
}

// waits that firmware uses (sources in DEVELOPERS.md).
var waits = []decode.Time{25 * decode.Millisecond, 50 * decode.Millisecond, 100 * decode.Millisecond}

// gapsThatStop looks for a wait that no gap crossed before and one does now.
func gapsThatStop(p *Pair) (string, string) {
	longest := [2]decode.Time{}
	for i, m := range p.sides {
		for pulse := range m.Pulses() {
			if pulse.Interval <= m.LossAfter() {
				longest[i] = max(longest[i], pulse.Interval)
			}
		}
	}
	for i := len(waits) - 1; i >= 0; i-- {
		if w := waits[i]; longest[0] <= w && longest[1] > w {
			ms := (w / 1000).Micros(0)
			return fmt.Sprintf("a firmware that stops after %s ms without a pulse would now stop in the gaps: wait longer, at most 500 ms", ms),
				fmt.Sprintf("longest gap %s ms before, %s ms after", (longest[0] / 1000).Micros(0), (longest[1] / 1000).Micros(0))
		}
	}
	return "", ""
}

func analogServos(p *Pair) (string, string) {
	f := p.changed("period_us")
	if f == nil || f.Value[1] >= 15000 || f.Value[0] < 15000 {
		return "", ""
	}
	return "frames under 15 ms overheat many analog servos (common practice, no source): set the receiver to a slower frame rate, or use servos made for it", "period " + f.from("ms", 1000, 2)
}

func reversed(p *Pair) (string, string) {
	f := p.changed("direction")
	if f == nil || !f.Judged {
		return "", ""
	}
	return "a channel turns the other way: reverse it at the transmitter or in the firmware before anything is powered, propeller off or drive disconnected", "was " + f.Words[0] + ", is " + f.Words[1]
}

func inverted(p *Pair) (string, string) {
	f := p.changed("active")
	if f == nil {
		return "", ""
	}
	return "pulses are active " + f.Words[1] + " now: an input made for the other level reads the gaps; invert it, or choose another output", "was active " + f.Words[0]
}

func movedNeutral(p *Pair) (string, string) {
	f := p.changed("neutral_us")
	if f == nil {
		return "", ""
	}
	return fmt.Sprintf("neutral moved by more than the usual dead zone of 20 us, so what should stand still creeps: set %s's neutral to %.0f us in the firmware, or trim the transmitter", p.After, f.Value[1]), "neutral " + f.from("us", 1, 0)
}

// shortEnd looks for an end that moved; inward is the sign of a difference that
// shortens the travel.
func shortEnd(name, end string, inward float64) rule {
	return func(p *Pair) (string, string) {
		f := p.changed(name)
		switch {
		case f == nil:
			return "", ""
		case f.Difference*inward > 0:
			return fmt.Sprintf("full command is no longer reached: set %s's %s end to %.0f us in the firmware, or give it more travel at the transmitter", p.After, end, f.Value[1]), end + " " + f.from("us", 1, 0)
		}
		return fmt.Sprintf("full command comes before the stick's end: set %s's %s end to %.0f us in the firmware", p.After, end, f.Value[1]), end + " " + f.from("us", 1, 0)
	}
}

func moreJitter(p *Pair) (string, string) {
	f := p.changed("width_jitter_rms_us")
	if f == nil || f.Difference <= 0 {
		return "", ""
	}
	return "widths jitter more at rest: see that the dead zone still covers it; widthwise calibrate gives one", "jitter " + f.from("us rms", 1, 2)
}

const askCheck = "widthwise check says what speaks for wire, supply or link"

func moreFaults(p *Pair) (string, string) {
	for _, name := range []string{"losses_per_min", "drops_per_min"} {
		if f := p.changed(name); f != nil && f.Difference > 0 {
			return "frames go missing more often: look for the cause before anything else; " + askCheck, f.from("a minute", 1, 2)
		}
	}
	return "", ""
}

// fewLosses looks for losses that chance may explain, and a machine in motion
// does not care why.
func fewLosses(p *Pair) (string, string) {
	f := p.figure("losses_per_min")
	if f == nil || f.Verdict != Same || f.Difference <= 0 {
		return "", ""
	}
	return "losses were seen, too few to tell from chance and each of them one too many: look for the cause, and record for longer; " + askCheck, f.from("a minute", 1, 2)
}
