package scenario

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
	"widthwise/formats/internal/sourcetest"
	"widthwise/formats/tomlfile"
)

// one returns the pulses of channel "a", a servo unless keys say more.
func one(t testing.TB, frames, keys string) []decode.Pulse {
	s := mustParse(t, "scenario = \"one\"\nlength = \"20s\"\n[frames]\n"+frames+"\n[[channel]]\nname = \"a\"\n"+keys)
	return pulsesOf(mustEdges(t, s)["a"], decode.High)
}

func intervals(pulses []decode.Pulse) (all []float64) {
	for i := 1; i < len(pulses); i++ {
		all = append(all, float64(pulses[i].Start-pulses[i-1].Start)/1e6)
	}
	return all
}

func widthsOf(pulses []decode.Pulse) (all []float64) {
	for _, p := range pulses {
		all = append(all, float64(p.Width)/1e6)
	}
	return all
}

const servo1500 = "kind = \"servo\"\nwidth_us = 1500\n"

func TestFramePeriods(t *testing.T) {
	p := one(t, `period = "22ms"`, servo1500)
	assert.Equal(t, 11*decode.Millisecond, p[0].Start, "half a period after the start")
	assert.Len(t, p, 909)
	for _, x := range intervals(p) {
		require.Equal(t, 22000.0, x)
	}
	for i, x := range intervals(one(t, `periods = ["18ms", "19ms"]`, servo1500)) {
		require.Equal(t, []float64{18000, 19000}[i%2], x)
	}
	x := intervals(one(t, "period = \"20ms\"\nchanges = [{ at = \"10s\", period = \"18ms\" }]", servo1500))
	assert.Equal(t, 20000.0, x[498])
	assert.Equal(t, 18000.0, x[501])

	// A thousand periods: the deviation within five of its own, sigma/sqrt(2n).
	x = intervals(one(t, "period = \"20ms\"\njitter_us = 3", servo1500))
	assert.InDelta(t, 3, stat.StdDev(x, nil), 5*3/math.Sqrt(2*float64(len(x))))
	x = intervals(one(t, "period = \"20ms\"\ndrift_ppm = 50", servo1500))
	assert.InDelta(t, 1, x[len(x)-1]-x[0], 0.01, "50 ppm of 20 ms")

	s := mustParse(t, `scenario = "sum of widths"
length = "20s"
frames = { from_widths = ["a", "b"], sync = "6ms" }
channel = [
  { name = "a", kind = "servo", width_us = 1500, jitter_us = 2, moves = [{ at = "2s", width_us = 1900, rate_us_per_s = 100 }] },
  { name = "b", kind = "servo", width_us = 1000, after = "a", offset = "10us" },
]`)
	all := mustEdges(t, s)
	a, b := pulsesOf(all["a"], decode.High), pulsesOf(all["b"], decode.High)
	for i := 1; i < len(a); i++ {
		require.Equal(t, a[i-1].Width+b[i-1].Width+6*decode.Millisecond, a[i].Start-a[i-1].Start)
		require.Equal(t, a[i].Start+a[i].Width+10*decode.Microsecond, b[i].Start)
	}
}

func TestWidths(t *testing.T) {
	const steady = `period = "20ms"`
	at := func(p []decode.Pulse, s float64) float64 {
		return float64(p[int(s*50)].Width) / 1e6
	}
	p := one(t, steady, servo1500+`moves = [
  { at = "2.01s", width_us = 1900, rate_us_per_s = 200 },
  { at = "6.01s", width_us = 1700, rate_us_per_s = 100, shape = "smooth" },
  { at = "10.01s", width_us = 1500 },
  { at = "12.01s", sweep_us = 300, every = "4s", for = "6s" },
]`)
	for _, c := range []struct{ s, want float64 }{
		{0, 1500}, {2, 1500}, {3, 1700}, {4, 1900}, {6, 1900}, {7, 1800}, {8, 1700}, {9.5, 1700},
		{10, 1500}, {12, 1500}, {13, 1800}, {14, 1500}, {15, 1200}, {17, 1800}, {18, 1500}, {19, 1500},
	} {
		assert.InDelta(t, c.want, at(p, c.s), 1e-3, "at %v s", c.s)
	}
	p = one(t, steady, servo1500+`moves = [{ at = "2.01s", width_us = 1900, rate_us_per_s = 100, shape = "expo" }]`)
	assert.Less(t, at(p, 4), 1620.0, "slow at first")
	assert.InDelta(t, 1900, at(p, 6), 1e-3)

	w := widthsOf(one(t, steady, servo1500+"jitter_us = 2"))
	assert.InDelta(t, 2, stat.StdDev(w, nil), 5*2/math.Sqrt(2*1000))
	assert.InDelta(t, 1500, stat.Mean(w, nil), 5*2/math.Sqrt(1000))
	w = widthsOf(one(t, steady, servo1500+"value_jitter_us = 9\nstep_us = 0.5\nrepeat_frames = 4"))
	for i := range w {
		require.Equal(t, w[i-i%4], w[i], "four frames to a packet")
		require.Zero(t, math.Mod(w[i], 0.5), "whole steps")
	}
	assert.NotEqual(t, w[0], w[4])
}

func TestOtherSignals(t *testing.T) {
	s := mustParse(t, `scenario = "others"
length = "10s"
frames = { period = "20ms", first = "1ms" }
[[channel]]
name = "sum"
kind = "pulse-position"
marker_us = 300
slots_us = [1500, 1000, 2000]
moves = [{ at = "5s", slot = 2, width_us = 1200 }]
[[channel]]
name = "sum_low"
kind = "pulse-position"
active = "low"
marker_us = 300
slots_us = [1500]
[[channel]]
name = "drive"
kind = "duty"
frames = { period = "2ms" }
duty_percent = 25
[[channel]]
name = "text"
kind = "serial"
bit_us = 100
text = "tug"
burst_bytes = 3
gap = "20ms"
[[channel]]
name = "servo"
kind = "servo"
width_us = 1500
[[channel]]
name = "open"
kind = "echo"
of = "servo"
[[channel]]
name = "hum"
kind = "noise"
mean_us = 1000
[[channel]]
name = "held"
kind = "silent"
level = "high"
[[channel]]
name = "parts"
kind = "silent"
[[channel.then]]
at = "2s"
kind = "servo"
width_us = 1500
active = "low"
[[channel.then]]
at = "4s"
kind = "duty"
duty_percent = 50
`)
	all := mustEdges(t, s)
	assert.Equal(t, "+1 -1.3 +2.5 -2.8 +3.5 -3.8 +5.5 -5.8", edgesIn(all["sum"], 0.5, 20))
	assert.Equal(t, "+6001 -6001.3 +6002.5 -6002.8 +6003.7 -6004 +6005.7 -6006", edgesIn(all["sum"], 6000, 6020))
	assert.Equal(t, "+0 -1 +1.3 -2.5 +2.8", edgesIn(all["sum_low"], 0, 20))
	assert.Equal(t, "+1001 -1001.5 +1003 -1003.5", edgesIn(all["drive"], 1000, 1004))
	assert.Equal(t, []sourcetest.Change{{At: 0, Level: decode.High}}, all["held"])
	assert.Equal(t, "-0", edgesIn(all["parts"], 0, 2000))
	assert.Equal(t, "+2000 -2001 +2002.5 -2021", edgesIn(all["parts"], 2000, 2022))
	assert.Equal(t, "-4000 +4001 -4011 +4021", edgesIn(all["parts"], 4000, 4030), "it rests low again")

	// 't' is 0x74: start bit, 00101110 from the least bit on, stop bit.
	text := all["text"]
	require.Equal(t, decode.High, text[0].Level, "a line at rest is high")
	first := float64(text[1].At) / 1e9
	want := ""
	for i, bit := range "0001011101" {
		if i == 0 || "0001011101"[i-1] != byte(bit) {
			want += fmt.Sprintf(" %c%.1f", map[rune]byte{'0': '-', '1': '+'}[bit], float64(i)/10)
		}
	}
	got := ""
	for _, c := range text[1:] {
		if ms := float64(c.At)/1e9 - first; ms < 0.99 {
			got += fmt.Sprintf(" %c%.1f", map[decode.Level]byte{decode.Low: '-', decode.High: '+'}[c.Level], ms)
		}
	}
	assert.Equal(t, want, got)

	near, whole := 0, 0
	at := map[decode.Time]bool{}
	for _, c := range all["servo"] {
		at[c.At+echoDelay] = true
	}
	for _, c := range all["open"][1:] {
		if at[c.At] || at[c.At-echoSpike] {
			near++
		}
	}
	for _, p := range pulsesOf(all["open"], decode.High) {
		if p.Width == 1500*decode.Microsecond {
			whole++
		}
	}
	assert.Equal(t, len(all["open"])-1, near, "every edge of an echo lies by one of its source")
	assert.InDelta(t, 300, whole, 55, "six in ten of 500, within five deviations")
	// A mark a millisecond, up to half as long at random: one in 2(1-exp(-1/2))
	// does not run into the next.
	assert.InDelta(t, 20_000*2*(1-math.Exp(-0.5)), len(all["hum"]), 600)
}

// A wire or a fault more leaves everything else as it was, and so do other
// names in another order; another seed does not.
func TestChanceKeepsApart(t *testing.T) {
	text := `scenario = "apart"
length = "5s"
sampling = "exact"
frames = { period = "20ms", jitter_us = 1 }
channel = [{ name = "a", kind = "servo", width_us = 1500, jitter_us = 1 }]
[[fault]]
kind = "dropped-frame"
channels = ["a"]
chance = 0.1
`
	plain := mustEdges(t, mustParse(t, text))["a"]
	rapid.Check(t, func(rt *rapid.T) {
		s := mustParse(t, text)
		if rapid.Bool().Draw(rt, "a wire more") {
			s.Channels = append([]Channel{{Name: "b", Carried: Carried{Kind: "servo", WidthUs: 1500, JitterUs: 2}}}, s.Channels...)
		}
		if rapid.Bool().Draw(rt, "a noisy wire more") {
			s.Channels = append(s.Channels, Channel{Name: "c", Carried: Carried{Kind: "noise", MeanUs: 500}})
		}
		more := Fault{Kind: "glitch", Channels: []string{"a"}, When: When{At: tomlfile.Duration(6 * decode.Second)}, Marks: Marks{WidthUs: 40}}
		if rapid.Bool().Draw(rt, "a fault more") {
			s.Faults = append([]Fault{more, more}, s.Faults...)
		}
		require.Equal(rt, plain, mustEdges(t, s)["a"])
	})
	s := mustParse(t, text)
	s.Seed = 1
	assert.NotEqual(t, plain, mustEdges(t, s)["a"])

	s = mustParse(t, text)
	s.Channels = append(s.Channels, s.Channels[0])
	s.Channels[1].Name = "b"
	s.Faults[0].Channels = nil
	missing := func() (at [2][]decode.Time) {
		truth, err := s.Truth()
		require.NoError(t, err)
		for i, c := range truth.Channels {
			for _, p := range c.Pulses {
				if p.Fate == Missing {
					at[i] = append(at[i], p.Start)
				}
			}
		}
		return at
	}
	assert.NotEqual(t, missing()[0], missing()[1], "each by a chance of its own")
	s.Faults[0].Together = true
	assert.Equal(t, missing()[0], missing()[1])
}

// Samples lie at start + n/rate rounded to a picosecond, and up and down find
// the nearest ones.
func TestSampler(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := exact.Rate{Num: rapid.Int64Range(1, 10e9).Draw(t, "num"), Den: rapid.Int64Range(1, 1000).Draw(t, "den")}
		s := exact.Sampler{Rate: rate, Start: decode.Time(rapid.Int64Range(-1e15, 1e15).Draw(t, "start"))}
		at := s.Start + decode.Time(rapid.Int64Range(0, 1e18).Draw(t, "t"))
		down, up := s.Down(at), s.Up(at)
		require.True(t, down <= at && at <= up)
		n := s.Index(at)
		require.Equal(t, down, s.At(n))
		require.Greater(t, s.At(n+1), at)
		exact := float64(n) * 1e12 * float64(rate.Den) / float64(rate.Num)
		require.InDelta(t, exact, float64(s.At(n)-s.Start), max(0.5, exact*1e-15))
		require.Equal(t, up, s.Up(up))
		unit := s.Unit()
		require.Zero(t, s.At(n)%unit)
	})
}

// A capture of 40 days takes no more memory at its end than at its start, so
// it may be read for as long as one likes. The pace is what it is for.
func BenchmarkScenario(b *testing.B) {
	s := mustParse(b, Example)
	s.Length = tomlfile.Duration(40 * 24 * 3600 * decode.Second)
	for _, sampling := range []string{"exact", "24MHz"} {
		b.Run(sampling, func(b *testing.B) {
			s.Sampling, s.SamplingPhase = sampling, ""
			r, err := s.Open(capture.Options{})
			require.NoError(b, err)
			b.ReportAllocs()
			edges := 0
			for b.Loop() {
				block, err := r.Next()
				require.NoError(b, err)
				for _, run := range block.Runs {
					edges += len(run.At)
				}
			}
			b.ReportMetric(float64(edges)/b.Elapsed().Seconds(), "edges/s")
		})
	}
}
