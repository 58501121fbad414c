package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// noise is that of the width about a reading, and where it is loudest nearby: one
// standard deviation in picoseconds.
type noise struct{ here, loudest float32 }

func (n *noise) square() float64 { return float64(n.here) * float64(n.here) }

const (
	noteBits = 8
	unevenAt = 1.5 // an rms over what the median tells that no normal noise has
)

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
		lo, hi := noisePart(len(scales), len(all))
		scales = append(scales, float32(c.noise.of(all, lo, hi)))
		if c.noise.uneven {
			c.noise.kicked = append(c.noise.kicked, len(scales)-1)
		}
	}
	c.noises = make([]noise, len(scales))
	c.noise.scales = scales
	c.noiseNearby()
	c.scale = c.noiseFloor()
	if len(scales) > 0 {
		sorted := slices.Clone(scales)
		slices.Sort(sorted)
		c.scale = float64(sorted[len(sorted)/2])
	}
}

// noisePart is where the readings lie that tell the noise of the k-th row of noiseHop.
func noisePart(k, n int) (lo, hi int) {
	lo = max(0, min(k*noiseHop+noiseHop/2-noiseFrames/2, n-noiseFrames))
	return lo, min(lo+noiseFrames, n)
}

// noiseNearby gives each row of readings the noise of its part and of the two beside.
func (c *channel) noiseNearby() {
	scales := c.noise.scales
	for k := range scales {
		near := scales[max(0, k-1):min(len(scales), k+2)]
		c.noises[k] = noise{slices.Min(near), slices.Max(near)}
	}
}

// hearKicks raises the noise of an output that mostly is quiet and now and then is
// late, which no median shows. Spikes are known by then, and are none of it.
func (c *channel) hearKicks(all []reading) {
	raised := false
	for _, k := range c.noise.kicked {
		lo, hi := noisePart(k, len(all))
		if loud := float32(c.noise.ofKicks(all[lo:hi], float64(c.noise.scales[k]))); loud > c.noise.scales[k] {
			c.noise.scales[k], raised = loud, true
		}
	}
	if raised {
		c.noiseNearby()
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
	same           Time
	step, floor    float64
	median, lowest likely // of the second differences; the quartile of the first ones
	changed        changes
	row, room      [noiseFrames]Time

	// the changes between neighbours of a block of readings, each at the place of the
	// last of these: the parts overlap
	from, to      int
	first, second [noiseBlock]Time
	small         [noiseBlock]int32 // how many of the first ones up to here are no new width
	starts        []int             // of rows, from the first part on that was not yet asked for

	scales []float32 // of the parts
	uneven bool      // whether the last part's rms is far over what its median tells
	kicked []int     // parts that are uneven
}

// noiseBlock is how many readings have their changes laid out together.
const noiseBlock = 1024

// of is the noise of the readings from lo up to hi, noiseFrames at most. Where each
// radio packet feeds several frames only changed widths tell, and frames are worth
// less: k of them say what one would. Where the output jitters besides, the second
// differences of a moving width are the packets' steps, and the smaller of the first
// ones are the noise: their lower quartile is 0.4506 standard deviations. An output
// that knows few widths has small changes as well, and its others go to and fro.
func (f *noiseFinder) of(all []reading, lo, hi int) float64 {
	if lo < f.from || hi > f.to {
		f.lay(all[lo:min(lo+noiseBlock, len(all))], lo)
	}
	for len(f.starts) > 0 && f.starts[0] <= lo {
		f.starts = f.starts[1:]
	}
	second := f.within(f.second[:], 2, lo, hi)
	scale, rms := deviation(f.median.quantile(second, 0.5)), rootMean(second)
	f.uneven = false
	if f.mayRepeat(lo, hi) {
		if k, ok := f.packets(all[lo:hi]); ok {
			return max(f.floor, deviation(quantile(f.changed.second[:f.changed.seconds], 0.5))*math.Sqrt(float64(k)))
		}
	}
	if scale > f.step { // nothing is less
		first := f.within(f.first[:], 1, lo, hi)
		if !toAndFro(all[lo:hi], Time(scale/2)) {
			if least := f.lowest.quantile(first, 0.25) / quartile; least < scale/2 {
				scale = min(scale, max(f.step, least))
			}
		}
	}
	f.uneven = rms > unevenAt*scale*math.Sqrt(6)
	return max(f.floor, scale)
}

// ofKicks is the noise of a part whose larger changes go to and fro; 0 where they are
// those of a move.
func (f *noiseFinder) ofKicks(some []reading, scale float64) float64 {
	if !toAndFro(some, Time(max(3*scale, 2*float64(f.same)))) {
		return 0
	}
	sum, n := 0.0, 0
	for i := 2; i < len(some); i++ {
		if (some[i].note|some[i-1].note|some[i-2].note)&aside == 0 && (some[i].note|some[i-1].note)&rowStart == 0 {
			d := float64(secondDifference(some, i))
			sum += d * d
			n++
		}
	}
	if n < restFrames {
		return 0
	}
	return math.Sqrt(sum / float64(n) / 6)
}

func rootMean(v []Time) float64 {
	sum := 0.0
	for _, x := range v {
		sum += float64(x) * float64(x)
	}
	return math.Sqrt(sum / float64(max(len(v), 1)))
}

// leastTurns of the width tell noise from a lonely spike.
const leastTurns = 3

// toAndFro reports whether two of three changes over a bound go the other way than
// the one before: those of noise do, those of a moving stick do not.
func toAndFro(some []reading, bound Time) bool {
	all, back := 0, 0
	last := Time(0)
	for i := 1; i < len(some); i++ {
		if some[i].note&(rowStart|aside) != 0 || some[i-1].note&aside != 0 {
			last = 0
			continue
		}
		change := Time(some[i].width) - Time(some[i-1].width)
		if max(change, -change) <= bound {
			continue
		}
		if last != 0 {
			all++
			if (change > 0) != (last > 0) {
				back++
			}
		}
		last = change
	}
	return back*3 >= all*2 && all >= leastTurns
}

// lay lays out the changes of a block of readings, the first of them numbered from.
func (f *noiseFinder) lay(block []reading, from int) {
	f.from, f.to, f.starts = from, from+len(block), f.starts[:0]
	first, second, small := f.first[:len(block)], f.second[:len(block)], f.small[:len(block)]
	var before, change Time
	n, most := int32(0), 2*f.same
	for i := range block {
		width := Time(block[i].width)
		was := change
		change = width - before
		before = width
		size := max(change, -change)
		first[i], second[i] = size, max(change-was, was-change)
		one := int32(0)
		if size <= most {
			one = 1
		}
		n += one
		small[i] = n
		if block[i].note&rowStart != 0 {
			f.starts = append(f.starts, from+i)
		}
	}
}

// within gathers the changes of readings from lo up to hi: those of each row but for
// the first few, which reach out of it.
func (f *noiseFinder) within(changes []Time, few, lo, hi int) []Time {
	n := 0
	take := func(hi int) {
		if lo+few < hi {
			n += copy(f.room[n:], changes[lo+few-f.from:hi-f.from])
		}
	}
	for _, next := range f.starts {
		if next >= hi {
			break
		}
		take(next)
		lo = next
	}
	take(hi)
	return f.room[:n]
}

// likely is a quantile of one part of readings after the other. They overlap, and a
// coarse capture knows few widths, so that it often is that of the part before.
type likely struct{ last Time }

func (l *likely) quantile(v []Time, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	h := p * float64(len(v)-1)
	less, more := 0, 0
	for _, x := range v {
		if x < l.last {
			less++
		}
		if x > l.last {
			more++
		}
	}
	if less <= int(h) && len(v)-1-more >= int(math.Ceil(h)) {
		return float64(l.last)
	}
	q := quantile(v, p)
	l.last = Time(q)
	return q
}

// deviation is the standard deviation of normal noise of whose second differences
// the median is given, 0 where there are none.
func deviation(median float64) float64 {
	if math.IsNaN(median) {
		return 0
	}
	return ofMedian * median / math.Sqrt(6)
}

// mayRepeat rules out for nearly all parts that packets finds any: a width that comes
// again does so after a small change, and some that are new come after a large one.
// Where N of n readings are of a new width, seven of ten of these come again, but for
// the last: n - N are at least N 7/10 - 1, and so (7 n - 10) / 17.
func (f *noiseFinder) mayRepeat(lo, hi int) bool {
	n, small := hi-lo, int(f.small[hi-1-f.from]-f.small[lo-f.from])
	return small < n-1 && small*17 >= 7*n-10
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
	return k, quantile(f.changed.first[:f.changed.firsts], 0.5) > 3*float64(same)
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
