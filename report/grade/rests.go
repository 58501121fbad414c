package grade

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"strings"

	"golang.org/x/exp/slices"

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
		all[i] = fmt.Sprintf("%s us for %s s", written(w.near), phrase.Trim(w.atLeast.Seconds(3)))
	}
	return "rests at " + strings.Join(all, ", then ")
}

func (r *rests) anyway() bool { return false }

// wantedRest is a place where the stick has to rest, and how long.
type wantedRest struct {
	near, within float64 // microseconds
	atLeast      decode.Time
}

func (w wantedRest) holds(width decode.Time) bool {
	return math.Abs(float64(width)/float64(decode.Microsecond)-w.near) <= w.within
}

// rests takes a sequence of places at which the stick has to rest.
func (b *builder) rests(c *Criterion) (task, error) {
	r := &rests{}
	if c.Channels == nil {
		return nil, b.refuse("rests", "rests are those of a channel, and the criterion names none", `channel = "rudder", "any", "every" or "only"`)
	}
	if len(b.in.Rests) == 0 {
		return nil, b.refuse("rests", "an empty list of rests", `[{ near_us = 1500, within_us = 60, at_least = "1s" }]`)
	}
	for i, w := range b.in.Rests {
		if !(w.NearUs > 0) || !(w.WithinUs > 0) || w.AtLeast <= 0 {
			return nil, b.refuse(fmt.Sprintf("rests[%d]", i), "a rest without a place or a length", `{ near_us = 1500, within_us = 60, at_least = "1s" }`)
		}
		r.places = append(r.places, wantedRest{w.NearUs, w.WithinUs, decode.Time(w.AtLeast)})
	}
	return r, nil
}

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
				next, _ = slices.BinarySearchFunc(stays, ends[n-1]+1, func(s stay, t decode.Time) int { return cmp.Compare(s.start, t) })
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
