package decode

import (
	"iter"
	"math"

	"golang.org/x/exp/slices"
)

const (
	restFrames = 25   // a rest has at least this many
	splitAt    = 4.5  // difference of means, in its own standard deviations
	slopeAt    = 3.0  // |t| of a slope that is no rest
	window     = 4096 // pulses segmented at a time
	scaleFrom  = 20000
	spikeOver  = 20 * Microsecond
	spikeRMS   = 6
)

// kept yields the pulses whose widths say something about rests: no start-up,
// no extra pulses, none touched by a break or a rejected part, none out of a
// usual range, none beside a gap, no spikes.
func (c *channel) kept() iter.Seq[entry] {
	return func(yield func(entry) bool) {
		for e, spike := range c.steady() {
			if spike == 0 && e.marks&broken == 0 && e.width >= c.usual[0] && e.width <= c.usual[1] && !yield(e) {
				return
			}
		}
	}
}

// inFrames yields the accepted pulses that are frames: no start-up and no extra
// pulses.
func (c *channel) inFrames() iter.Seq[entry] {
	return func(yield func(entry) bool) {
		extras := c.frames.extras.list
		r := c.pulses.read()
		for e, ok := r.next(); ok; e, ok = r.next() {
			if !e.accepted() || e.start < c.frames.first {
				continue
			}
			for len(extras) > 0 && extras[0].Start < e.start {
				extras = extras[1:]
			}
			if len(extras) > 0 && extras[0].Start == e.start {
				continue
			}
			if !yield(e) {
				return
			}
		}
	}
}

// steady yields the frames that lie between neighbours and, where one is a
// spike, by how much it is off.
func (c *channel) steady() iter.Seq2[entry, Time] {
	return func(yield func(entry, Time) bool) {
		var ring [7]entry // the middle one is yielded; width 0 where a row breaks
		push := func(e entry) bool {
			copy(ring[:], ring[1:])
			ring[6] = e
			m := ring[3]
			if m.width == 0 || ring[2].width == 0 || ring[4].width == 0 {
				return true
			}
			return yield(m, c.spikeIn(&ring))
		}
		var last Time
		for e := range c.inFrames() {
			if e.marks&afterBlind != 0 || (e.start-last)*2 > c.frames.rhythm.period*3 {
				if !push(entry{}) {
					return
				}
			}
			last = e.start
			if !push(e) {
				return
			}
		}
		for range 4 {
			if !push(entry{}) {
				return
			}
		}
	}
}

// spikeIn returns by how much the middle of seven pulses is off, if it is one
// or one of two that are off both neighbours, then back, with the stick at rest
// around them; 0 if it is none.
func (c *channel) spikeIn(r *[7]entry) Time {
	limit := max(spikeOver, Time(spikeRMS*c.scale))
	at := func(before, after int, in ...int) Time {
		a, b := r[before].width, r[after].width
		if a == 0 || b == 0 || r[before-1].width == 0 || r[after+1].width == 0 {
			return 0
		}
		calm := limit / 2
		if absDiff(a, b) > calm || absDiff(a, r[before-1].width) > calm || absDiff(b, r[after+1].width) > calm {
			return 0
		}
		base := (a + b) / 2
		least := Time(math.MaxInt64)
		for _, i := range in {
			if r[i].width == 0 || (r[i].width > base) != (r[in[0]].width > base) {
				return 0
			}
			least = min(least, absDiff(r[i].width, a), absDiff(r[i].width, b))
		}
		if least <= limit {
			return 0
		}
		return r[3].width - base
	}
	if d := at(2, 4, 3); d != 0 {
		return d
	}
	if d := at(2, 5, 3, 4); d != 0 {
		return d
	}
	return at(1, 4, 2, 3)
}

// noise returns the scale of the width noise in picoseconds: 1.4826 x the
// median of the second differences over sqrt 6, at least half a time step.
// Where one radio packet feeds several frames that sees the packets' steps, so
// the lower quartile of the first differences bounds it: of normal noise it is
// 0.4506 standard deviations. Exact repetitions, as where a receiver holds its
// last value, say nothing about noise.
func (c *channel) noise() float64 {
	var first, second []Time
	var a, b Time
	for e := range c.kept() {
		if frozen := e.width == b && b == a; !frozen {
			if a > 0 {
				second = append(second, absDiff(e.width+a, 2*b))
			}
			if b > 0 {
				first = append(first, absDiff(e.width, b))
			}
		}
		a, b = b, e.width
		if len(second) == scaleFrom {
			break
		}
	}
	floor := c.step / 2
	if len(second) == 0 {
		return floor
	}
	scale := 1.4826 * quantile(second, 0.5) / math.Sqrt(6)
	return max(floor, min(scale, max(c.step, quantile(first, 0.25)/0.4506)))
}

// segment is a row of pulses about one mean.
type segment struct {
	start, end Time // leading edge of the first, end of the last
	widths     moments
	line       line
}

func (s *segment) merge(o segment) {
	if s.widths.n == 0 {
		*s = o
		return
	}
	s.end = o.end
	s.widths.merge(o.widths)
	s.line.n += o.line.n
	s.line.x += o.line.x
	s.line.y += o.line.y
	s.line.xx += o.line.xx
	s.line.xy += o.line.xy
	s.line.yy += o.line.yy
}

// step is the difference of two means in its own standard deviations.
func step(a, b *segment, scale float64) float64 {
	d := a.widths.mean() - b.widths.mean()
	return math.Abs(d) / (scale * math.Sqrt(1/float64(a.widths.n)+1/float64(b.widths.n)))
}

// slopeT is the t of the slope of a line through the segment.
func (s *segment) slopeT(floor float64) float64 {
	slope, residual := s.line.fit()
	if math.IsNaN(slope) {
		return 0
	}
	sxx := s.line.xx - s.line.x*s.line.x/s.line.n
	return math.Abs(slope) * math.Sqrt(sxx) / max(residual, floor)
}

// lineFits reports whether one line through both segments fits as well as a
// step between two means.
func lineFits(a, b *segment) bool {
	both := *a
	both.merge(*b)
	_, residual := both.line.fit()
	straight := residual * residual * (both.line.n - 2)
	spread := func(s *segment) float64 { return s.line.yy - s.line.y*s.line.y/s.line.n }
	return straight <= spread(a)+spread(b)
}

// findRests splits the widths where the mean steps and keeps what is long and
// level enough to be a rest.
func (c *channel) findRests() []segment {
	var all []segment
	var open segment
	close := func() {
		if open.widths.n > 0 {
			all = append(all, open)
		}
		open = segment{}
	}
	var index float64
	flush := func(part []entry) {
		for i, s := range c.split(part, index) {
			if i > 0 || open.widths.n == 0 || step(&open, &s, c.scale) > splitAt {
				close()
			}
			open.merge(s)
		}
		index += float64(len(part))
	}
	var part []entry
	for e := range c.kept() {
		if part = append(part, e); len(part) == window {
			flush(part)
			part = part[:0]
			all = c.prune(all)
		}
	}
	flush(part)
	close()
	return c.drop(all)
}

// prune keeps a long list of segments short: what cannot become a rest or
// stand beside one is forgotten.
func (c *channel) prune(all []segment) []segment {
	return slices.DeleteFunc(all, func(s segment) bool { return s.widths.n < restFrames })
}

func (c *channel) drop(all []segment) []segment {
	all = c.prune(all)
	sloped := make([]bool, len(all))
	floor := c.step * 0.3 / float64(Microsecond)
	for i := range all {
		if all[i].slopeT(floor) > slopeAt {
			sloped[i] = true
		}
		if i > 0 && all[i].start-all[i-1].end < 2*c.frames.rhythm.period && lineFits(&all[i-1], &all[i]) {
			sloped[i-1], sloped[i] = true, true
		}
	}
	var rests []segment
	for i := range all {
		if !sloped[i] {
			rests = append(rests, all[i])
		}
	}
	return rests
}

// split segments a window of pulses. index counts the pulses before it.
func (c *channel) split(part []entry, index float64) []segment {
	if len(part) == 0 {
		return nil
	}
	calm := c.despiked(part)
	sums := make([]int64, len(part)+1)
	for i, w := range calm {
		sums[i+1] = sums[i] + int64(w-part[0].width)
	}
	var found []segment
	var cut func(lo, hi int)
	cut = func(lo, hi int) {
		if at := c.splitPoint(sums, lo, hi); at > 0 {
			cut(lo, at)
			cut(at, hi)
			return
		}
		s := segment{start: part[lo].start, end: part[hi-1].start + part[hi-1].width}
		for i := lo; i < hi; i++ {
			s.widths.add(int64(part[i].width))
			s.line.add(index+float64(i), micros(part[i].width-c.reference))
		}
		found = append(found, s)
	}
	cut(0, len(part))
	return found
}

// splitPoint returns where the means before and after differ most, if they
// differ enough; else 0.
func (c *channel) splitPoint(sums []int64, lo, hi int) int {
	best, at := splitAt*c.scale, 0
	for i := lo + 1; i < hi; i++ {
		n1, n2 := float64(i-lo), float64(hi-i)
		d := math.Abs(float64(sums[i]-sums[lo])/n1 - float64(sums[hi]-sums[i])/n2)
		if t := d / math.Sqrt(1/n1+1/n2); t > best {
			best, at = t, i
		}
	}
	return at
}

// despiked replaces widths far off the running median of five by it.
func (c *channel) despiked(part []entry) []Time {
	calm := make([]Time, len(part))
	for i, e := range part {
		calm[i] = e.width
		if i < 2 || i+2 >= len(part) {
			continue
		}
		five := [5]Time{part[i-2].width, part[i-1].width, e.width, part[i+1].width, part[i+2].width}
		slices.Sort(five[:])
		if float64(absDiff(e.width, five[2])) > spikeRMS*c.scale {
			calm[i] = five[2]
		}
	}
	return calm
}

// jitter pools the rests.
func (c *channel) jitter(rests []segment) *Jitter {
	nan := math.NaN()
	j := &Jitter{WidthRMS: nan, WidthRMSCorrected: nan, WidthP99: nan, WidthPP: nan, WidthLargest: nan,
		PeriodRMS: c.frames.intervals.sd() / float64(Microsecond), CycleToCycleRMS: c.frames.cycles.rms() / float64(Microsecond),
		WidthRMSLow95: nan, WidthRMSHigh95: nan}
	var squares, degrees float64
	var widest Time
	for i := range rests {
		w := &rests[i].widths
		j.WidthN += w.n
		sd := w.sd()
		squares += sd * sd * float64(w.n-1)
		degrees += float64(w.n - 1)
		widest = max(widest, Time(w.max-w.min))
	}
	if j.WidthN < restFrames {
		return j
	}
	rms := math.Sqrt(squares / degrees)
	j.WidthRMS = rms / float64(Microsecond)
	j.WidthPP = micros(widest)
	residuals, byTime := c.residuals(rests, j.WidthN)
	if len(residuals) > 0 {
		j.WidthLargest = float64(slices.Max(residuals)) / float64(Microsecond)
	}
	if j.WidthN >= 100 {
		j.WidthP99 = quantile(residuals, 0.99) / float64(Microsecond)
	}
	if u := student95 * byTime.jackknife(func(m *moments) float64 { return math.Log(m.rms()) }); rms > 0 {
		j.WidthRMSLow95, j.WidthRMSHigh95 = j.WidthRMS*math.Exp(-u), j.WidthRMS*math.Exp(u)
	}
	if c.step > 0 && rms >= 0.53*c.step || c.step == 0 && rms > 0 {
		j.Resolved = true
		j.WidthRMSCorrected = math.Sqrt(max(0, rms*rms-c.step*c.step/6)) / float64(Microsecond)
	}
	return j
}

// residuals returns |width - mean of its rest| in picoseconds, and by time.
func (c *channel) residuals(rests []segment, n int64) (all []uint32, byTime *batched) {
	all = make([]uint32, 0, n)
	byTime = c.rec.batched()
	means := make([]float64, len(rests))
	for i := range rests {
		means[i] = rests[i].widths.mean()
	}
	i := 0
	for e := range c.kept() {
		for i < len(rests) && rests[i].end < e.start {
			i++
		}
		if i == len(rests) {
			break
		}
		if e.start >= rests[i].start {
			off := int64(math.Abs(math.Round(float64(e.width) - means[i])))
			all = append(all, uint32(off))
			byTime.add(e.start, off)
		}
	}
	return all, byTime
}
