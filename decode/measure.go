package decode

import "math"

// measure fills in the figures of one train. It lays out its readings in the room
// of an earlier one, and returns that.
func (c *channel) measure(room []reading) []reading {
	f := c.frames
	if !c.stream {
		c.summarise()
	}
	c.usual = [2]Time{800 * Microsecond, 2200 * Microsecond}
	if c.narrow {
		c.usual = [2]Time{400 * Microsecond, 1120 * Microsecond}
	}
	c.ChannelAnalysis.PulseCount = f.pulses
	c.DroppedCount = f.dropped
	c.FrameCount = f.frames + f.dropped
	c.LossCount = f.losses.all
	for _, l := range f.losses.list {
		c.LostTime += l.End - l.Start
	}
	if c.pulser != nil {
		c.GlitchCount = c.countGlitches()
	}
	if f.pulses == 0 {
		return room
	}
	c.Period = c.period()
	if c.stream {
		c.ChannelAnalysis.PulseCount = c.markers
		c.Jitter = c.jitter(nil, nil)
		return room
	}
	all := c.readings(room)
	c.readRuns(all)
	rests := c.findRests(all)
	c.Jitter = c.jitter(all, rests)
	for i := range rests {
		s := &rests[i]
		c.Rests = append(c.Rests, Rest{Start: s.start, End: s.end, Frames: s.widths.n,
			Width: s.widths.mean() / float64(Microsecond), RMS: s.widths.sd() / float64(Microsecond)})
	}
	c.findFrozen(all, rests)
	return all
}

// summarise describes the widths of all accepted pulses.
func (c *channel) summarise() {
	byTime := c.rec.batched()
	for starts, widths := range c.pulses.accepted {
		byTime.addAll(starts, widths)
	}
	m := byTime.whole()
	if m.n == 0 {
		return
	}
	q := quantilesOf(c.pulses.widths, int(m.n), Time(m.min), Time(m.max), 0.01, 0.5, 0.99)
	us := float64(Microsecond)
	c.Width = &Summary{N: m.n, Min: Time(m.min), Max: Time(m.max),
		P01: q[0] / us, Median: q[1] / us, P99: q[2] / us,
		Mean: m.mean() / us, SD: m.sd() / us, MeanU95: half95(byTime.jackknife((*moments).mean), c.step)}
	c.reference = Time(c.Width.Median * us)
	c.narrow = c.frames.rhythm.period > 0 && c.frames.rhythm.period < 5*Millisecond && c.Width.Median < 1000 && c.Width.P99 <= 1120
}

func (c *channel) countGlitches() int64 {
	n := c.pulser.glitched
	r := c.pulser.glitches.read()
	for e, ok := r.next(); ok && c.frames.any && e.start < c.frames.first; e, ok = r.next() {
		n--
	}
	return n
}

func (c *channel) period() *Period {
	f := c.frames
	us := float64(Microsecond)
	p := &Period{Nominal: float64(f.rhythm.period) / us, Pattern: f.rhythm.pattern, Others: f.others,
		Recurring: f.rhythm.recurring, Changes: f.changes, DriftPPM: math.NaN(), Residual: math.NaN()}
	if f.rhythm.period == 0 {
		p.Nominal = math.NaN()
	}
	m := &f.intervals
	p.Intervals = Summary{N: m.n, Min: f.rhythm.period + Time(m.min), Max: f.rhythm.period + Time(m.max),
		Mean: p.Nominal + m.mean()/us, SD: m.sd() / us, P01: math.NaN(), P99: math.NaN(),
		MeanU95: half95(f.batched.jackknife((*moments).mean), c.step/float64(max(1, m.n))),
		Median:  f.median / us}
	if slope, residual := f.drift.fit(); f.rhythm.period > 0 {
		seconds := float64(c.rec.end-c.rec.start) / float64(Second)
		p.DriftPPM, p.Residual = slope*seconds/p.Nominal*1e6, residual
	}
	return p
}

// medianInterval is the median of the intervals that the figures are over, in
// picoseconds. Where the rhythm was found by the same ones it is known.
func (c *channel) medianInterval() float64 {
	y := &c.frames.rhythm
	switch {
	case y.period == 0:
		return math.NaN()
	case y.pattern == Steady && y.median > 0:
		return y.median
	}
	each := func(yield func([]Time) bool) {
		var room [piece]Time
		for _, p := range y.paces {
			if !within(p.period, y.period, pacePercent) {
				continue
			}
			for some := range c.beats.lengths(p.from, min(p.to+1, c.beats.n)) {
				n := 0
				for _, d := range some {
					if room[n] = d; y.regular(d, p) {
						n++
					}
				}
				if !yield(room[:n]) {
					return
				}
			}
		}
	}
	return quantilesOf(each, c.beats.n, 0, 3*y.period, 0.5)[0]
}
