package scenario

import (
	"math"
	"math/rand/v2"

	"widthwise/decode"
	"widthwise/formats/tomlfile"
)

// Hand is what a person does to a stick beyond what the moves say.
type Hand struct {
	DriftUs  float64           `toml:"drift_us_per_s"` // once it has arrived, either way
	WobbleUs float64           `toml:"wobble_us"`      // amplitude of a slow swing
	Every    tomlfile.Duration `toml:"wobble_every"`   // of that swing; 0: 1.3 s
	WalkUs   float64           `toml:"walk_us"`        // standard deviation from packet to packet of a random walk
	ReturnUs float64           `toml:"return_us"`      // standard deviation of where a move ends
}

// held is a hand on one stick.
type held struct {
	*Hand
	rng     *rand.Rand
	phase   float64
	way     float64 // of the drift: 1 or -1
	walked  float64
	arrived decode.Time
}

func newHeld(h *Hand, rng *rand.Rand) *held {
	if h == nil {
		return nil
	}
	g := &held{Hand: h, rng: rng, phase: 2 * math.Pi * rng.Float64()}
	g.settle(0)
	return g
}

// settle begins to hold a place at an instant.
func (h *held) settle(at decode.Time) {
	h.way, h.walked, h.arrived = float64(1-2*h.rng.IntN(2)), 0, at
}

// takes returns the move that the hand makes of one that it was asked for.
func (h *held) takes(m *Move, from float64) *Move {
	if h == nil {
		return m
	}
	own := *m
	at := decode.Time(m.At)
	if m.SweepUs == 0 {
		own.WidthUs += float64(h.ReturnUs * h.rng.NormFloat64())
		if m.Rate > 0 {
			at += decode.Time(math.Abs(own.WidthUs-from) / m.Rate * 1e12)
		}
	}
	h.settle(at)
	return &own
}

// strayed is how far the hand has let the stick go from its place at t.
func (h *held) strayed(t decode.Time) float64 {
	if h == nil {
		return 0
	}
	return h.walked + float64(h.way*h.DriftUs*float64(max(t-h.arrived, 0))/1e12)
}

// off is how far the stick is from where it should be at t, one packet later
// than when it was last asked.
func (h *held) off(t decode.Time) float64 {
	if h == nil {
		return 0
	}
	every := float64(h.Every)
	if every == 0 {
		every = 1.3e12
	}
	h.walked += float64(h.WalkUs * h.rng.NormFloat64())
	return h.strayed(t) + float64(h.WobbleUs*math.Sin(2*math.Pi*float64(t)/every+h.phase))
}

func (h *Hand) wrong(path string) *problem {
	switch {
	case h == nil:
		return nil
	case !within(math.Abs(h.DriftUs), 0, 1e4) || !within(h.WobbleUs, 0, 1e4) || !within(h.WalkUs, 0, 1e3) || !within(h.ReturnUs, 0, 1e3):
		return &problem{path + ".hand", "has a figure that no hand has", `write hand = { drift_us_per_s = 6, wobble_us = 4, return_us = 8 }`}
	case h.Every != 0 && decode.Time(h.Every) < 10*decode.Millisecond:
		return &problem{path + ".hand.wobble_every", "is under 10 ms", ""}
	}
	return nil
}
