package places

import (
	"iter"
	"math"
	"math/rand/v2"

	"widthwise/decode"
)

// hand moves a stick in a test: it holds a width for a time with all that
// hands do, or moves to another at a speed.
type hand struct {
	drift  float64 // us a second while it holds
	wobble float64 // us, amplitude of a slow swing
	every  float64 // seconds of that swing
	walk   float64 // us, standard deviation from frame to frame of a random walk
	noise  float64 // us, standard deviation of each pulse
	step   float64 // us, of the transmitter; 0: none
	sample float64 // us, of the recorder; 0: exact
	twice  bool    // each value is sent twice
}

// act is one thing a stick does.
type act struct {
	to    float64 // us
	speed float64 // us a second; 0: at once
	ease  bool    // slow at both ends
	hold  float64 // seconds
}

const (
	framePeriod = 20 * decode.Millisecond
	seconds     = 0.02 // of a frame
)

// pulses plays a script from a width on.
func (h hand) pulses(seed uint64, from float64, script ...act) iter.Seq[decode.Pulse] {
	rng := rand.New(rand.NewPCG(seed, 1))
	var widths []float64
	at := from
	for _, a := range script {
		if a.speed > 0 {
			n := math.Ceil(math.Abs(a.to-at) / a.speed / seconds)
			for i := 1.0; i < n; i++ {
				u := i / n
				if a.ease {
					u = u * u * (3 - 2*u)
				}
				widths = append(widths, at+(a.to-at)*u)
			}
		}
		at = a.to
		walk, phase := 0.0, rng.Float64()*2*math.Pi
		way := float64(1 - 2*rng.IntN(2))
		for i := range int(math.Round(a.hold / seconds)) {
			t := float64(i) * seconds
			walk += h.walk * rng.NormFloat64()
			v := at + way*h.drift*(t-a.hold/2) + walk
			if h.wobble > 0 {
				v += h.wobble * math.Sin(2*math.Pi*t/h.every+phase)
			}
			widths = append(widths, v)
		}
	}
	return h.send(rng, widths)
}

// send makes pulses of what the stick says.
func (h hand) send(rng *rand.Rand, widths []float64) iter.Seq[decode.Pulse] {
	var out []decode.Pulse
	for i, w := range widths {
		if h.twice && i%2 == 1 {
			w = widths[i-1]
		}
		if h.step > 0 {
			w = math.Round(w/h.step) * h.step
		}
		w += h.noise * rng.NormFloat64()
		p := decode.Pulse{Start: decode.Time(i+1) * framePeriod, Interval: framePeriod}
		if i == 0 {
			p.Interval = 0
		}
		lead := rng.Float64() * h.sample
		p.Width = decode.Time(math.Round(w * 1e6))
		if h.sample > 0 {
			p.Width = decode.Time(math.Round((math.Ceil((lead+w)/h.sample) - math.Ceil(lead/h.sample)) * h.sample * 1e6))
		}
		out = append(out, p)
	}
	return func(yield func(decode.Pulse) bool) {
		for _, p := range out {
			if !yield(p) {
				return
			}
		}
	}
}
