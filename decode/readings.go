package decode

import (
	"iter"
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
	c.hearKicks(all)
	return all
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
// if it does. Up to two neighbours a side say so, as far apart as those readings are
// many, which may be of one packet; all but one must agree, as another spike may be
// among them. Frames missing between do not matter, a loss does.
func (c *channel) restsAround(all []reading, from, to int, within Time) (base Time, ok bool) {
	var beside []Time
	for _, k := range [...]int{2*from - to - 1, from - 1, to, 2*to - from} {
		if k >= 0 && k < len(all) && absDiff(all[k].start, all[from].start) <= c.frames.lossAfter {
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
