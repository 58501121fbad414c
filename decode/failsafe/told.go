package failsafe

import (
	"fmt"

	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
)

// told says what the channel did, and how fast.
func (t *trial) told() string {
	after := fmt.Sprintf(" after %s s", max(t.settled-t.off, 0).Seconds(2))
	if t.offFrom == Inferred {
		after = "" // from this very change
	}
	switch t.outcome {
	case Stops:
		return fmt.Sprintf("stops pulsing%s", after)
	case Preset:
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
