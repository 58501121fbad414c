// Package places finds where a stick was held: the visits of a channel's
// widths, the places they form, and what a firmware calls low, neutral and
// high. It reads an analysis of package decode and measures nothing twice.
package places

import (
	"cmp"
	"fmt"
	"iter"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat"

	"widthwise/decode"
)

// What sticks and hands do. Common practice, no source.
const (
	leastSweep    = 300.0 // us between the outermost places of a sweep
	leastFromEnd  = 100.0 // us from both ends, or it is no neutral
	neutralSpread = 40.0  // us that neutral's visits may span: a stick returns to different spots
	furthestOut   = 60.0  // us beyond an end that no frame may lie
)

// Places is where a stick was held on one channel. All widths are in
// microseconds.
type Places struct {
	Visits []Visit // in order of time

	// Low, Neutral and High are nil where they could not be found; Missing then
	// says why, in this order.
	Low, Neutral, High *Place
	Missing            []string
	// EndVisits counts the visits of the outermost places of a sweep, ends or not.
	EndVisits [2]int

	// FromBelow and FromAbove are the means of neutral's visits reached upward
	// and downward; NaN where there are none.
	FromBelow, FromAbove float64
	// Step is the transmitter's step; NaN where the frames show none.
	Step float64

	track *track
}

// Place is a width that was visited. U95 is the half width of the 95 % interval
// of its mean, over visits; of a single visit, that of the visit. NaN where
// nothing bounds it.
type Place struct {
	Mean, U95 float64
	Visits    []Visit
}

// Of finds the places of a channel. resolution is the capture's time step in
// microseconds, NaN where unknown.
func Of(c *decode.ChannelAnalysis, resolution float64) *Places {
	if c.Period == nil || !(c.Period.Nominal > 0) {
		return find(func(func(decode.Pulse) bool) {}, nil, Settings{})
	}
	return find(c.Pulses(), c.Spikes(), For(c, resolution))
}

// Settings are what has to be known of a channel before its visits are looked
// for.
type Settings struct {
	Noise  float64     // of the width from frame to frame, microseconds
	Step   float64     // time step of the capture, microseconds; 0 where unknown
	Period decode.Time // nominal
}

// For gathers the settings of a channel from its analysis.
func For(c *decode.ChannelAnalysis, resolution float64) Settings {
	return Settings{Noise: known(c.NoiseScale()), Step: known(resolution), Period: decode.Time(c.Period.Nominal * float64(decode.Microsecond))}
}

func known(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// Band is how far the widths of a visit may lie from their median, in
// microseconds: at least the given width, and what noise and sampling ask for.
func (s Settings) Band(least float64) float64 { return max(least, 6*s.Noise, 2*s.Step) }

// Held finds the visits among pulses, whose widths may lie within
// [Settings.Band] of their median.
func Held(pulses iter.Seq[decode.Pulse], s Settings, least float64) []Visit {
	return newTrack(pulses, nil, s).visits(s.Band(least))
}

// visitBand allows for a hand, which drifts and wobbles by some microseconds.
const visitBand = 15

func find(pulses iter.Seq[decode.Pulse], spikes iter.Seq[decode.Event], s Settings) *Places {
	t := newTrack(pulses, spikes, s)
	p := &Places{track: t, FromBelow: math.NaN(), FromAbove: math.NaN(), Step: math.NaN()}
	band := s.Band(visitBand)
	p.Visits = t.visits(band)
	p.findEnds(band)
	p.Step = t.lattice(p.Visits)
	return p
}

// findEnds names the outermost places of a sweep and the one the stick comes
// back to.
func (p *Places) findEnds(band float64) {
	if len(p.track.frames) == 0 {
		p.miss("no frames to find places in")
		return
	}
	sorted := slices.Clone(p.Visits)
	slices.SortStableFunc(sorted, func(a, b Visit) int { return cmp.Compare(a.Mean, b.Mean) })
	groups := grouped(sorted, band)
	reached := p.track.reached()
	if len(groups) == 0 || meanOf(groups[len(groups)-1])-meanOf(groups[0]) < leastSweep {
		if reached[1]-reached[0] < leastSweep {
			p.miss("low and high: the stick did not travel")
		} else {
			p.unheld("low", reached[0])
			p.unheld("high", reached[1])
		}
		p.miss("neutral: without ends it cannot be told from any other place")
		return
	}
	low, high := p.place(groups[0]), p.place(groups[len(groups)-1])
	p.EndVisits = [2]int{len(low.Visits), len(high.Visits)}
	ends := [2]float64{low.Mean, high.Mean}
	if low.Mean-reached[0] > furthestOut {
		p.unheld("low", reached[0])
		low, ends[0] = nil, reached[0]
	}
	if reached[1]-high.Mean > furthestOut {
		ends[1] = reached[1]
	}
	p.Low = low
	p.findNeutral(sorted, ends)
	if ends[1] != high.Mean {
		p.unheld("high", reached[1])
		high = nil
	}
	p.High = high
}

func (p *Places) miss(format string, args ...any) {
	p.Missing = append(p.Missing, fmt.Sprintf(format, args...))
}

func (p *Places) unheld(end string, at float64) {
	p.miss("%s: reached %.0f us, never held for %d frames", end, at, leastFrames)
}

// grouped forms places: a new one at each gap over the band.
func grouped(sorted []Visit, band float64) [][]Visit {
	var groups [][]Visit
	from := 0
	for i := range sorted {
		if i > 0 && sorted[i].Mean-sorted[i-1].Mean > band {
			groups = append(groups, sorted[from:i])
			from = i
		}
	}
	if from < len(sorted) {
		groups = append(groups, sorted[from:])
	}
	return groups
}

// findNeutral looks for the spot between the ends that was visited most often,
// then longest.
func (p *Places) findNeutral(sorted []Visit, ends [2]float64) {
	inner := slices.DeleteFunc(slices.Clone(sorted), func(v Visit) bool {
		return v.Mean-ends[0] < leastFromEnd || ends[1]-v.Mean < leastFromEnd
	})
	var best []Visit
	for from := range inner {
		to := from
		for to < len(inner) && inner[to].Mean-inner[from].Mean <= neutralSpread {
			to++
		}
		if group := inner[from:to]; len(group) > len(best) || len(group) == len(best) && framesOf(group) > framesOf(best) {
			best = group
		}
	}
	if len(best) < 2 {
		p.miss("neutral: no place between the ends was visited twice: a stick without a centre, or never let go")
		return
	}
	p.Neutral = p.place(best)
	means := map[Arrival][]float64{}
	for _, v := range best {
		means[v.Arrived] = append(means[v.Arrived], v.Mean)
	}
	if up := means[Upward]; len(up) > 0 {
		p.FromBelow = stat.Mean(up, nil)
	}
	if down := means[Downward]; len(down) > 0 {
		p.FromAbove = stat.Mean(down, nil)
	}
}

// place takes visits together; the interval is over visits, not over pulses.
func (p *Places) place(visits []Visit) *Place {
	visits = slices.Clone(visits)
	slices.SortFunc(visits, func(a, b Visit) int { return cmp.Compare(a.Start, b.Start) })
	out := &Place{Mean: meanOf(visits), Visits: visits}
	out.U95 = half95(means(visits), p.track.Step)
	if len(visits) == 1 {
		out.U95 = half95(p.track.batches(visits[0]), p.track.Step)
	}
	return out
}

// Widths yields the width in microseconds of each pulse of a visit, spikes left
// out.
func (p *Places) Widths(v Visit) iter.Seq[float64] {
	return func(yield func(float64) bool) {
		for _, f := range p.track.frames[v.first:v.end] {
			if !f.aside && !yield(f.width) {
				return
			}
		}
	}
}

// FirstWay is the way in which the stick first went far from where the capture
// shows it at the start, for as long as a visit lasts: torn pulses go far as well.
func (p *Places) FirstWay() Arrival {
	frames := p.track.frames
	if len(frames) == 0 {
		return Unseen
	}
	start := p.track.median(0, min(leastFrames, len(frames)))
	way, row := Unseen, 0
	for _, f := range frames {
		if f.aside {
			continue
		}
		now := Unseen
		switch d := f.width - start; {
		case d > leastFromEnd:
			now = Upward
		case d < -leastFromEnd:
			now = Downward
		}
		if now != way {
			way, row = now, 0
		}
		if row++; way != Unseen && row == leastFrames {
			return way
		}
	}
	return Unseen
}

func means(visits []Visit) []float64 {
	out := make([]float64, len(visits))
	for i, v := range visits {
		out[i] = v.Mean
	}
	return out
}

func meanOf(visits []Visit) float64 { return stat.Mean(means(visits), nil) }

func framesOf(visits []Visit) int {
	n := 0
	for _, v := range visits {
		n += v.Frames
	}
	return n
}
