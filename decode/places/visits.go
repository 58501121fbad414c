package places

import (
	"iter"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat"

	"widthwise/decode"
)

const (
	leastFrames = 10 // of a visit
	// farthest is how many bands a line through widths may travel, carried on
	// as long as they follow it, before it is a steady move and no visit.
	farthest = 4
)

// Arrival is from where a stick came to a place.
type Arrival int8

// Ways to arrive.
const (
	Unseen   Arrival = iota // the capture does not show it
	Upward                  // from smaller widths
	Downward                // from larger ones
)

// Visit is a stretch in which a stick was held at a place. Widths are in
// microseconds.
type Visit struct {
	Start, Last decode.Time // leading edges of its first and last pulse
	Frames      int
	Median      float64
	Mean        float64
	Arrived     Arrival

	first, end int // frames of the track
}

// frame is one pulse of a track.
type frame struct {
	at    decode.Time
	width float64 // us
	// aside is a frame that is there but whose width is not the stick's.
	aside bool
	after bool // more than a double frame after the one before, or who knows
}

// track is a channel's frames in order of time.
type track struct {
	Settings
	frames []frame
}

func newTrack(pulses iter.Seq[decode.Pulse], spikes iter.Seq[decode.Event], s Settings) *track {
	t := &track{Settings: s}
	off := map[decode.Time]bool{}
	if spikes != nil {
		for e := range spikes {
			off[e.Start] = true
		}
	}
	last := decode.Time(math.MinInt64 / 2)
	blind := true
	for p := range pulses {
		blind = blind || p.Interval == 0
		if p.Extra || p.StartUp {
			continue
		}
		t.frames = append(t.frames, frame{
			at: p.Start, width: float64(p.Width) / float64(decode.Microsecond),
			aside: p.Broken || off[p.Start], after: blind || 2*(p.Start-last) > 5*s.Period,
		})
		last, blind = p.Start, false
	}
	return t
}

// reached is the smallest and the largest width of a frame.
func (t *track) reached() [2]float64 {
	out := [2]float64{math.Inf(1), math.Inf(-1)}
	for _, f := range t.frames {
		if !f.aside {
			out = [2]float64{min(out[0], f.width), max(out[1], f.width)}
		}
	}
	return out
}

// visits finds the stretches that stay within a band on either side of their
// median.
func (t *track) visits(band float64) []Visit {
	var out []Visit
	from := 0
	for seed := 0; seed < len(t.frames); {
		first, end, ok := t.settle(seed, from, band)
		switch {
		case !ok:
			seed++
		case t.moves(first, end, band):
			seed += max(1, (end-first)/8)
		default:
			if first, end, ok = t.trim(first, end); ok {
				out = t.join(out, t.visit(first, end), band)
				from, seed = end, end
			} else {
				seed++
			}
		}
	}
	return out
}

// settle finds the longest run of frames about its own median that has the seed
// in it: from the median of the frames at the seed on, run and median are found
// in turn until they agree.
func (t *track) settle(seed, from int, band float64) (first, end int, ok bool) {
	first, end = seed, min(seed+leastFrames, len(t.frames))
	for range 32 {
		median := t.median(first, end)
		within := func(i int) bool { return t.frames[i].aside || math.Abs(t.frames[i].width-median) <= band }
		if !within(seed) || math.IsNaN(median) {
			return 0, 0, false
		}
		lo, hi := t.spread(seed, seed+1, from, within)
		if hi-lo < leastFrames {
			return 0, 0, false
		}
		if lo == first && hi == end {
			break
		}
		first, end = lo, hi
	}
	return first, end, true
}

// spread carries a run on both ways as long as frames belong to it, not before
// from.
func (t *track) spread(first, end, from int, belongs func(int) bool) (lo, hi int) {
	for lo = first; lo > from && !t.frames[lo].after && belongs(lo-1); {
		lo--
	}
	for hi = end; hi < len(t.frames) && !t.frames[hi].after && belongs(hi); {
		hi++
	}
	return lo, hi
}

// median of the widths of frames first to end, NaN where all are set aside.
func (t *track) median(first, end int) float64 {
	widths := make([]float64, 0, end-first)
	for _, f := range t.frames[first:end] {
		if !f.aside {
			widths = append(widths, f.width)
		}
	}
	if len(widths) == 0 {
		return math.NaN()
	}
	slices.Sort(widths)
	return (widths[len(widths)/2] + widths[(len(widths)-1)/2]) / 2
}

// moves reports whether a run is part of a steady move, or the turning point of
// two: a line through it, or through either half, goes far. A hand that drifts
// and then moves on does not.
func (t *track) moves(first, end int, band float64) bool {
	middle := (first + end) / 2
	return t.travel(first, end, band) > farthest*band ||
		t.travel(first, middle, band) > farthest*band || t.travel(middle, end, band) > farthest*band
}

// travel is how far a line through the frames goes, carried on both ways as long
// as the widths follow it within the band.
func (t *track) travel(first, end int, band float64) float64 {
	var x, y []float64
	for _, f := range t.frames[first:end] {
		if !f.aside {
			x, y = append(x, t.seconds(first, f)), append(y, f.width)
		}
	}
	if len(x) < 3 {
		return 0
	}
	at, slope := stat.LinearRegression(x, y, nil, false)
	follows := func(i int) bool {
		f := t.frames[i]
		return f.aside || math.Abs(f.width-at-slope*t.seconds(first, f)) <= band
	}
	lo, hi := t.spread(first, end, 0, follows)
	return math.Abs(slope) * float64(t.frames[hi-1].at-t.frames[lo].at) / float64(decode.Second)
}

func (t *track) seconds(first int, f frame) float64 {
	return float64(f.at-t.frames[first].at) / float64(decode.Second)
}

// trim leaves out the frames at either end in which the stick still comes or
// already goes. Fewer than a visit's frames may be left.
func (t *track) trim(first, end int) (int, int, bool) {
	limit := max(4, 4*t.Noise, 1.5*t.Step)
	far := func(i, from, to int) bool {
		return t.frames[i].aside || math.Abs(t.frames[i].width-t.median(from, to)) > limit
	}
	for end-first >= leastFrames && far(first, first+1, min(first+1+leastFrames, end)) {
		first++
	}
	for end-first >= leastFrames && far(end-1, max(end-1-leastFrames, first), end-1) {
		end--
	}
	return first, end, end-first >= leastFrames
}

func (t *track) visit(first, end int) Visit {
	v := Visit{Start: t.frames[first].at, Last: t.frames[end-1].at, first: first, end: end, Median: t.median(first, end)}
	for _, f := range t.frames[first:end] {
		if !f.aside {
			v.Mean += f.width
			v.Frames++
		}
	}
	v.Mean /= float64(v.Frames)
	for i := first - 1; i >= 0 && v.Arrived == Unseen; i-- {
		switch d := t.frames[i].width - v.Mean; {
		case t.frames[i].aside:
		case d < -furthestOut:
			v.Arrived = Upward
		case d > furthestOut:
			v.Arrived = Downward
		}
	}
	return v
}

// join appends a visit, or lengthens the last one where the stick never left
// it: a wobble took some frames out of the band.
func (t *track) join(visits []Visit, v Visit, band float64) []Visit {
	if len(visits) == 0 {
		return append(visits, v)
	}
	last := visits[len(visits)-1]
	if math.Abs(last.Mean-v.Mean) > band || v.first-last.end >= leastFrames {
		return append(visits, v)
	}
	for i := last.end; i <= v.first; i++ {
		if f := t.frames[i]; f.after || !f.aside && math.Abs(f.width-v.Mean) > 2*band {
			return append(visits, v)
		}
	}
	visits[len(visits)-1] = t.visit(last.first, v.end)
	return visits
}
