package decode

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"golang.org/x/exp/slices"
)

// drawnStick is one of: at rest, never still, a slow sweep, a ramp up and down,
// rests with moves between, a switch of three positions.
func drawnStick(rng *rand.Rand) func(i int) float64 {
	length, size := 100+900*rng.Float64(), 100+350*rng.Float64()
	switch rng.IntN(6) {
	case 0:
		return func(int) float64 { return 1500 + size }
	case 1:
		return busyStick(rng.Uint64())
	case 2:
		return func(i int) float64 { return 1500 + size*math.Sin(float64(i)/length*2*math.Pi) }
	case 3:
		return func(i int) float64 { return 1500 + size*(4*math.Abs(math.Mod(float64(i)/length, 1)-0.5)-1) }
	case 4:
		at, place := []float64{0}, []float64{1500}
		for at[len(at)-1] < 1000 {
			rest, move := 40+150*rng.Float64(), 3+60*rng.Float64()*rng.Float64()
			at = append(at, at[len(at)-1]+rest, at[len(at)-1]+rest+move)
			place = append(place, place[len(place)-1], 1100+800*rng.Float64())
		}
		return func(i int) float64 {
			k := slices.IndexFunc(at, func(t float64) bool { return t > float64(i) })
			part := (float64(i) - at[k-1]) / (at[k] - at[k-1])
			return place[k-1] + (place[k]-place[k-1])*(1-math.Cos(math.Pi*part))/2
		}
	}
	return func(i int) float64 { return []float64{1000, 1500, 2000}[i/int(length)%3] }
}

// Healthy receivers drawn at random draw no finding that says that the link was
// lost: they step, feed several frames from a packet, jitter, drive two channels
// from one stick, and are recorded at any rate.
func TestHealthyReceiversDrawn(t *testing.T) {
	for seed := range uint64(120) {
		rng := rand.New(rand.NewPCG(seed, 77))
		pick := func(from ...float64) float64 { return from[rng.IntN(len(from))] }
		step, sigma, output, mhz := pick(0.001, 0.5, 1, 2, 4, 8), pick(0, 0.05, 0.3, 1, 3), pick(0, 0.02, 0.1, 0.5), pick(0.5, 1, 2, 4, 8, 24, 100)
		packet := int(pick(1, 1, 2, 3, 4))
		first := drawnStick(rng)
		ways := []func(i int) float64{first, drawnStick(rng), drawnStick(rng)}
		if rng.IntN(2) == 0 {
			ways[1] = func(i int) float64 { return 3000 - first(i) } // both from one stick
		}
		c := &tape{end: 1000 * 20 * Millisecond}
		starts, widths := make([][]Time, len(ways)), make([][]Time, len(ways))
		for i := range 1000 {
			at := Time(i)*20*Millisecond + 3*Millisecond + Time(rng.IntN(1000))*Nanosecond
			for k, way := range ways {
				noise := rand.New(rand.NewPCG(seed*10+uint64(k), uint64(i/packet))).NormFloat64()
				w := math.Round((way(i/packet*packet)+sigma*noise)/step)*step + output*rng.NormFloat64()
				starts[k], widths[k] = append(starts[k], at), append(widths[k], Time(math.Round(w*1e6)))
				at += widths[k][i] + 8*Microsecond
			}
		}
		for k := range ways {
			c.names = append(c.names, fmt.Sprintf("channel %d", k+1))
			c.tracks = append(c.tracks, pulsesOf(starts[k], widths[k]))
		}
		_, j := decoded(t, c.sampled(mhz))
		for _, f := range j.Findings {
			assert.NotContains(t, []Kind{SharedHold, RepeatedWidth, FrozenWidth, WidthSpike}, f.Kind,
				"seed %d, steps of %g us, packets of %d, %g and %g us at %g MHz: %v %s", seed, step, packet, sigma, output, mhz, f.Channels, f.Message)
		}
	}
}
