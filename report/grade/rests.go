package grade

import (
	"fmt"
	"iter"
	"sort"
	"strings"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// rests looks for places at which the stick rested, in their order.
type rests struct{ places []wantedRest }

func (r *rests) look(h *HandIn, on *target, of Points) Result {
	n := longestSequence(r.found(on.ca))
	return Result{
		Points: of.share(n, len(r.places)), Value: float64(n),
		Measured: fmt.Sprintf("%d of %s in order", n, phrase.Count(int64(len(r.places)), "rest")), Wanted: r.wanted(h, on),
	}
}

func (r *rests) wanted(*HandIn, *target) string {
	all := make([]string, len(r.places))
	for i, w := range r.places {
		all[i] = fmt.Sprintf("%s us for %s s", shown(w.near), phrase.Trim(w.atLeast.Seconds(3)))
	}
	return "rests at " + strings.Join(all, ", then ")
}

func (r *rests) anyway() bool { return false }

// stay is a stretch in which the widths stay near one place, from its first
// leading edge to its last.
type stay struct{ start, end decode.Time }

// found lists for each wanted rest the stretches that are one, in order of time.
func (r *rests) found(ca *decode.ChannelAnalysis) [][]stay {
	out := make([][]stay, len(r.places))
	if ca.Period == nil || !(ca.Period.Nominal > 0) {
		return out
	}
	period := decode.Time(ca.Period.Nominal * float64(decode.Microsecond))
	for i, w := range r.places {
		out[i] = w.stays(ca.Pulses(), period)
	}
	return out
}

// strays is how many frames in a row may lie elsewhere; more frames than that
// have to be near again before others may.
const strays = 2

// stays finds where widths stay near the place, single or double frames apart,
// for long enough: up to one period after the last leading edge.
func (w wantedRest) stays(pulses iter.Seq[decode.Pulse], period decode.Time) (out []stay) {
	var now stay
	var last decode.Time // leading edge
	open, near, away := false, 0, 0
	end := func() {
		if open && now.end+period-now.start >= w.atLeast {
			out = append(out, now)
		}
		open = false
	}
	for p := range pulses {
		if open && p.Start-last > period*5/2 {
			end()
		}
		last = p.Start
		switch {
		case !w.holds(p.Width):
			near, away = 0, away+1
			if away > strays {
				end()
			}
			continue
		case !open:
			now, open = stay{p.Start, p.Start}, true
		default:
			now.end = p.Start
		}
		if near++; near > strays || now.start == now.end {
			away = 0
		}
	}
	end()
	return out
}

// longestSequence is how many wanted rests at most follow one another in the
// wanted order; some may be missing, others may lie between.
func longestSequence(found [][]stay) int {
	var ends []decode.Time // of a sequence of one, two ...: the earliest so far
	for _, stays := range found {
		for n := len(ends); n >= 0; n-- {
			next := 0
			if n > 0 {
				next = sort.Search(len(stays), func(k int) bool { return stays[k].start > ends[n-1] })
			}
			switch {
			case next == len(stays):
			case n == len(ends):
				ends = append(ends, stays[next].end)
			default:
				ends[n] = min(ends[n], stays[next].end)
			}
		}
	}
	return len(ends)
}
