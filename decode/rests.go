package decode

import "math"

const (
	restFrames = 25    // a rest has at least this many
	splitAt    = 4.5   // difference of means, in its own standard deviations
	slopeAt    = 3.0   // |t| of a slope that is no rest
	window     = 1024  // readings segmented at a time
	scaleFrom  = 20000 // pulses that say which level is the steadier
)

// segment is a row of readings about one mean.
type segment struct {
	n          int64
	start, end Time // leading edge of the first, end of the last
	widths     moments
	line       line
	noise      float64 // sum of the squares of the noise about its readings
	second     moments // second differences within it
	spread     float64 // sum of the squared deviations from the mean
	noisy      bool    // see scatters
}

// segmentOf gathers readings, the first of which has an index in its stretch.
func (c *channel) segmentOf(part []reading, index float64) segment {
	s := segment{n: int64(len(part)), start: part[0].start, end: part[len(part)-1].end()}
	for i, b := range part {
		s.widths.add(int64(b.width))
		s.line.add(index+float64(i), micros(Time(b.width)-c.reference))
		s.noise += c.noiseOf(&part[i]).square()
		if i >= 2 {
			s.second.add(secondDifference(part, i))
		}
	}
	s.reckon()
	return s
}

func secondDifference(part []reading, i int) int64 {
	return int64(part[i].width) - 2*int64(part[i-1].width) + int64(part[i-2].width)
}

func (s *segment) merge(o segment) {
	s.n += o.n
	s.end = o.end
	s.widths.merge(o.widths)
	s.second.merge(o.second)
	s.noise += o.noise
	s.line.n += o.line.n
	s.line.x += o.line.x
	s.line.y += o.line.y
	s.line.xx += o.line.xx
	s.line.xy += o.line.xy
	s.line.yy += o.line.yy
	s.reckon()
}

// reckon sets what follows from the sums.
func (s *segment) reckon() {
	s.spread = 0
	if s.widths.n > 1 {
		sd := s.widths.sd()
		s.spread = sd * sd * float64(s.widths.n-1)
	}
	s.noisy = s.scatters()
}

// scale is the noise about the segment's readings, picoseconds.
func (s *segment) scale() float64 { return math.Sqrt(s.noise / float64(s.n)) }

// slopeT is the t of the slope of a line through the segment, and by how much
// the line rises over it, in microseconds.
func (s *segment) slopeT(floor float64) (t, rise float64) {
	slope, residual := s.line.fit()
	if math.IsNaN(slope) {
		return 0, 0
	}
	sxx := s.line.xx - s.line.x*s.line.x/s.line.n
	return math.Abs(slope) * math.Sqrt(sxx) / max(residual, floor), math.Abs(slope) * s.line.n
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

// findRests splits the widths where the mean steps, joins what only noise has
// split, and keeps what is long and level enough to be a rest.
func (c *channel) findRests(all []reading) []segment {
	split := splitter{c: c}
	var stretch []reading
	index := 0  // of the stretch's first reading
	first := -1 // where the stretch begins among the readings, as long as it lies there in one piece
	flush := func(end int) {
		if first >= 0 {
			stretch = all[first:end]
		}
		if len(stretch) >= restFrames {
			split.take(stretch, index)
		}
		stretch, index, first = nil, end+1, -1
	}
	into := Time(0) // change of the width from the reading before
	for i := range all {
		b, out := &all[i], Time(0)
		if i+1 < len(all) {
			out = Time(all[i+1].width) - Time(b.width)
		}
		moving := c.noiseOf(b).outrunBy(into, out)
		into = out
		switch {
		case b.note&held != 0, moving:
			flush(i)
		case b.note&aside != 0:
			if first >= 0 {
				stretch, first = all[first:i:i], -1 // appending to it makes a copy
			}
		case len(stretch) > 0:
			stretch = append(stretch, *b)
		case first < 0:
			first = i
		}
	}
	flush(len(all))
	return c.level(split.rests)
}

// outrunBy reports whether a reading is amid a move that no noise makes: the changes
// of width to it and from it go the same way by more than six times the noise. Such
// readings part the stretches, so that only what may hold a rest is segmented.
func (n *noise) outrunBy(into, out Time) bool {
	return float64(min(max(into, -into), max(out, -out))) > 6*float64(n.loudest) && (into > 0) == (out > 0)
}

// turns reports whether the middle third lies off the outer ones as the turn of a
// moving stick does, which no step shows: by three standard deviations of the
// difference, and by more than the noise.
func turns(part []reading, noise float64) bool {
	k := len(part) / 3
	mean := func(some []reading) float64 {
		sum := 0.0
		for _, b := range some {
			sum += float64(b.width)
		}
		return sum / float64(len(some))
	}
	off := math.Abs(mean(part[k:len(part)-k]) - (mean(part[:k])+mean(part[len(part)-k:]))/2)
	return off > noise && off > slopeAt*noise*math.Sqrt(1.5/float64(k))
}

// splitter cuts stretches to segments, joins what only noise has split, and keeps
// what may be a rest.
type splitter struct {
	c       *channel
	stretch []reading
	index   int                 // of its first reading
	sums    [window + 1]float64 // of the widths before each reading of a window, less the first
	noise   [window + 1]float64 // of the squares of their noise
	open    []segment           // that one to come may be joined to
	opened  int                 // readings of the stretch before those
	rests   []segment
}

// take splits a stretch window by window; index is that of its first reading.
func (p *splitter) take(stretch []reading, index int) {
	p.stretch, p.index, p.opened = stretch, index, 0
	for from := 0; from < len(stretch); from += window {
		part := stretch[from:min(from+window, len(stretch))]
		p.addUp(part)
		p.cut(from, 0, len(part))
	}
	p.settle()
}

// addUp fills in the sums of a window.
func (p *splitter) addUp(part []reading) {
	sums, noises := p.sums[1:], p.noise[1:]
	var sum, noise float64
	for i := range part {
		sum += float64(int64(part[i].width) - int64(part[0].width))
		noise += p.c.noiseOf(&part[i]).square()
		sums[i], noises[i] = sum, noise
	}
}

// cut splits the readings from lo to hi of a window as long as two parts differ.
func (p *splitter) cut(from, lo, hi int) {
	for {
		at := splitPoint(p.sums[:], p.noise[:], lo, hi)
		if at == 0 {
			break
		}
		p.cut(from, lo, at)
		lo = at
	}
	part := p.stretch[from+lo : from+hi]
	if len(part) < restFrames && plainlyMoves(part, p.noise[hi]-p.noise[lo]) {
		p.settle()
		p.opened += len(part)
		return
	}
	p.join(p.c.segmentOf(part, float64(p.index+from+lo)))
}

// join joins neighbours whose means differ by less than 4.5 of their own pooled
// deviation: noise in a part of the time, as where a motor runs, has been cut to
// pieces by the noise about them.
func (p *splitter) join(s segment) {
	for n := len(p.open) - 1; n >= 0 && joinable(&p.open[n], &s); n-- {
		last := p.open[n]
		last.merge(s)
		s, p.open = last, p.open[:n]
	}
	p.open = append(p.open, s)
	if !s.noisy {
		p.settle() // none is joined to it
	}
}

// settle keeps of the open segments those that may be rests.
func (p *splitter) settle() {
	for i := range p.open {
		s := &p.open[i]
		part := p.stretch[p.opened : p.opened+int(s.n)]
		p.opened += len(part)
		if len(part) >= restFrames && !turns(part, s.scale()) {
			p.rests = append(p.rests, *s)
		}
	}
	p.open = p.open[:0]
}

// plainlyMoves says of readings whose segment does not scatter as noise does that
// this shows without exact sums, as of most of a moving stick. Given is the sum of
// the squares of their noise.
func plainlyMoves(part []reading, noise float64) bool {
	if len(part) < leastScatter {
		return false
	}
	first := int64(part[0].width)
	before := float64(int64(part[1].width) - first) // of the reading before, less the first
	change := before
	sum, squares, second := before, before*before, 0.0
	for i := range part[2:] {
		d := float64(int64(part[2+i].width) - first)
		sum += d
		squares += d * d
		was := change
		change, before = d-before, d
		second += (change - was) * (change - was)
	}
	const clearly = 1 + 1e-6 // far more than is lost in rounding
	n := float64(len(part))
	return (squares-sum*sum/n)/(n-1) > clearly*max(second/(n-2), noise/n)
}

// splitPoint returns where the means before and after differ most, the first of such
// places, if they differ enough; else 0. The variance of each mean is that of its own
// readings' noise. What is too short for a rest stays in one piece.
func splitPoint(sums, noise []float64, lo, hi int) int {
	if hi-lo < restFrames {
		return 0
	}
	// Of n readings with the sum S let the first n1 have s. Then the means differ by
	// (s n - S n1) / (n1 n2), all of which are whole numbers that stay exact. Floats
	// over zero are in the order of their bits, which a choice without a branch takes:
	// where the best place is no sharp one nobody can foresee it.
	best, at := math.Float64bits(splitAt*splitAt), 0
	n := float64(hi - lo)
	sum, share := sums[hi]-sums[lo], sums[lo]*n
	first, last := noise[lo], noise[hi]
	sums, noise = sums[lo+1:hi], noise[lo+1:hi]
	square := squares[1 : hi-lo] // of n1, and from the other end of n2
	for i, s := range sums {
		share += sum
		d := s*n - share
		v := (noise[i]-first)*square[len(square)-1-i] + (last-noise[i])*square[i]
		t := math.Float64bits(d * d / v)
		if t > best {
			at = i + 1
		}
		best = max(best, t)
	}
	if at == 0 {
		return 0
	}
	return lo + at
}

var squares = func() (all [window]float64) {
	for i := range all {
		all[i] = float64(i * i)
	}
	return all
}()

func joinable(a, b *segment) bool {
	na, nb := float64(a.n), float64(b.n)
	if na+nb < 3 || !a.noisy || !b.noisy {
		return false
	}
	pooled := max((a.spread+b.spread)/(na+nb-2), (a.noise+b.noise)/(na+nb))
	d := a.widths.mean() - b.widths.mean()
	return d*d < splitAt*splitAt*pooled*(1/na+1/nb)
}

// leastScatter is how many readings show how they scatter.
const leastScatter = 5

// scatters reports whether the widths of a segment scatter from reading to reading
// as noise does, or hardly at all, rather than along a move. Noise has second
// differences of six times its variance; where packets feed several frames, of
// down to a fifth of that.
func (s *segment) scatters() bool {
	if s.n < leastScatter {
		return true
	}
	variance := s.spread / float64(s.n-1)
	own := s.second.rms()
	return variance <= max(own*own, s.noise/float64(s.n))
}

// level keeps the segments that are no part of a slow move: no slope that shows
// and rises over the noise, and no pair that one line fits as well as a step.
func (c *channel) level(all []segment) []segment {
	sloped := make([]bool, len(all))
	floor := c.step * 0.3 / float64(Microsecond)
	for i := range all {
		if t, rise := all[i].slopeT(floor); t > slopeAt && rise > all[i].scale()/float64(Microsecond) {
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
