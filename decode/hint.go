package decode

import (
	"fmt"

	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
)

// hintLengths is how many stretches of each level a hint is drawn from.
const hintLengths = 64

// unitHints looks for channels whose marks would be servo pulses if the time
// unit were another, where nothing else in the capture is one.
func (r *Recording) unitHints(a *Analysis) []Remark {
	for _, ca := range a.Channels {
		if ca.Signal == Servo || ca.Signal == PulsePosition {
			return nil
		}
	}
	first, names := "", []string{}
	for _, w := range r.channels {
		for _, lengths := range [][]Time{w.early[High], w.early[Low]} {
			if len(lengths) < minPulses {
				continue
			}
			d := Time(quantile(slices.Clone(lengths), 0.5))
			if t, scale := rescaled(d); scale != "" {
				if first == "" {
					first = fmt.Sprintf("marks are typically %s s; with a time unit %s they would be %s us: option time-unit states it", d.Seconds(6), scale, t.Micros(0))
				}
				names = append(names, w.name)
				break
			}
		}
	}
	if first == "" {
		return nil
	}
	return []Remark{Remarkf(UnitDoubtful, "", "%s: %s", phrase.And(names), first)}
}

// rescaled returns what a mark would be in the unit that makes it a pulse.
func rescaled(d Time) (Time, string) {
	pulse := func(t Time) bool { return t >= 700*Microsecond && t <= 2300*Microsecond }
	switch {
	case pulse(d / 1000):
		return d / 1000, "a thousand times smaller (ms for s, us for ms, ns for us)"
	case pulse(d / 1_000_000):
		return d / 1_000_000, "a million times smaller (us for s, ns for ms)"
	case pulse(d / 1_000_000_000):
		return d / 1_000_000_000, "a billion times smaller (ns for s)"
	case d < 10*Microsecond && pulse(d*1000):
		return d * 1000, "a thousand times larger (s for ms, ms for us, us for ns)"
	case d < 10*Nanosecond && pulse(d*1_000_000):
		return d * 1_000_000, "a million times larger (s for us, ms for ns)"
	}
	return 0, ""
}
