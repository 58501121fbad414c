package failsafe

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// relapses lists the runs of pulses for which a channel that had come to a safe
// state was somewhere else again: a kick, however near to where it came from.
func (t *trial) relapses() (runs [][]decode.Pulse) {
	came, safe, last := false, 0, t.off
	var away []decode.Pulse
	end := func() {
		if came && len(away) >= leastBeyond {
			runs = append(runs, away)
		}
		away = nil
	}
	for _, p := range t.between(t.off, t.end) {
		if t.maySilence() && p.Start-last > t.LossAfter() {
			end()
			came = true
		}
		last = p.Start
		if !t.safeAt(width(p)) {
			away, safe = append(away, p), 0
			continue
		}
		end()
		if safe++; safe >= leastBeyond && math.Abs(width(p)-t.before) > t.near {
			came = true
		}
	}
	end()
	return runs
}

// safeAt says whether a width is as good as the final one, or as a safe one.
func (t *trial) safeAt(us float64) bool {
	return math.Abs(us-t.final) <= safeWithin || slices.ContainsFunc(t.safe, func(s Safe) bool { return math.Abs(us-s.Width) <= safeWithin })
}

func (t *trial) maySilence() bool {
	return slices.ContainsFunc(t.safe, func(s Safe) bool { return s.Stop })
}

// again says how often a safe state was left again, since when, and how far.
func (t *trial) again() string {
	runs := t.relapses()
	often := "again"
	if len(runs) > 1 {
		often = fmt.Sprintf("%d times again, first", len(runs))
	}
	var all []decode.Pulse
	for _, run := range runs {
		all = append(all, run...)
	}
	r := reach(all)
	return fmt.Sprintf(", but leaves it %s at %s s, with pulses of %.0f to %.0f us", often, runs[0][0].Start.Seconds(2), r[0], r[1])
}
