package decode

import (
	"iter"
	"math"

	"golang.org/x/exp/slices"
)

// reading is one frame with what its surroundings say about it, in 16 bytes. All
// that is asked of a train's widths is read from one row of readings.
type reading struct {
	start Time
	width uint32 // picoseconds
	note  readingNote
}

// readingNote says why a width may tell nothing about rests. Above the notes
// stands which of the channel's noises it has.
type readingNote uint32

// noise is that of the width about a reading, and where it is loudest nearby: one
// standard deviation in picoseconds.
type noise struct{ here, loudest float32 }

func (n *noise) square() float64 { return float64(n.here) * float64(n.here) }

const noteBits = 8

func (c *channel) noiseOf(b *reading) *noise { return &c.noises[b.note>>noteBits] }

const (
	rowStart  readingNote = 1 << iota // frames are missing before it, or it is the first
	torn                              // a break or a rejected part touched it
	unusual                           // out of a usual range
	besideGap                         // the first or the last of a row
	spike                             // one of one or two frames off all neighbours, then back
	held                              // the receiver repeats its last value
)

// aside are the notes of readings that take no part in rests.
const aside = torn | unusual | besideGap | spike | held

func (b reading) end() Time { return b.start + Time(b.width) }

// inFrames yields the accepted pulses that are frames: no start-up and no extra
// pulses.
func (c *channel) inFrames() iter.Seq[entry] { return c.inFramesFrom(c.frames.first) }

// inFramesFrom yields those from an instant on.
func (c *channel) inFramesFrom(from Time) iter.Seq[entry] {
	from = max(from, c.frames.first)
	return func(yield func(entry) bool) {
		extras := c.frames.extras.list
		for _, chunk := range c.pulses.chunks {
			if chunk[len(chunk)-1].start < from {
				continue
			}
			for i := range chunk {
				p := &chunk[i]
				if !p.accepted() || p.start < from {
					continue
				}
				for len(extras) > 0 && extras[0].Start < p.start {
					extras = extras[1:]
				}
				if len(extras) > 0 && extras[0].Start == p.start {
					continue
				}
				if !yield(p.entry()) {
					return
				}
			}
		}
	}
}

// readings lays out the frames with their notes, in the room that there is.
func (c *channel) readings(room []reading) []reading {
	if n := int(c.frames.pulses); cap(room) < n {
		room = make([]reading, 0, n+64) // channels of a capture differ by few
	}
	all := room[:0]
	period := c.frames.rhythm.period
	for _, p := range c.frames.rhythm.paces {
		period = max(period, p.period)
	}
	for e := range c.inFrames() {
		n := len(all)
		b := reading{start: e.start, width: uint32(e.width), note: readingNote(n/noiseHop) << noteBits}
		if n == 0 || e.marks&afterBlind != 0 || (e.start-all[n-1].start)*2 > period*3 {
			b.note |= rowStart | besideGap
			if n > 0 {
				all[n-1].note |= besideGap
			}
		}
		if e.marks&broken != 0 {
			b.note |= torn
		}
		if e.width < c.usual[0] || e.width > c.usual[1] {
			b.note |= unusual
		}
		all = append(all, b)
	}
	if n := len(all); n > 0 {
		all[n-1].note |= besideGap
	}
	c.findNoise(all)
	c.findSpikes(all)
	return all
}

// The noise is that of noiseFrames frames about a reading, looked at again every
// noiseHop. Of normal noise the second difference has sqrt 6 of its standard
// deviation (1 + 4 + 1), and the median of its size is 1 / 1.4826 of that.
const (
	noiseFrames = 50
	noiseHop    = 25
	ofMedian    = 1.4826 // 1 / the normal distribution's third quartile
)

// findNoise finds the noise of each reading, and the channel's own: the median.
// Beside a move or a motor that starts the quieter side counts, so that a rest ends
// where it does.
func (c *channel) findNoise(all []reading) {
	scales := make([]float32, 0, len(all)/noiseHop+1)
	for from := 0; from < len(all); from += noiseHop {
		lo := max(0, min(from+noiseHop/2-noiseFrames/2, len(all)-noiseFrames))
		scales = append(scales, float32(c.widthNoise(all[lo:min(lo+noiseFrames, len(all))])))
	}
	c.noises = make([]noise, len(scales))
	for k := range scales {
		near := scales[max(0, k-1):min(len(scales), k+2)]
		c.noises[k] = noise{slices.Min(near), slices.Max(near)}
	}
	c.scale = c.noiseFloor()
	if len(scales) > 0 {
		slices.Sort(scales)
		c.scale = float64(scales[len(scales)/2])
	}
}

// noiseFloor is half a time step: less is not told from none.
func (c *channel) noiseFloor() float64 { return max(c.step/2, 1) }

// widthNoise is the noise of a few neighbouring readings. Where each radio packet
// feeds several frames only changed widths tell, and frames are worth less:
// k of them say what one would. Where the output jitters besides, the second
// differences of a moving width are the packets' steps, and the smaller of the
// first ones are the noise: their lower quartile is 0.4506 standard deviations.
func (c *channel) widthNoise(some []reading) float64 {
	var all, changed changes
	var row [noiseFrames]Time
	n := 0
	for i := range some {
		if some[i].note&rowStart != 0 {
			all.add(row[:n])
			n = 0
		}
		row[n] = Time(some[i].width)
		n++
	}
	all.add(row[:n])
	scale := all.scale()
	if k, ok := c.packets(some, &changed); ok {
		scale = changed.scale() * math.Sqrt(float64(k))
	} else if !all.quartileOver(scale / 2 * quartile) {
		if least := all.firstQuartile() / quartile; least < scale/2 {
			scale = min(scale, max(c.step, least))
		}
	}
	return max(scale, c.noiseFloor())
}

// packets reports whether a radio packet feeds several frames, as where most
// widths come k times, and adds the widths that changed. No branch depends on which
// did, which nobody can foresee.
func (c *channel) packets(some []reading, changed *changes) (k int, ok bool) {
	const none = Time(math.MinInt64 / 2) // far from any width
	var runs [noiseFrames + 1]int        // by length
	var row [noiseFrames]Time            // widths that changed
	same := c.sameWidth()
	last, run, n, news := none, 0, 0, 0
	for i := range some {
		if some[i].note&rowStart != 0 {
			changed.add(row[:n])
			last, n = none, 0
		}
		w, isNew := Time(some[i].width), 0
		row[n] = w
		if uint64(w-last+same) <= uint64(2*same) {
			w = last
		} else {
			isNew = 1
		}
		last = w
		n += isNew
		news += isNew
		runs[run] += isNew
		run += 1 - run*isNew
	}
	if news < 10 || (news-runs[1])*10 < news*7 {
		return 0, false // most come once
	}
	if k = usualRun(runs[2:]) + 2; runs[k]*10 < news*7 {
		return 0, false
	}
	changed.add(row[:n])
	return k, changed.typical() > 3*float64(same)
}

// quartile is the lower quartile of the size of a first difference of normal
// noise, in its standard deviations.
const quartile = 0.4506

// usualRun is where most are.
func usualRun(runs []int) int {
	best := 0
	for k, n := range runs {
		if n > runs[best] {
			best = k
		}
	}
	return best
}

// changes holds the differences of a few widths.
type changes struct {
	first, second   [noiseFrames]Time
	firsts, seconds int
}

// add takes a row of widths.
func (d *changes) add(row []Time) {
	first, second := d.first[d.firsts:], d.second[d.seconds:]
	for i := 1; i < len(row); i++ {
		first[i-1] = absDiff(row[i], row[i-1])
	}
	for i := 2; i < len(row); i++ {
		second[i-2] = absDiff(row[i]+row[i-2], 2*row[i-1])
	}
	d.firsts += max(0, len(row)-1)
	d.seconds += max(0, len(row)-2)
}

// scale is the standard deviation of normal noise with these differences.
func (d *changes) scale() float64 {
	if d.seconds == 0 {
		return 0
	}
	return ofMedian * quantile(d.second[:d.seconds], 0.5) / math.Sqrt(6)
}

func (d *changes) typical() float64 { return quantile(d.first[:d.firsts], 0.5) }

// quartileOver says without selecting when the lower quartile is clearly over a
// bound: where most are noise it is.
func (d *changes) quartileOver(bound float64) bool {
	under, limit := 0, Time(bound)+2
	for _, x := range d.first[:d.firsts] {
		one := 0
		if x <= limit {
			one = 1
		}
		under += one
	}
	return under*4 < d.firsts
}

func (d *changes) firstQuartile() float64 {
	if d.firsts == 0 {
		return 0
	}
	return quantile(d.first[:d.firsts], 0.25)
}

const (
	spikeOver = 20 * Microsecond
	spikeRMS  = 6
)

// findSpikes notes one or two frames off both neighbours by over 20 us and over
// six times the noise, then back, with the stick at rest before or after.
func (c *channel) findSpikes(all []reading) {
	for i := range all {
		if i == 0 || absDiff(Time(all[i].width), Time(all[i-1].width)) <= spikeOver {
			continue // most are ruled out by that
		}
		for n := 1; n <= 2; n++ {
			off, ok := c.spikeAt(all, i, n)
			if !ok {
				continue
			}
			for k := i; k < i+n; k++ {
				all[k].note |= spike
				c.spikes.add(Event{Start: all[k].start, End: all[k].end(), Count: 1, Measured: micros(off)})
			}
			break
		}
	}
}

// spikeAt reports whether n readings from i on are a spike, and by how much: off
// both neighbours to the same side, between which the stick rests.
func (c *channel) spikeAt(all []reading, i, n int) (off Time, ok bool) {
	w := func(k int) Time { return Time(all[k].width) }
	loudest := c.noiseOf(&all[i]).loudest
	limit := max(spikeOver, Time(spikeRMS*loudest))
	before, after := i-1, i+n
	if before < 0 || after >= len(all) || all[i].note&spike != 0 || absDiff(w(i), w(before)) <= limit {
		return 0, false
	}
	base, ok := c.restsAround(all, i, after, max(limit/2, Time(4*loudest)))
	if !ok || absDiff(w(before), w(after)) > limit {
		return 0, false
	}
	for k := i; k < after; k++ {
		if (w(k) > base) != (w(i) > base) || min(absDiff(w(k), w(before)), absDiff(w(k), w(after))) <= limit {
			return 0, false
		}
	}
	return w(i) - base, true
}

// restsAround returns the width at which the stick rests about readings from..to,
// if it does. Up to two neighbours a side say so; all but one must agree, as
// another spike may be among them. Frames missing between do not matter, a loss
// does.
func (c *channel) restsAround(all []reading, from, to int, within Time) (base Time, ok bool) {
	var beside []Time
	for k := max(0, from-2); k < min(len(all), to+2); k++ {
		if (k < from || k >= to) && absDiff(all[k].start, all[from].start) <= c.frames.lossAfter {
			beside = append(beside, Time(all[k].width))
		}
	}
	base, agree := Time(quantile(beside, 0.5)), 0
	for _, x := range beside {
		if absDiff(x, base) <= within {
			agree++
		}
	}
	return base, agree >= 3
}
