package places

import (
	"cmp"
	"math"
	"math/cmplx"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/dsp/fourier"
)

// A transmitter that knows its stick in steps of q puts every width on a
// lattice: the phases 2 pi w / q agree, and R(q), the length of their mean, is
// near 1 (the resultant length of directional statistics; a random set exceeds
// sqrt(ln(1/p)/n) with probability p, Rayleigh's test).
const (
	leastStep, mostStep = 0.3, 16.0 // us
	leastMoving         = 200       // frames in motion,
	leastLeft           = 100       // of which this many say something about a step
	mostMoving          = 8192      // that are looked at
	latticeShare        = 0.8       // of what noise and sampling leave of a perfect lattice
	latticeChance       = 2e7       // 1/p of Rayleigh's test, over all steps tried
	besideFrames        = 4         // either way, for the speed at a frame
	candidates          = 24        // maxima looked at closely
)

// moving is a frame on the way: its width and its change per frame, both in
// microseconds.
type moving struct{ width, speed float64 }

// lattice finds the transmitter's step from the frames between the visits; NaN
// where they show none.
func (t *track) lattice(visits []Visit) float64 {
	frames := t.inMotion(visits)
	if len(frames) < leastMoving {
		return math.NaN()
	}
	best, strength := math.NaN(), 0.0
	for _, q := range t.maxima(frames) {
		r, n := resultant(frames, q)
		if n < leastLeft || r < latticeShare*t.leaves(q) || r < chanceAlone(n) {
			continue
		}
		// Of a perfect lattice its fractions are as strong; the largest is meant.
		if r > strength+0.02 || r > strength-0.02 && !(q < best) {
			best, strength = q, r
		}
	}
	return best
}

func chanceAlone(n int) float64 { return math.Sqrt(math.Log(latticeChance) / float64(n)) }

// leaves is what sampling and rest noise alone leave of a perfect lattice.
func (t *track) leaves(q float64) float64 {
	own := max(t.Noise*t.Noise-t.Step*t.Step/6, 0)
	x := math.Pi * t.Step / q
	sampled := 1.0
	if x > 0 {
		sampled = math.Sin(x) / x
	}
	return sampled * sampled * math.Exp(-2*math.Pi*math.Pi*own/(q*q))
}

// inMotion lists the frames between visits whose width changes.
func (t *track) inMotion(visits []Visit) []moving {
	var out []moving
	least := max(2, 3*t.Noise, 2*t.Step)
	row := func(first, last int) {
		for i := first; i < last; i++ {
			lo, hi := max(first, i-besideFrames), min(last-1, i+besideFrames)
			change := t.frames[hi].width - t.frames[lo].width
			if !t.frames[i].aside && hi-lo >= 2 && math.Abs(change) >= least {
				out = append(out, moving{t.frames[i].width, change / float64(hi-lo)})
			}
		}
	}
	between := func(first, last int) {
		for i := first; i < last; i++ {
			if t.frames[i].after {
				row(first, i)
				first = i
			}
		}
		row(first, last)
	}
	end := 0
	for _, v := range visits {
		between(end, v.first)
		end = v.end
	}
	between(end, len(t.frames))
	return thinned(out)
}

// thinned keeps every n-th frame of many.
func thinned(frames []moving) []moving {
	every := (len(frames) + mostMoving - 1) / mostMoving
	if every < 2 {
		return frames
	}
	var out []moving
	for i := 0; i < len(frames); i += every {
		out = append(out, frames[i])
	}
	return out
}

// maxima returns the steps at which R has a local maximum, strongest first: from
// the Fourier transform of the widths' histogram, then closely.
func (t *track) maxima(frames []moving) []float64 {
	const bin, size = 0.05, 1 << 16 // us; 3.3 ms of widths
	counts := make([]float64, size)
	least := frames[0].width
	for _, f := range frames {
		least = min(least, f.width)
	}
	for _, f := range frames {
		if i := int((f.width - least) / bin); i < size {
			counts[i]++
		}
	}
	spectrum := fourier.NewFFT(size).Coefficients(nil, counts)
	from := max(leastStep, 2*t.Step)
	type peak struct{ q, r float64 }
	var peaks []peak
	strength := func(k int) float64 { return cmplx.Abs(spectrum[k]) }
	longest := float64(bin * size)
	for k := int(longest / mostStep); k < len(spectrum)-1 && float64(k) <= longest/from; k++ {
		q := longest / float64(k)
		if k > 1 && q <= mostStep && strength(k) > strength(k-1) && strength(k) >= strength(k+1) {
			peaks = append(peaks, peak{q, strength(k)})
		}
	}
	slices.SortFunc(peaks, func(a, b peak) int { return cmp.Compare(b.r, a.r) })
	var out []float64
	for _, p := range peaks[:min(len(peaks), candidates)] {
		out = append(out, closely(frames, p.q, longest))
	}
	return out
}

// closely finds the maximum within one line of the spectrum of a first guess.
func closely(frames []moving, q, length float64) float64 {
	at, width := 1/q, 1/length
	for range 3 {
		best, strength := at, 0.0
		for i := -5; i <= 5; i++ {
			f := at + width*float64(i)/5
			if r := phases(frames, f); r > strength {
				best, strength = f, r
			}
		}
		at, width = best, width/4
	}
	return 1 / at
}

// phases is R at a frequency in steps per microsecond.
func phases(frames []moving, frequency float64) float64 {
	var c, s float64
	for _, f := range frames {
		sin, cos := math.Sincos(2 * math.Pi * f.width * frequency)
		c, s = c+cos, s+sin
	}
	return math.Hypot(c, s) / float64(len(frames))
}

// resultant is R(q) without the frames that move by a whole number of q from
// one radio packet to the next: at a constant speed they lie on a lattice
// whatever the transmitter does.
func resultant(frames []moving, q float64) (r float64, n int) {
	left := slices.DeleteFunc(slices.Clone(frames), func(f moving) bool { return f.keepsStep(q) })
	if len(left) == 0 {
		return 0, 0
	}
	return phases(left, 1/q), len(left)
}

// keepsStep looks at packets that feed one, two or three frames.
func (f moving) keepsStep(q float64) bool {
	const packets, near = 3, 0.1
	for n := 1.0; n <= packets; n++ {
		steps := n * math.Abs(f.speed) / q
		if whole := math.Round(steps); whole >= 1 && math.Abs(steps-whole) <= near {
			return true
		}
	}
	return false
}
