package analog

import "math"

// bins is the size of the histogram of IEEE Std 181.
const bins = 100

// A swing below this is noise and no signal, in nanovolts: no logic family in
// use has states closer together (common practice, no source).
const leastSwing = 200e6

// A swing up to this is told, 0.9 V and a hundredth for noise, in nanovolts:
// logic in use swings by more (common practice, no source), so that the probe or
// the threshold may be off.
const smallSwing = 909e6

// states finds the state levels: the modes of both halves of a histogram of the
// readings (IEEE Std 181), as means of the readings about the mode. Each
// reading counts as long as it held.
func states(readings []sample, uneven bool) (low, high int64, ok bool) {
	bottom, top, whole := int64(math.MaxInt64), int64(math.MinInt64), int64(0)
	for _, s := range readings {
		if !s.unknown {
			bottom, top = min(bottom, s.value), max(top, s.value)
			whole += s.weight
		}
	}
	if top <= bottom {
		return bottom, bottom, false
	}
	width := float64(top-bottom) / bins
	var count, sum [bins]float64
	for _, s := range readings {
		if !s.unknown {
			b := min(int(float64(s.value-bottom)/width), bins-1)
			count[b] += float64(s.weight)
			sum[b] += float64(s.weight) * float64(s.value-bottom)
		}
	}
	low = bottom + int64(math.Round(mode(count[:bins/2], sum[:bins/2])))
	high = bottom + int64(math.Round(mode(count[bins/2:], sum[bins/2:])))
	swing := high - low
	ok = swing >= leastSwing && float64(swing) >= 0.4*float64(top-bottom)
	// Noise about one level has its two modes side by side. Or it crosses between
	// them at every other sample; rows at changes only may do so too, and then lie
	// in the states for most of the time.
	if uneven {
		return low, high, ok && 4*near(readings, [2]int64{low, high}) >= 3*whole
	}
	return low, high, ok && 4*crossings(readings, low, high) <= whole
}

// near is how long readings lie in either state, to a tenth of their distance.
func near(readings []sample, states [2]int64) (weight int64) {
	for _, s := range readings {
		if !s.unknown && inEither(s.value, states) {
			weight += s.weight
		}
	}
	return weight
}

func inEither(value int64, states [2]int64) bool {
	low, high := value-states[0], value-states[1]
	return min(max(low, -low), max(high, -high)) <= (states[1]-states[0])/10
}

// mode returns the mean reading about the fullest place of half a histogram,
// two bins to either side.
func mode(count, sum []float64) float64 {
	best, at := -1.0, 0
	around := func(of []float64, i int) (total float64) {
		for _, v := range of[max(i-2, 0):min(i+3, len(of))] {
			total += v
		}
		return total
	}
	for i := range count {
		if n := around(count, i); n > best || n == best && count[i] > count[at] {
			best, at = n, i
		}
	}
	return around(sum, at) / max(best, 1)
}

// crossings counts the changes of state among readings.
func crossings(readings []sample, low, high int64) (n int64) {
	mid, band := low+(high-low)/2, (high-low)/20
	above, known := false, false
	for _, s := range readings {
		up, down := s.value >= mid+band, s.value <= mid-band
		if s.unknown || !up && !down || known && up == above {
			continue
		}
		above, known = up, true
		n++
	}
	return n
}
