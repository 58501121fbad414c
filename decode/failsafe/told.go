package failsafe

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
)

// told says what the channel did, how fast, and whether its line was held.
func (t *trial) told() string { return t.did() + t.heldLevel() }

func (t *trial) did() string {
	after := fmt.Sprintf(" after %s s", max(t.settled-t.off, 0).Seconds(2))
	if t.offFrom == Inferred {
		after = "" // from this very change
	}
	switch t.outcome {
	case Stops:
		return fmt.Sprintf("stops pulsing%s", after)
	case Preset:
		if math.Abs(t.final-t.before) <= t.near {
			return fmt.Sprintf("leaves %.0f us and is back there%s", t.before, after)
		}
		return fmt.Sprintf("goes from %.0f us to %.0f us%s", t.before, t.final, after)
	case Holds:
		return fmt.Sprintf("holds %.0f us", t.final)
	case Drifts:
		return "keeps moving"
	}
	return "too little to tell"
}

// wanted says what would have been safe.
func (t *trial) wanted() string {
	var all []string
	for _, s := range t.safe {
		if s.Stop {
			all = append(all, "to stop")
		} else {
			all = append(all, fmt.Sprintf("%.0f us within %.0f us", s.Width, safeWithin))
		}
	}
	slices.Sort(all)
	return "safe would be " + phrase.Or(all)
}

// heldLevel says from when to when the line was held at its active level; "" where
// it never was.
func (t *trial) heldLevel() string {
	e := t.stuck()
	if e == nil {
		return ""
	}
	return fmt.Sprintf(", but the line stays %s from %s to %s s", t.Active, e.Start.Seconds(2), min(e.End, t.end).Seconds(2))
}

// both names what pulses on the way lie beyond.
func (t *trial) both() string {
	if math.IsNaN(t.final) {
		return "where it was"
	}
	return "both"
}

// farthest is the width that lies farthest beyond both.
func (t *trial) farthest() string {
	r := reach(t.beyond())
	if min(t.before, t.ending())-r[0] > r[1]-max(t.before, t.ending()) {
		return fmt.Sprintf("down to %.0f us", r[0])
	}
	return fmt.Sprintf("up to %.0f us", r[1])
}

// sinceWhen says of a channel that is silent at the switch-off what to do: it may
// be the switch-off that comes too late.
func (t *trial) sinceWhen() string {
	if earlier := t.between(t.off-latestStated, t.off); t.offFrom == Flag && len(earlier) > 0 {
		return fmt.Sprintf("silent before the transmitter was switched off, from %s s on: is the stated time right? else repeat with the channel alive", earlier[len(earlier)-1].Start.Seconds(2))
	}
	return "silent before the transmitter was switched off; repeat with the channel alive"
}

// untilWhen says of a last state that is too short what to do: it may be the
// switch-on that comes too late.
func (t *trial) untilWhen() string {
	if n := len(t.states); n > 0 && t.states[n-1].End < t.end {
		return fmt.Sprintf("what the line does is not known from %s s on; keep it recorded", t.states[n-1].End.Seconds(2))
	}
	if n := len(t.states); n > 1 && t.onFrom == Flag && t.end-t.states[n-1].Start < statedWithin {
		return fmt.Sprintf("changes again at %s s, before the switch-on that is stated: is its time right?", t.states[n-1].Start.Seconds(2))
	}
	if t.ends() {
		return changesOnly
	}
	return "the capture ends, or the transmitter is back, too soon to tell; keep it off longer"
}
