package places

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// hands are what people do to a stick: some, all at their worst together.
var hands = map[string]hand{
	"a machine":           {},
	"sampled at 1 us":     {sample: 1},
	"sampled at 10 us":    {sample: 10, noise: 1},
	"jitter of 1 us":      {noise: 1},
	"drifts 4 us/s":       {drift: 4, noise: 0.3},
	"drifts 10 us/s":      {drift: 10, noise: 0.3},
	"wobbles 8 us slowly": {wobble: 8, every: 1.7, noise: 0.3},
	"wobbles 8 us fast":   {wobble: 8, every: 0.3, noise: 0.3},
	"walks at random":     {walk: 0.4, noise: 0.3},
	"steps of 8 us":       {step: 8, drift: 4, noise: 0.3},
	"drifts and wobbles":  {drift: 5, wobble: 4, every: 0.9, noise: 0.5, step: 1},
}

// lesson is the sweep a class makes: each end and neutral, three times, held for
// 1.8 s.
func lesson(low, neutral, high, speed float64) []act {
	var out []act
	out = append(out, act{to: neutral, hold: 1.8})
	for range 3 {
		for _, to := range []float64{high, neutral, low, neutral} {
			out = append(out, act{to: to, speed: speed, hold: 1.8})
		}
	}
	return out
}

func settings(h hand) Settings {
	return Settings{Noise: max(h.noise, h.sample/2), Step: h.sample, Period: framePeriod}
}

// Every hand is told from the places it holds: all visits are found, and nothing
// else is taken for one.
func TestALesson(t *testing.T) {
	const lessons = 3
	t.Logf("%-22s %8s %6s %6s  %s", "hand", "lessons", "visits", "right", "furthest off: low neutral high, us")
	names := maps.Keys(hands)
	slices.Sort(names)
	for _, name := range names {
		h := hands[name]
		n, visits, right, furthest := 0, 0, 0, [3]float64{}
		for _, speed := range []float64{0, 3000, 800, 200} {
			for seed := range uint64(lessons) {
				what := fmt.Sprintf("%s, %.0f us/s, seed %d", name, speed, seed)
				p := find(h.pulses(seed, 1520, lesson(1104, 1520, 1896, speed)...), nil, settings(h))
				require.Empty(t, p.Missing, what)
				n, visits = n+1, visits+13
				for i, place := range []*Place{p.Low, p.Neutral, p.High} {
					right += min(len(place.Visits), []int{3, 7, 3}[i])
					furthest[i] = max(furthest[i], math.Abs(place.Mean-[]float64{1104, 1520, 1896}[i]))
				}
				assert.Len(t, p.Visits, 13, what)
			}
		}
		t.Logf("%-22s %8d %6d %6d  %.1f %.1f %.1f", name, n, visits, right, furthest[0], furthest[1], furthest[2])
		assert.Equal(t, visits, right, name)
		assert.Less(t, furthest[0], 6.0, name)
		assert.Less(t, furthest[1], 4.0, name)
		assert.Less(t, furthest[2], 6.0, name)
	}
}

// What moves steadily was never held, however slowly it goes.
func TestSweepsOfConstantSpeed(t *testing.T) {
	for _, speed := range []float64{25, 60, 100, 250, 600, 2000} {
		for name, h := range map[string]hand{"exact": {}, "jitter": {noise: 1.5}, "sampled": {sample: 4}, "steps": {step: 8}} {
			t.Run(fmt.Sprintf("%s %.0f us/s", name, speed), func(t *testing.T) {
				p := find(h.pulses(1, 1500, act{to: 1900, speed: speed}, act{to: 1100, speed: speed}, act{to: 1900, speed: speed}, act{to: 1100, speed: speed}), nil, settings(h))
				assert.Empty(t, p.Visits)
				require.Len(t, p.Missing, 3)
				assert.Contains(t, p.Missing[0], "low: reached 1")
				assert.Contains(t, p.Missing[1], "never held for 10 frames")
			})
		}
	}
}

func TestOneVisitOnly(t *testing.T) {
	h := hand{noise: 0.5, wobble: 3, every: 1}
	p := find(h.pulses(1, 1500, act{to: 1500, hold: 2}, act{to: 1900, speed: 900, hold: 2}, act{to: 1100, speed: 900, hold: 2}), nil, settings(h))
	require.NotNil(t, p.Low)
	assert.Len(t, p.Low.Visits, 1)
	assert.Greater(t, p.Low.U95, 0.1)
	assert.Less(t, p.Low.U95, 5.0)
	assert.Nil(t, p.Neutral)
	assert.Equal(t, []string{"neutral: no place between the ends was visited twice: a stick without a centre, or never let go"}, p.Missing)
	assert.True(t, math.IsNaN(p.FromAbove))
}

// A spring leaves a stick short of its centre, on the side it came from.
func TestReturnSpread(t *testing.T) {
	h := hand{noise: 0.4}
	var script []act
	for range 4 {
		script = append(script, act{to: 1905, speed: 1500, hold: 1}, act{to: 1532, speed: 1500, hold: 1}, act{to: 1095, speed: 1500, hold: 1}, act{to: 1508, speed: 1500, hold: 1})
	}
	p := find(h.pulses(1, 1500, script...), nil, settings(h))
	require.NotNil(t, p.Neutral)
	assert.Len(t, p.Neutral.Visits, 8, "one neutral, though its two spots are further apart than the band")
	assert.InDelta(t, 1520, p.Neutral.Mean, 0.3)
	assert.InDelta(t, 1508, p.FromBelow, 0.3)
	assert.InDelta(t, 1532, p.FromAbove, 0.3)
}

// An end that was passed but not held is none, and the other stays.
func TestAnEndThatWasNotHeld(t *testing.T) {
	h := hand{}
	p := find(h.pulses(1, 1500, act{to: 1500, hold: 1}, act{to: 1100, speed: 1000, hold: 1}, act{to: 1800, speed: 1000, hold: 1},
		act{to: 1893, speed: 2000, hold: 0.1}, act{to: 1500, speed: 1000, hold: 1}), nil, settings(h))
	require.NotNil(t, p.Low)
	assert.InDelta(t, 1100, p.Low.Mean, 0.5)
	assert.Nil(t, p.High)
	require.NotNil(t, p.Neutral)
	assert.Equal(t, []string{"high: reached 1893 us, never held for 10 frames"}, p.Missing)
}

// Ten frames are a visit, nine are none.
func TestHowLongAVisitIs(t *testing.T) {
	for frames, want := range map[float64]bool{9: false, 10: true} {
		p := find(hand{}.pulses(1, 1500, act{to: 1100, hold: 1}, act{to: 1900, hold: frames * seconds}, act{to: 1100, hold: 1}), nil, settings(hand{}))
		assert.Equal(t, want, p.High != nil, "%v frames", frames)
	}
}

func TestAThrottleWithoutACentre(t *testing.T) {
	h := hand{noise: 0.4, drift: 6}
	p := find(h.pulses(1, 1100, act{to: 1100, hold: 3}, act{to: 1600, speed: 700, hold: 2}, act{to: 1900, speed: 700, hold: 2},
		act{to: 1400, speed: 700, hold: 1.5}, act{to: 1100, speed: 700, hold: 3}), nil, settings(h))
	require.NotNil(t, p.Low)
	require.NotNil(t, p.High)
	assert.Nil(t, p.Neutral)
	assert.Len(t, p.Low.Visits, 2)
}

func TestAStickThatDidNotTravel(t *testing.T) {
	p := find(hand{noise: 1}.pulses(1, 1500, act{to: 1500, hold: 20}), nil, settings(hand{noise: 1}))
	assert.Equal(t, []string{"low and high: the stick did not travel", "neutral: without ends it cannot be told from any other place"}, p.Missing)
	assert.Len(t, p.Visits, 1)
}

// A gap of more than two frames ends a visit; a spike, a pulse that is broken or
// one dropped frame does not.
func TestWhatEndsAVisit(t *testing.T) {
	play := func(change func(i int, p *decode.Pulse) bool) *Places {
		h := hand{noise: 0.5}
		var script []act
		for range 2 {
			script = append(script, act{to: 1100, hold: 2}, act{to: 1900, hold: 2})
		}
		all := h.pulses(1, 1100, script...)
		return find(func(yield func(decode.Pulse) bool) {
			i := 0
			for p := range all {
				if i++; change(i, &p) && !yield(p) {
					return
				}
			}
		}, func(yield func(decode.Event) bool) { yield(decode.Event{Start: 50 * framePeriod}) }, settings(h))
	}
	none := play(func(int, *decode.Pulse) bool { return true })
	assert.Len(t, none.Visits, 4)
	spike := play(func(i int, p *decode.Pulse) bool {
		if i == 50 {
			p.Width += 200 * decode.Microsecond
		}
		return true
	})
	assert.Len(t, spike.Visits, 4, "a spike")
	assert.InDelta(t, none.Low.Mean, spike.Low.Mean, 0.02)
	broken := play(func(i int, p *decode.Pulse) bool {
		if i == 60 {
			p.Width, p.Broken = 700*decode.Microsecond, true
		}
		return true
	})
	assert.Len(t, broken.Visits, 4, "a broken pulse")
	assert.NotNil(t, broken.Low)
	assert.Len(t, play(func(i int, _ *decode.Pulse) bool { return i != 55 }).Visits, 4, "one frame missing")
	assert.Len(t, play(func(i int, _ *decode.Pulse) bool { return i < 55 || i > 57 }).Visits, 5, "three frames missing")
}

// A transmitter's step is found in the way its stick moves, whatever jitters and
// whatever samples, and nothing is found where there is none.
func TestStep(t *testing.T) {
	sweep := func(h hand) *Places {
		var script []act
		for i := range 6 {
			script = append(script, act{to: 1900 - 7*float64(i), speed: 330, ease: true, hold: 0.6}, act{to: 1100 + 5*float64(i), speed: 330, ease: true, hold: 0.6})
		}
		return find(h.pulses(3, 1500, script...), nil, settings(h))
	}
	for _, q := range []float64{0.5, 0.98, 1, 2, 4, 8, 13} {
		for name, h := range map[string]hand{
			"exact": {step: q}, "jitter": {step: q, noise: 0.15 * q}, "sampled": {step: q, sample: q / 2.5}, "sampled finely, jitter": {step: q, sample: 0.04, noise: 0.2},
			"sent twice": {step: q, twice: true},
		} {
			if h.noise > 0.25*q {
				continue // nothing is left of the lattice
			}
			t.Run(fmt.Sprintf("%s %v us", name, q), func(t *testing.T) {
				assert.InEpsilon(t, q, sweep(h).Step, 0.004)
			})
		}
	}
	for name, h := range map[string]hand{"exact": {}, "jitter": {noise: 0.5}, "sampled": {sample: 1}, "sent twice": {twice: true}} {
		assert.True(t, math.IsNaN(sweep(h).Step), "%s: %v", name, sweep(h).Step)
	}
}

// A constant speed puts widths on a lattice too, which is not the transmitter's.
func TestStepOfAConstantSpeed(t *testing.T) {
	for _, speed := range []float64{200, 400, 500, 1000, 1250, 2000} {
		for name, h := range map[string]hand{"exact": {}, "jitter": {noise: 0.3}, "sent twice": {twice: true}, "sampled": {sample: 0.5}} {
			var script []act
			for range 8 {
				script = append(script, act{to: 1900, speed: speed, hold: 0.5}, act{to: 1100, speed: speed, hold: 0.5})
			}
			p := find(h.pulses(1, 1500, script...), nil, settings(h))
			assert.True(t, math.IsNaN(p.Step), "%s at %v us/s: %v", name, speed, p.Step)
		}
	}
}
