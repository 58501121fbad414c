package scenario

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// edgesOf reads a source to its end and returns the changes of each channel by
// name, with the span.
func edgesOf(t testing.TB, s decode.Source) (map[string][]sourcetest.Change, decode.Origin) {
	t.Helper()
	all, err := sourcetest.ByName(s)
	require.NoError(t, err)
	return all, s.Origin()
}

// pulsesOf pairs changes to pulses at the active level, those cut by an end
// left out.
func pulsesOf(changes []sourcetest.Change, active decode.Level) []decode.Pulse {
	var all []decode.Pulse
	for i := 1; i+1 < len(changes); i++ {
		if changes[i].Level == active && changes[i-1].Level == active.Other() && changes[i+1].Level == active.Other() {
			all = append(all, decode.Pulse{Start: changes[i].At, Width: changes[i+1].At - changes[i].At})
		}
	}
	return all
}

func mustParse(t testing.TB, text string) *Scenario {
	t.Helper()
	s, err := Parse("test.toml", []byte(text))
	require.NoError(t, err)
	return s
}

func mustEdges(t testing.TB, s *Scenario) map[string][]sourcetest.Change {
	t.Helper()
	r, err := s.Open(capture.Options{})
	require.NoError(t, err)
	all, _ := edgesOf(t, r)
	require.NoError(t, r.Close())
	return all
}

func TestExampleWorks(t *testing.T) {
	s := mustParse(t, Example)
	assert.True(t, Looks([]byte(Example)))
	all := mustEdges(t, s)
	require.Len(t, all, 9)
	for name, changes := range all {
		if name != "spare" && name != "switch" {
			assert.Greater(t, len(changes), 1000, name)
		}
	}
	assert.Equal(t, []sourcetest.Change{{At: 0, Level: decode.Low}}, all["spare"])
}

// Without faults of the wire, an exact capture holds the pulses of its truth
// to the picosecond, and a sampled one each edge at the sample after it.
func TestTruthIsWhatIsOnTheWire(t *testing.T) {
	text := `scenario = "plain"
length = "20s"
start = "-1.5s"
sampling = "exact"
frames = { period = "22ms", jitter_us = 3, drift_ppm = 40 }
channel = [
  { name = "a", kind = "servo", width_us = 1500, jitter_us = 2, moves = [{ at = "3s", width_us = 1900, rate_us_per_s = 300 }] },
  { name = "b", kind = "servo", width_us = 1520, after = "a", active = "low", value_jitter_us = 5, step_us = 0.5, repeat_frames = 3 },
]
[[fault]]
kind = "dropped-frame"
chance = 0.1
[[fault]]
kind = "late-frame"
at = "5s"
by = "2ms"
[[fault]]
kind = "width-spike"
at = "7s"
by_us = 140
`
	exact := mustParse(t, text)
	sampled := mustParse(t, text)
	sampled.Sampling = "24MHz"
	step := 1e12 / 24e6
	for _, s := range []*Scenario{exact, sampled} {
		truth, err := s.Truth()
		require.NoError(t, err)
		all := mustEdges(t, s)
		for i, active := range []decode.Level{decode.High, decode.Low} {
			c := truth.Channels[i]
			seen := pulsesOf(all[c.Name], active)
			var sent []decode.Pulse
			missing := 0
			for _, p := range c.Pulses {
				switch p.Fate {
				case Sent:
					sent = append(sent, decode.Pulse{Start: p.Start, Width: p.Width})
				case Missing:
					missing++
				}
			}
			require.Len(t, seen, len(sent))
			assert.InDelta(t, 91, missing, 40, "one in ten of 909 frames")
			for k := range sent {
				if s == exact {
					require.Equal(t, sent[k], seen[k])
					continue
				}
				late := float64(seen[k].Start - sent[k].Start)
				require.True(t, late >= 0 && late <= step+1, "pulse %d is seen %v ps late", k, late)
				require.InDelta(t, float64(sent[k].Width), float64(seen[k].Width), step+1)
			}
		}
	}
}
