package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// noise is that of the width about a reading, and where it is loudest nearby: one
// standard deviation in picoseconds.
type noise struct{ here, loudest float32 }

func (n *noise) square() float64 { return float64(n.here) * float64(n.here) }

const noteBits = 8

func (c *channel) noiseOf(b *reading) *noise { return &c.noises[b.note>>noteBits] }

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
	c.noise = &noiseFinder{same: c.sameWidth(), step: c.step, floor: c.noiseFloor()}
	for from := 0; from < len(all); from += noiseHop {
		lo := max(0, min(from+noiseHop/2-noiseFrames/2, len(all)-noiseFrames))
		scales = append(scales, float32(c.noise.of(all, lo, min(lo+noiseFrames, len(all)))))
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

// widthNoise is the noise of a few neighbouring readings.
func (c *channel) widthNoise(some []reading) float64 {
	c.noise.from, c.noise.to = 0, 0
	return c.noise.of(some, 0, len(some))
}

// noiseFinder finds the noise of one part of a train's readings after the other.
type noiseFinder struct {
	same         Time
	step, floor  float64
	all, changed changes
	row          [noiseFrames]Time

	// the changes between neighbours of a block of readings, each at the place of the
	// last of these: the parts overlap
	from, to      int
	first, second [noiseBlock]Time
	starts        []int // of rows, from the first part on that was not yet asked for
}

// noiseBlock is how many readings have their changes laid out together.
const noiseBlock = 1024

// of is the noise of the readings from lo up to hi, noiseFrames at most. Where each
// radio packet feeds several frames only changed widths tell, and frames are worth
// less: k of them say what one would. Where the output jitters besides, the second
// differences of a moving width are the packets' steps, and the smaller of the first
// ones are the noise: their lower quartile is 0.4506 standard deviations.
func (f *noiseFinder) of(all []reading, lo, hi int) float64 {
	f.take(all, lo, hi)
	scale := f.all.scale()
	if k, ok := f.packets(all[lo:hi]); ok {
		scale = f.changed.scale() * math.Sqrt(float64(k))
	} else if !f.all.quartileOver(scale / 2 * quartile) {
		if least := f.all.firstQuartile() / quartile; least < scale/2 {
			scale = min(scale, max(f.step, least))
		}
	}
	return max(scale, f.floor)
}

// take takes the changes within each row of the readings from lo up to hi.
func (f *noiseFinder) take(all []reading, lo, hi int) {
	if lo < f.from || hi > f.to {
		f.lay(all[lo:min(lo+noiseBlock, len(all))], lo)
	}
	for len(f.starts) > 0 && f.starts[0] <= lo {
		f.starts = f.starts[1:]
	}
	f.all.firsts, f.all.seconds = 0, 0
	for _, next := range f.starts {
		if next >= hi {
			break
		}
		f.all.take(f.first[lo-f.from:next-f.from], f.second[lo-f.from:next-f.from])
		lo = next
	}
	f.all.take(f.first[lo-f.from:hi-f.from], f.second[lo-f.from:hi-f.from])
}

// lay lays out the changes of a block of readings, the first of them numbered from.
func (f *noiseFinder) lay(block []reading, from int) {
	f.from, f.to, f.starts = from, from+len(block), f.starts[:0]
	var before, change Time
	for i := range block {
		width := Time(block[i].width)
		was := change
		change = width - before
		f.first[i], f.second[i] = absDiff(change, 0), absDiff(change, was)
		before = width
		if block[i].note&rowStart != 0 {
			f.starts = append(f.starts, from+i)
		}
	}
}

// packets reports whether a radio packet feeds several frames, as where most
// widths come k times, and keeps how the widths that changed did. No branch depends
// on which did, which nobody can foresee.
func (f *noiseFinder) packets(some []reading) (k int, ok bool) {
	const none = Time(math.MinInt64 / 2) // far from any width
	var runs [noiseFrames + 1]uint8      // by length
	row, same := &f.row, f.same
	last, run, n, news := none, 0, 0, 0
	f.changed.firsts, f.changed.seconds = 0, 0
	for i := range some {
		if some[i].note&rowStart != 0 {
			f.changed.add(row[:n])
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
		runs[run] += uint8(isNew)
		run += 1 - run*isNew
	}
	if news < 10 || (news-int(runs[1]))*10 < news*7 {
		return 0, false // most come once
	}
	if k = usualRun(runs[2:]) + 2; int(runs[k])*10 < news*7 {
		return 0, false
	}
	f.changed.add(row[:n])
	return k, f.changed.typical() > 3*float64(same)
}

// quartile is the lower quartile of the size of a first difference of normal
// noise, in its standard deviations.
const quartile = 0.4506

// usualRun is where most are.
func usualRun(runs []uint8) int {
	best := 0
	for k, n := range runs {
		if n > runs[best] {
			best = k
		}
	}
	return best
}

// changes holds the sizes of the first and second differences of a few widths.
type changes struct {
	first, second   [noiseFrames]Time
	firsts, seconds int
}

// take takes those of a row that are laid out, each with the last width it is of.
func (d *changes) take(first, second []Time) {
	d.firsts += copy(d.first[d.firsts:], first[min(1, len(first)):])
	d.seconds += copy(d.second[d.seconds:], second[min(2, len(second)):])
}

// add takes those of a row of widths.
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
