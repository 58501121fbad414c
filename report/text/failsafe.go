package text

import (
	"fmt"
	"io"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode/failsafe"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// maxStates is how many states of a channel the text tells.
const maxStates = 4

// FailsafeQuiet writes verdict, file and reason of each capture, parted by tabs.
func FailsafeQuiet(w io.Writer, f *report.Failsafe) error {
	for _, c := range f.Captures {
		verdict, file, reason := report.Word("unreadable"), "", ""
		switch c := c.(type) {
		case *report.FailsafeCapture:
			verdict, file, reason = c.Verdict, c.File, deciding(c)
		case *report.Unread:
			file, reason = c.File, report.Printable(c.Error)
		}
		if _, err := fmt.Fprintf(w, "%s\t%s\t%s\n", verdict, report.Printable(file), reason); err != nil {
			return err
		}
	}
	return nil
}

// deciding is the reason of the channel that decides.
func deciding(c *report.FailsafeCapture) string {
	for _, ch := range c.Channels {
		if ch.Verdict == c.Verdict {
			return report.Printable(ch.Name) + ": " + report.Printable(ch.Reason)
		}
	}
	return "no servo channel is judged"
}

// Failsafe sets the cautions, and for each channel what it did and why that is
// safe or not.
func Failsafe(p *Sheet, f *report.Failsafe) {
	if noneRead(f.Captures) {
		return
	}
	p.Text(report.TrialSafety)
	for _, c := range f.Captures {
		if c, ok := c.(*report.FailsafeCapture); ok {
			p.blank()
			p.trial(c)
		}
	}
	p.blank()
	p.Text("Passing says that this capture shows safe outputs, not that the machine is safe. Try again after every change of radio, receiver, memory or trim; the event's rules and its inspectors decide.")
}

// noneRead reports whether there is nothing to caution about.
func noneRead(captures []any) bool {
	return !slices.ContainsFunc(captures, func(c any) bool { _, unread := c.(*report.Unread); return !unread })
}

func (p *Sheet) trial(c *report.FailsafeCapture) {
	p.hang(p.verdict(c.Verdict)+": ", 2, report.Printable(c.File)+", "+switched(c))
	for i := range c.Channels {
		ch := &c.Channels[i]
		if c.Off == nil {
			break // all there is to say holds for every channel
		}
		p.blank()
		p.hang(p.strong(ch.Shown())+": ", 2, did(ch, c))
		p.hang("  "+p.verdict(ch.Verdict)+": ", 4, report.Printable(ch.Reason))
		if ch.Return != nil {
			p.hang("  back: ", 4, returned(ch, c.Resolution))
		}
	}
	switch {
	case c.Off == nil && len(c.Channels) > 0:
		p.hang("  ", 2, report.Printable(c.Channels[0].Reason))
	case len(c.Channels) == 0:
		p.hang("  ", 2, "no servo channel is judged; --channel NAME judges one")
	}
	if len(c.Notes) > 0 {
		p.blank()
	}
	for _, note := range once(c.Notes) {
		p.hang("  ", 2, report.Printable(note))
	}
}

// switched says when the transmitter was switched.
func switched(c *report.FailsafeCapture) string {
	from := map[report.Word]string{report.Word(failsafe.Flag): "as stated", report.Word(failsafe.Mark): "as marked", report.Word(failsafe.Inferred): "as inferred"}
	if c.Off == nil {
		return "no switch-off known"
	}
	out := fmt.Sprintf("transmitter off at %s s (%s)", c.Off.Decimals(3), from[c.OffFrom])
	if c.On != nil {
		out += fmt.Sprintf(", on again at %s s (%s)", c.On.Decimals(3), from[c.OnFrom])
	}
	return out
}

// did tells the states in a line: "held 1700 us for 1.01 s, then 1000 us to the
// end".
func did(ch *report.FailsafeChannel, c *report.FailsafeCapture) string {
	if len(ch.States) == 0 {
		return "shows nothing"
	}
	var parts []string
	shown := ch.States
	if len(shown) > maxStates {
		shown = shown[:maxStates-1]
	}
	for i, st := range shown {
		told := state(st, i == len(ch.States)-1, c)
		switch {
		case i == 0 && kept(ch, st):
			told = "held " + told
		case i == 0:
			told = "at once " + told
		}
		parts = append(parts, told)
	}
	if more := len(ch.States) - len(shown); more > 0 {
		parts = append(parts, fmt.Sprintf("%s more, and at last %s", phrase.Count(int64(more-1), "state"), state(ch.States[len(ch.States)-1], true, c)))
	}
	return strings.Join(parts, ", then ")
}

// kept says whether a state is the width before the switch.
func kept(ch *report.FailsafeChannel, st report.State) bool {
	return st.State == string(failsafe.Pulsing) && max(st.Width-ch.Before, ch.Before-st.Width) <= 10
}

func state(st report.State, last bool, c *report.FailsafeCapture) string {
	what := map[string]string{"pulsing": width(st.Width, c.Resolution) + " us", "moving": "moving", "silent": "silent"}[st.State]
	until := c.End
	if c.On != nil {
		until = *c.On
	}
	switch {
	case last && st.State != string(failsafe.Silent) && st.End < until:
		return what + " until " + st.End.Decimals(2) + " s, then not known"
	case last && c.On != nil:
		return what + " until it was back"
	case last:
		return what + " to the end"
	}
	return what + " for " + (st.End - st.Start).Decimals(2) + " s"
}

// returned says what a channel did once the transmitter was back.
func returned(ch *report.FailsafeChannel, resolution report.Number) string {
	r := ch.Return
	if r.LiveAfter == nil && ch.Outcome == report.Word(failsafe.Drifts) {
		return "moved all along, so that when it follows again cannot be told"
	}
	if r.LiveAfter == nil {
		return "nothing changes until the end"
	}
	out := fmt.Sprintf("follows %s s after switch-on", r.LiveAfter.Decimals(2))
	if !r.Jump.Missing() {
		out += fmt.Sprintf(", with a jump of %s us", width(r.Jump, resolution))
	}
	if r.StartUpPulses > 0 {
		out += ", " + phrase.Count(int64(r.StartUpPulses), "start-up pulse") + " first"
	}
	if len(r.Excursion) == 2 {
		out += fmt.Sprintf("; widths %s to %s us", width(r.Excursion[0], resolution), width(r.Excursion[1], resolution))
	}
	return out
}
