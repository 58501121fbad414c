package analog

import (
	"math/bits"

	"widthwise/decode"
)

// A swing below this is noise and no signal, in nanovolts: no logic family in
// use has states closer together (common practice, no source).
const LeastSwing = 200e6

// A channel that never swings is high from here on (common practice, no source).
const FlatHigh = 1e9

// Bins is the size of the histogram of IEEE 181.
const Bins = 100

// Mode returns the mean reading about the fullest place of half a histogram,
// two bins to either side.
func Mode(count, sum []float64) float64 {
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

// Between interpolates: the instant at which the line from (t1, v1) to (t2,
// v2) passes level, rounded half-even (IEEE 181 reference level instant).
func Between(t1, t2 decode.Time, v1, v2, level int64) decode.Time {
	part, whole := uint64(level-v1), uint64(v2-v1)
	if v2 < v1 {
		part, whole = uint64(v1-level), uint64(v1-v2)
	}
	hi, lo := bits.Mul64(uint64(t2-t1), part)
	if hi >= whole {
		return t2
	}
	q, rest := bits.Div64(hi, lo, whole)
	if half := whole - rest; rest > half || rest == half && q&1 == 1 {
		q++
	}
	return t1 + decode.Time(q)
}
