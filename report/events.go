package report

import (
	"golang.org/x/exp/slices"

	"widthwise/decode/diagnose"
)

// Safety is the caution that stands with every verdict.
const Safety = "Passing says that this capture is in order, not that the machine is safe. " +
	"Before power: wheels off the ground, propellers off, weapon locked, restrained or its drive disconnected, " +
	"the power switch or link within reach, eye protection on, lithium packs charged attended. " +
	"Power off and one common ground when clipping on; transmitter on first. " +
	"Try the failsafe again after every change of radio, receiver, memory or trim. " +
	"The event's rules, its inspectors, the makers' instructions and local codes decide."

// Event is one thing that happened and what explains it.
type Event struct {
	Cause      string       `json:"cause"`
	Confidence string       `json:"confidence"`
	Severity   string       `json:"severity"`
	Channels   []string     `json:"channels"`
	Start      Seconds      `json:"start_s"`
	End        Seconds      `json:"end_s"`
	Count      int64        `json:"count"`
	Times      [][2]Seconds `json:"times"`
	Story      string       `json:"story"`
	Evidence   []string     `json:"evidence"`
	Against    []string     `json:"against"`
	Try        string       `json:"try"`
	Instead    []string     `json:"instead"`
	Findings   []int        `json:"findings"`
	Source     string       `json:"-"` // of the rule that explains it
}

// Stretches lists when an event was met: its times, and behind the last of those
// that are listed the findings of the rest.
func (c *Capture) Stretches(e *Event) [][2]Seconds {
	out := slices.Clone(e.Times)
	if len(out) == 0 {
		return [][2]Seconds{{e.Start, e.End}}
	}
	if e.Count == int64(len(out)) {
		return out
	}
	listed := out[len(out)-1][1]
	for _, i := range e.Findings {
		if f := c.Findings[i]; f.Start > listed {
			out = append(out, [2]Seconds{f.Start, f.End})
		}
	}
	return out
}

func newEvents(events []diagnose.Event) []Event {
	out := []Event{}
	for _, e := range events {
		told := Event{
			Cause: e.Cause, Confidence: e.Confidence, Severity: string(e.Severity),
			Channels: append([]string{}, e.Channels...), Start: Seconds(e.Start), End: Seconds(e.End),
			Count: e.Count, Times: [][2]Seconds{}, Story: e.Story,
			Evidence: append([]string{}, e.Evidence...), Against: append([]string{}, e.Against...),
			Try: e.Try, Instead: append([]string{}, e.Instead...), Findings: append([]int{}, e.Findings...), Source: e.Source,
		}
		for _, t := range e.Times {
			told.Times = append(told.Times, [2]Seconds{Seconds(t[0]), Seconds(t[1])})
		}
		out = append(out, told)
	}
	return out
}
