package decode

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
)

func holdsOf(a *Analysis) (all []Hold) {
	for h := range a.Holds() {
		all = append(all, h)
	}
	return all
}

// sticks decodes a receiver with one output after another, whose widths at frame
// i are given in us, as a recorder at 24 MHz sees them.
func sticks(t *testing.T, n int, widths ...func(i int) float64) (*Analysis, *Judgement) {
	c := &tape{end: Time(n) * 20 * Millisecond}
	starts := make([][]Time, len(widths))
	lengths := make([][]Time, len(widths))
	for i := range n {
		at := Time(i)*20*Millisecond + 3*Millisecond
		for k, width := range widths {
			w := Time(math.Round(width(i) * 1e6))
			starts[k], lengths[k] = append(starts[k], at), append(lengths[k], w)
			at += w + 8*Microsecond
		}
	}
	for k := range widths {
		c.names = append(c.names, []string{"throttle", "rudder", "winch", "horn"}[k])
		c.tracks = append(c.tracks, pulsesOf(starts[k], lengths[k]))
	}
	return decoded(t, c.sampled(24))
}

// busyStick is a stick that is never still.
func busyStick(seed uint64) func(i int) float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	a, b := rng.Float64()*6, rng.Float64()*6
	return func(i int) float64 {
		return 1500 + 200*math.Sin(float64(i)/37+a) + 90*math.Sin(float64(i)/16+b)
	}
}

// repeated repeats the width of the frame before from one frame to another.
func repeated(width func(i int) float64, from, to int) func(i int) float64 {
	return func(i int) float64 {
		if i >= from && i < to {
			return width(from - 1)
		}
		return width(i)
	}
}

// noisy adds noise that is new in every frame.
func noisy(width func(i int) float64, sigma float64, seed uint64) func(i int) float64 {
	return func(i int) float64 {
		return width(i) + sigma*rand.New(rand.NewPCG(seed, uint64(i))).NormFloat64()
	}
}

// stepped is a receiver that knows multiples of q only.
func stepped(width func(i int) float64, q float64) func(i int) float64 {
	return func(i int) float64 { return math.Round(width(i)/q) * q }
}

// While the link is lost a receiver repeats its last widths: three moving
// channels stop and jump together, whatever they did and for however long.
func TestLinkLostReceiverHolds(t *testing.T) {
	seen, of := 0, 0
	for _, frames := range []int{4, 7, 12, 50, 200, 3000} {
		seeds := uint64(12)
		if frames == 3000 {
			seeds = 2
		}
		for seed := range seeds {
			for name, how := range map[string]func(width func(i int) float64, k uint64) func(i int) float64{
				"smooth": func(w func(i int) float64, k uint64) func(i int) float64 { return repeated(w, 300, 300+frames) },
				"noisy": func(w func(i int) float64, k uint64) func(i int) float64 {
					return repeated(noisy(w, 0.4, seed*10+k), 300, 300+frames)
				},
				"stepped": func(w func(i int) float64, k uint64) func(i int) float64 {
					return stepped(repeated(w, 300, 300+frames), 2)
				},
			} {
				a, j := sticks(t, 600+frames, how(busyStick(seed*3+1), 1), how(busyStick(seed*3+2), 2), how(busyStick(seed*3+3), 3))
				holds := holdsOf(a)
				where := fmt.Sprintf("%s, %d frames, seed %d", name, frames, seed)
				if frames < 20 {
					if of++; len(holds) == 0 {
						continue // too short to show where sticks turn
					}
					seen++
				}
				require.Len(t, holds, 1, where)
				// where the sticks turn they seem to stop some frames before
				assert.InDelta(t, 6, float64(holds[0].Start)/float64(Second), 0.1, where)
				assert.InDelta(t, 6+float64(frames)*0.02, float64(holds[0].End)/float64(Second), 0.05, where)
				assert.False(t, holds[0].Preset, where)
				f := findingsOf(j, SharedHold)
				require.Len(t, f, 1, where)
				assert.Equal(t, Warn, f[0].Severity)
			}
		}
	}
	assert.GreaterOrEqual(t, seen*10, of*5, "%d of %d short ones", seen, of)
}

// A preset is a jump to widths that are kept to the step, then a jump back.
func TestLinkLostReceiverPresets(t *testing.T) {
	for seed := range uint64(6) {
		preset := func(k uint64, to float64) func(i int) float64 {
			w := noisy(busyStick(seed*3+k), 0.3, k)
			return func(i int) float64 {
				if i >= 300 && i < 400 {
					return to
				}
				return w(i)
			}
		}
		a, _ := sticks(t, 700, preset(1, 1000), preset(2, 1500), preset(3, 1200))
		holds := holdsOf(a)
		require.Len(t, holds, 1, "seed %d", seed)
		assert.True(t, holds[0].Preset, "seed %d", seed)
		assert.InDelta(t, 6, float64(holds[0].Start)/float64(Second), 0.05)
		assert.InDelta(t, 8, float64(holds[0].End)/float64(Second), 0.05)
	}
}

// A channel at rest takes part if jitter that is resolved stops with it.
func TestRestTakesPartInAHold(t *testing.T) {
	still := func(int) float64 { return 1500 }
	a, _ := sticks(t, 900, repeated(busyStick(1), 300, 500), repeated(busyStick(2), 300, 500),
		repeated(noisy(still, 1, 5), 300, 500), still)
	holds := holdsOf(a)
	require.Len(t, holds, 1)
	assert.ElementsMatch(t, []string{"throttle", "rudder", "winch"}, holds[0].Channels, "the horn never jittered")
}

// Sticks that stop, turn, rest or step together because they are mixed or because
// nobody moves them are no lost link.
func TestNoHoldOnHealthyReceivers(t *testing.T) {
	sweep := func(i int) float64 { return 1500 + 400*math.Sin(float64(i)/300) } // a class-room sweep, 1.3 us a frame
	snap := func(i int) float64 {                                               // to and fro with rests, as of a lever let go
		k := i % 200
		switch {
		case k < 100:
			return 1500
		case k < 105:
			return 1500 + 90*float64(k-100)
		case k < 190:
			return 1950
		}
		return 1950 - 45*float64(k-190)
	}
	mixed := func(w func(i int) float64) func(i int) float64 {
		return func(i int) float64 { return 3000 - w(i) }
	}
	flip := func(i int) float64 { return []float64{1000, 2000}[i/150%2] }
	for name, w := range map[string]func(i int) float64{"sweep": sweep, "snap": snap, "flip": flip, "stick": busyStick(7)} {
		for _, q := range []float64{0.001, 1, 4, 8} {
			a, j := sticks(t, 1500, stepped(w, q), stepped(mixed(w), q), stepped(busyStick(9), q))
			assert.Empty(t, holdsOf(a), "%s in steps of %g us", name, q)
			assert.Empty(t, findingsOf(j, RepeatedWidth), "%s in steps of %g us", name, q)
			assert.Empty(t, findingsOf(j, FrozenWidth), "%s in steps of %g us", name, q)
		}
	}
	three := func(w func(i int) float64) func(i int) float64 { return func(i int) float64 { return w(i / 3 * 3) } }
	a, j := sticks(t, 1500, three(busyStick(4)), three(busyStick(5)))
	assert.Empty(t, holdsOf(a), "a packet for three frames")
	assert.Empty(t, findingsOf(j, RepeatedWidth), "a packet for three frames")
}

func findingsOf(j *Judgement, k Kind) []Finding {
	return slices.DeleteFunc(slices.Clone(j.Findings), func(f Finding) bool { return f.Kind != k })
}

// One stick may drive two outputs and stop them both. Where a stick that goes its own
// way stops and starts in the same frames, no hand did it.
func TestHoldOfTwoOutputsOfOneStickAndAnother(t *testing.T) {
	slow := func(i int) float64 { return 1300 + float64(i) }
	other := func(i int) float64 { // goes on by little after the hold, and turns
		if i < 200 {
			return 1300 + 3*float64(i-100)
		}
		return 1597 + 0.375*float64(240-i)
	}
	still := func(int) float64 { return 1500 }
	hold := func(w func(i int) float64) func(i int) float64 { return repeated(w, 200, 220) }
	mirror := func(i int) float64 { return 2800 - slow(i) }
	a, _ := sticks(t, 400, hold(slow), hold(mirror), still)
	assert.Empty(t, holdsOf(a), "one stick stops")
	a, _ = sticks(t, 400, hold(slow), hold(mirror), hold(other))
	holds := holdsOf(a)
	require.Len(t, holds, 1, "two sticks stop")
	assert.Equal(t, []string{"throttle", "rudder", "winch"}, holds[0].Channels)
	assert.InDelta(t, 4000, float64(holds[0].Start/Millisecond), 30)
	assert.InDelta(t, 4400, float64(holds[0].End/Millisecond), 30)
}

// Amid noise of an output some widths are alike by chance, on two channels now and
// then in the same frames: a jump that noise may make is none of a link's.
func TestNoiseMakesNoHold(t *testing.T) {
	noisy := func(seed uint64, jump float64) func(i int) float64 {
		rng := rand.New(rand.NewPCG(seed, 7))
		widths := make([]float64, 400)
		for i := range widths {
			widths[i] = 1500 + 0.1*float64(i) + 0.5*rng.NormFloat64()
		}
		for i := 200; i < 206; i++ {
			widths[i] = widths[199] + jump
		}
		widths[206] = widths[199]
		return func(i int) float64 { return widths[i] }
	}
	a, _ := sticks(t, 400, noisy(1, 2.2), noisy(2, 2.95))
	assert.Empty(t, holdsOf(a))
	a, _ = sticks(t, 400, noisy(1, 30), noisy(2, 50))
	assert.Len(t, holdsOf(a), 1)
}

// On a lost link one output may take its preset after a second while others go on
// holding: it does not speak against the hold.
func TestHoldWhileOneOutputTakesItsPreset(t *testing.T) {
	preset := func(w func(i int) float64) func(i int) float64 {
		return func(i int) float64 {
			if i >= 250 && i < 400 {
				return 1000
			}
			return repeated(w, 200, 400)(i)
		}
	}
	a, _ := sticks(t, 800, preset(busyStick(1)), repeated(busyStick(2), 200, 400), repeated(busyStick(3), 200, 400))
	holds := holdsOf(a)
	require.Len(t, holds, 1)
	assert.Equal(t, []string{"rudder", "winch"}, holds[0].Channels)
	assert.InDelta(t, 4000, float64(holds[0].Start/Millisecond), 30)
	assert.InDelta(t, 8000, float64(holds[0].End/Millisecond), 30)
}
