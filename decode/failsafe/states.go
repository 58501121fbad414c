package failsafe

import (
	"cmp"
	"iter"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat"

	"widthwise/decode"
	"widthwise/decode/places"
)

// StateKind is what a channel does for a while.
type StateKind string

// Kinds of state.
const (
	Pulsing StateKind = "pulsing" // at a place
	Moving  StateKind = "moving"
	Silent  StateKind = "silent" // a signal loss
)

// State is a stretch in which a channel does one thing. Width is the mean in
// microseconds, NaN unless it pulses at a place.
type State struct {
	Kind       StateKind
	Start, End decode.Time
	Width      float64

	pulses []decode.Pulse
}

// How a receiver goes from state to state. Common practice, no source.
const (
	leastNear  = 10.0 // us: a preset nearer than this to the stick's width cannot be told from it
	leastMoves = 3    // frames on the way from place to place that are no jump
	leastAway  = 10   // frames that make a state of its own of what interrupts a place
	edge       = 3    // frames over which a jump is looked for
	before     = decode.Second
)

// line is one channel under examination.
type line struct {
	*decode.ChannelAnalysis
	wire     *decode.ChannelAnalysis // that it is on: itself, or the stream of a slot
	pulses   []decode.Pulse
	losses   []decode.Event
	settings places.Settings
	near     float64 // us: widths no further apart are one
	openEnd  bool    // all channels may have stopped where the capture ends: it lists changes only
	period   decode.Time
}

func newLine(c *decode.ChannelAnalysis, a *decode.Analysis) *line {
	l := &line{ChannelAnalysis: c, wire: c}
	if i := slices.IndexFunc(a.Channels, func(w *decode.ChannelAnalysis) bool { return slices.Contains(w.Slots, c) }); i >= 0 {
		l.wire = a.Channels[i]
	}
	for p := range c.Pulses() {
		p.Extra, p.StartUp = false, false // what is on the wire is what a machine reads
		l.pulses = append(l.pulses, p)
	}
	for e := range c.Losses() {
		l.losses = append(l.losses, e)
	}
	if c.Period != nil && c.Period.Nominal > 0 {
		l.settings = places.For(c, a.Resolution)
		l.period = l.settings.Period
	}
	l.near = l.settings.Band(leastNear)
	l.openEnd = slices.ContainsFunc(a.Notes, func(r decode.Remark) bool { return r.Kind == decode.EndUnseen })
	return l
}

// between returns the pulses that begin from one instant on and before another.
func (l *line) between(from, to decode.Time) []decode.Pulse {
	at := func(t decode.Time) int {
		i, _ := slices.BinarySearchFunc(l.pulses, t, func(p decode.Pulse, t decode.Time) int { return cmp.Compare(p.Start, t) })
		return i
	}
	lo, hi := at(from), at(to)
	return l.pulses[lo:max(lo, hi)]
}

func each(pulses []decode.Pulse) iter.Seq[decode.Pulse] {
	return func(yield func(decode.Pulse) bool) {
		for _, p := range pulses {
			if !yield(p) {
				return
			}
		}
	}
}

// states cuts a stretch into what the channel does. A place that began within a
// second before the stretch is looked at from there, so that a hold of a few
// frames is still told.
func (l *line) states(from, to decode.Time) []State {
	var out []State
	at, since := from, from-before
	for _, e := range l.losses {
		start, end := max(e.Start, from), min(e.End, to)
		if end <= start {
			if e.End <= from {
				since = max(since, e.End)
			}
			continue
		}
		out = append(out, l.awake(since, at, start)...)
		out = append(out, State{Kind: Silent, Start: start, End: end, Width: none})
		at, since = end, end
	}
	out = append(out, l.awake(since, at, to)...)
	return l.joined(out, to)
}

// awake cuts a stretch without losses into places and moves. Visits are looked
// for from an earlier instant on.
func (l *line) awake(since, from, to decode.Time) []State {
	pulses := l.between(since, to)
	visits := places.Held(each(pulses), l.settings, leastNear)
	var out []State
	moving := func(a, b decode.Time) {
		if p := l.between(max(a, from), b); len(p) > 0 {
			out = append(out, State{Kind: Moving, Start: p[0].Start, Width: none, pulses: p})
		}
	}
	at := from
	for _, v := range visits {
		if v.Last < from {
			continue
		}
		moving(at, v.Start)
		p := l.between(max(v.Start, from), v.Last+1)
		out = append(out, State{Kind: Pulsing, Start: p[0].Start, Width: level(p, l.near), pulses: p})
		at = v.Last + 1
	}
	moving(at, to)
	return out
}

// joined leaves out what is too short to be a state, takes together what is one
// place, and makes the states follow one another without gaps, up to the end or
// to where the line's level is no longer known.
func (l *line) joined(states []State, to decode.Time) []State {
	var out []State
	for i, s := range states {
		if s.Kind == Moving && len(s.pulses) < leastMoves {
			continue
		}
		if s.Kind == Moving && len(s.pulses) < leastAway && i > 0 && i+1 < len(states) && l.same(&states[i-1], &states[i+1]) {
			continue // an excursion from a place, told as one
		}
		if n := len(out); n > 0 && l.same(&out[n-1], &s) {
			out[n-1].pulses = l.between(out[n-1].Start, s.pulses[len(s.pulses)-1].Start+1)
			out[n-1].Width = level(out[n-1].pulses, l.near)
			continue
		}
		out = append(out, s)
	}
	for i := range out {
		out[i].End = to
		if i > 0 {
			out[i-1].End = out[i].Start
		}
	}
	if n := len(out) - 1; n >= 0 && out[n].Kind != Silent {
		// Neither pulses nor a loss: the line's level is unknown.
		if p := out[n].pulses[len(out[n].pulses)-1]; to-p.Start > l.LossAfter() {
			out[n].End = p.Start + l.period
		}
	}
	return out
}

// same says whether two states are one place: as near as that, or without a
// jump from one to the other, as a hand drifts.
func (l *line) same(a, b *State) bool {
	if a.Kind != Pulsing || b.Kind != Pulsing {
		return false
	}
	jump := mean(last(a.pulses, edge)) - mean(b.pulses[:min(edge, len(b.pulses))])
	return math.Abs(a.Width-b.Width) <= l.near || math.Abs(jump) <= l.near
}

func last[T any](of []T, n int) []T { return of[max(0, len(of)-n):] }

func width(p decode.Pulse) float64 { return float64(p.Width) / float64(decode.Microsecond) }

func mean(pulses []decode.Pulse) float64 {
	sum := 0.0
	for _, p := range pulses {
		sum += width(p)
	}
	return sum / float64(len(pulses))
}

// level is the mean of the widths near their median: what interrupts a place for
// a few frames does not move it.
func level(pulses []decode.Pulse, near float64) float64 {
	sorted := make([]float64, len(pulses))
	for i, p := range pulses {
		sorted[i] = width(p)
	}
	slices.Sort(sorted)
	median := sorted[len(sorted)/2]
	kept := slices.DeleteFunc(sorted, func(w float64) bool { return math.Abs(w-median) > near })
	return stat.Mean(kept, nil)
}

// reach is the smallest and the largest width.
func reach(pulses []decode.Pulse) [2]float64 {
	out := [2]float64{none, none}
	for i, p := range pulses {
		w := width(p)
		if i == 0 {
			out = [2]float64{w, w}
		}
		out = [2]float64{min(out[0], w), max(out[1], w)}
	}
	return out
}
