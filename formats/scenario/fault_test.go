package scenario

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
	"widthwise/formats/tomlfile"
)

// faultBase has a pulse of 1.5 ms every 20 ms: at 10, 30, ... 1990, 2010 ms.
// Edges of b lie 5 ms later.
const faultBase = `scenario = "one fault"
length = "4s"
frames = { period = "20ms", first = "10ms" }
channel = [
  { name = "a", kind = "servo", width_us = 1500 },
  { name = "b", kind = "servo", width_us = 1000, offset = "5ms" },
]
[[fault]]
channels = ["a"]
`

// edgesIn spells the edges of a channel in a stretch of milliseconds: the time
// in ms with + to high, - to low, ? to unknown.
func edgesIn(changes []sourcetest.Change, from, to float64) string {
	var words []string
	for _, c := range changes {
		if ms := float64(c.At) / 1e9; ms >= from && ms < to {
			sign := map[decode.Level]string{decode.High: "+", decode.Low: "-", decode.Unknown: "?"}[c.Level]
			words = append(words, strings.TrimRight(strings.TrimRight(fmt.Sprintf("%s%.4f", sign, ms), "0"), "."))
		}
	}
	return strings.Join(words, " ")
}

// Every kind of fault does to the edges what its name says, and is in the truth.
func TestFaultsOnTheWire(t *testing.T) {
	cases := []struct {
		kind, keys string
		from, to   float64 // ms
		want       string
		count      int64
	}{
		{"dropped-frame", `at = "2s"
			count = 2`, 1985, 2060, "+1990 -1991.5 +2050 -2051.5", 2},
		{"dropped-frame", `at = "2s"
			for = "100ms"
			every_frames = 2`, 1985, 2120, "+1990 -1991.5 +2030 -2031.5 +2070 -2071.5 +2110 -2111.5", 3},
		{"late-frame", `at = "2s"
			by = "3ms"`, 1985, 2035, "+1990 -1991.5 +2013 -2014.5 +2030 -2031.5", 1},
		{"signal-loss", `at = "2s"
			for = "60ms"`, 1985, 2080, "+1990 -1991.5 +2070 -2071.5", 3},
		{"signal-loss", `at = "2s"
			for = "30ms"
			then = "preset"
			width_us = 900`, 1985, 2055, "+1990 -1991.5 +2010 -2010.9 +2030 -2031.5 +2050 -2051.5", 1},
		{"width-spike", `at = "2s"
			by_us = 140`, 2005, 2035, "+2010 -2011.64 +2030 -2031.5", 1},
		{"width-out-of-range", `at = "2s"
			width_us = 2300
			count = 2`, 2005, 2055, "+2010 -2012.3 +2030 -2032.3 +2050 -2051.5", 2},
		{"glitch", `at = "2s"
			offset_us = 5000
			width_us = 50
			train = 2
			spacing_us = 100`, 2005, 2035, "+2010 -2011.5 +2015 -2015.05 +2015.1 -2015.15 +2030 -2031.5", 2},
		{"glitch", `at = "2s"
			offset_us = -200
			width_us = 40`, 2005, 2035, "+2009.8 -2009.84 +2010 -2011.5 +2030 -2031.5", 1},
		{"break", `at = "2s"
			offset_us = 600
			width_us = 30`, 2005, 2015, "+2010 -2010.6 +2010.63 -2011.5", 1},
		{"break", `at = "2s"
			offset_us = 600
			width_us = 30
			level = "unknown"`, 2005, 2015, "+2010 ?2010.6 +2010.63 -2011.5", 1},
		{"edge-chatter", `at = "2s"
			edge = "both"
			width_us = 0.5
			train = 2`, 2005, 2015, "+2010 -2010.0005 +2010.001 -2010.0015 +2010.002 -2011.5 +2011.5005 -2011.501 +2011.5015 -2011.502", 4},
		{"edge-chatter", `at = "2s"
			edge = "trailing"
			width_us = 1`, 2005, 2015, "+2010 -2011.5 +2011.501 -2011.502", 1},
		{"edge-chatter", `at = "2s"
			width_us = 1`, 2005, 2015, "+2010 -2010.001 +2010.002 -2011.5", 1},
		{"extra-pulse", `at = "2s"
			offset_us = 9000
			width_us = 1200`, 2005, 2025, "+2010 -2011.5 +2019 -2020.2", 1},
		{"crosstalk", `at = "2s"
			from = "b"
			edge = "leading"
			width_us = 0.4`, 2005, 2035, "+2010 -2011.5 +2015 -2015.0004 +2030 -2031.5", 1},
		{"stuck-level", `at = "2s"
			for = "31ms"
			level = "high"`, 1985, 2055, "+1990 -1991.5 +2000 -2031.5 +2050 -2051.5", 1},
		{"unknown-level", `at = "2s"
			for = "15ms"`, 1985, 2035, "+1990 -1991.5 ?2000 -2015 +2030 -2031.5", 1},
		{"inverted", `at = "2s"
			for = "20ms"`, 1985, 2035, "+1990 -1991.5 +2000 -2010 +2011.5 -2020 +2030 -2031.5", 1},
		{"phase-restart", `at = "2s"
			by = "7ms"`, 1985, 2040, "+1990 -1991.5 +2017 -2018.5 +2037 -2038.5", 1},
		{"supply-dip", `at = "2011ms"
			for = "60ms"
			restart = "100ms"`, 1985, 2195, "+1990 -1991.5 +2010 -2011 +2171 -2172.5 +2191 -2192.5", 1},
		{"late-start", `for = "40ms"`, 0, 75, "-0 +50 -51.5 +70 -71.5", 2},
		{"repeated-width", `at = "2s"
			count = 3`, 2005, 2015, "+2010 -2011.5", 3},
		{"frozen-width", `at = "2s"
			for = "60ms"`, 2005, 2015, "+2010 -2011.5", 3},
	}
	tried := map[string]bool{"jitter-burst": true, "loose-wire": true, "boot-noise": true, "serial-text": true, "uneven-time": true}
	for _, c := range cases {
		tried[c.kind] = true
		s := mustParse(t, faultBase+"kind = \""+c.kind+"\"\n"+c.keys)
		assert.Equal(t, c.want, edgesIn(mustEdges(t, s)["a"], c.from, c.to), "%s %s", c.kind, c.keys)
		truth, err := s.Truth()
		require.NoError(t, err)
		require.Len(t, truth.Channels[0].Faults, 1, c.kind)
		f := truth.Channels[0].Faults[0]
		assert.Equal(t, c.kind, f.Kind)
		assert.Equal(t, c.count, f.Count, "%s %s", c.kind, c.keys)
		assert.Empty(t, truth.Channels[1].Faults)
	}
	for kind := range faultKeys {
		assert.True(t, tried[kind], "%s is not tried", kind)
	}
}

// Faults by chance keep their frequency, and what has no fixed edges keeps to
// its stretch.
func TestFaultsByChance(t *testing.T) {
	truthOf := func(text string) (ChannelTruth, []sourcetest.Change) {
		s := mustParse(t, strings.Replace(faultBase, `length = "4s"`, `length = "200s"`, 1)+text)
		truth, err := s.Truth()
		require.NoError(t, err)
		return truth.Channels[0], mustEdges(t, s)["a"]
	}
	count := func(c ChannelTruth, fate Fate) (n int) {
		for _, p := range c.Pulses {
			if p.Fate == fate {
				n++
			}
		}
		return n
	}
	// 10 000 frames: five standard deviations of a binomial count.
	c, _ := truthOf("kind = \"dropped-frame\"\nchance = 0.05")
	assert.InDelta(t, 500, count(c, Missing), 109)
	c, _ = truthOf("kind = \"dropped-frame\"\nat = \"100s\"\nchance = 0.05")
	assert.InDelta(t, 250, count(c, Missing), 78)
	c, _ = truthOf("kind = \"dropped-frame\"\nat = \"2s\"\ncount = 2\nrepeat = \"5s\"\ntimes = 4")
	assert.Equal(t, 8, count(c, Missing))
	require.Len(t, c.Faults, 4)
	assert.Equal(t, 17010*decode.Millisecond, c.Faults[3].Start)

	c, edges := truthOf("kind = \"loose-wire\"\nat = \"50s\"\nfor = \"20s\"\nclosed = \"80ms\"\nopen = \"20ms\"")
	assert.InDelta(t, 200, len(c.Faults), 75)
	var open decode.Time
	for _, f := range c.Faults {
		open += f.End - f.Start
		assert.True(t, f.Start >= 50*decode.Second && f.End <= 70*decode.Second)
	}
	assert.InDelta(t, 4, float64(open)/1e12, 1.5)
	assert.Greater(t, count(c, Missing), 100)
	assert.Greater(t, count(c, Altered), 5)
	assert.Len(t, pulsesOf(edges, decode.High), 10_000-count(c, Missing)+tornIn(c, edges))

	c, edges = truthOf("kind = \"boot-noise\"\nfor = \"1s\"\nmean_us = 5000\nwidth_us = 80")
	noise := pulsesOf(edges[:slicesUpTo(edges, decode.Second)], decode.High)
	assert.InDelta(t, 200, len(noise), 75)
	assert.Equal(t, []InjectedFault{{"boot-noise", 0, decode.Second, 1, 1e6}}, c.Faults)
	for _, p := range noise {
		assert.Less(t, p.Width, 250*decode.Microsecond)
	}

	c, edges = truthOf("kind = \"serial-text\"\nfor = \"1s\"\nbit_us = 100\ntext = \"U\"")
	// U is 01010101 from the least bit on: nine bits of 100 us, each an edge.
	assert.Equal(t, []InjectedFault{{"serial-text", 0, decode.Second, 1, 100}}, c.Faults)
	first := edges[:11]
	for i := 2; i < len(first)-1; i++ {
		assert.Equal(t, 100*decode.Microsecond, first[i+1].At-first[i].At)
	}
	assert.Equal(t, decode.High, first[0].Level, "the line rests high")

	c, _ = truthOf("kind = \"jitter-burst\"\nat = \"100s\"\nfor = \"50s\"\nsigma_us = 12")
	var sum, n float64
	for _, p := range c.Pulses {
		switch off := float64(p.Width-1500*decode.Microsecond) / 1e6; {
		case p.Start >= 100*decode.Second && p.Start < 150*decode.Second:
			sum, n = sum+off*off, n+1
		default:
			require.Zero(t, off)
		}
	}
	assert.InDelta(t, 144, sum/n, 144*0.15, "a variance from 2500 widths, within five of its standard deviations")
}

// tornIn is how many more pulses are seen than were sent because some came in
// pieces.
func tornIn(c ChannelTruth, edges []sourcetest.Change) int {
	pieces := 0
	seen := pulsesOf(edges, decode.High)
	for _, p := range c.Pulses {
		n := 0
		for len(seen) > 0 && seen[0].Start < p.Start+p.Width {
			if seen[0].Start >= p.Start {
				n++
			}
			seen = seen[1:]
		}
		if p.Fate != Missing {
			pieces += n - 1
		}
	}
	return pieces
}

// slicesUpTo is the number of changes before t.
func slicesUpTo(changes []sourcetest.Change, t decode.Time) int {
	n := 0
	for n < len(changes) && changes[n].At < t {
		n++
	}
	return n
}

// Samples left out are told, and edges in the hole come after it.
func TestUnevenTime(t *testing.T) {
	s := mustParse(t, `scenario = "hole"
length = "1s"
sampling = "1MHz"
sampling_phase = "0ns"
frames = { period = "20ms", first = "10ms" }
channel = [{ name = "a", kind = "servo", width_us = 1500 }]
[[fault]]
kind = "uneven-time"
at = "110ms"
for = "499.5us"
repeat = "200ms"
times = 2
`)
	r, err := s.Open(capture.Options{})
	require.NoError(t, err)
	all, origin := edgesOf(t, r)
	assert.Equal(t, "+90 -91.5 +110 -111.5", edgesIn(all["a"], 85, 125))
	assert.Equal(t, decode.Uneven{Count: 2, Start: 110 * decode.Millisecond, End: 310*decode.Millisecond + 500*decode.Microsecond, Largest: 500 * decode.Microsecond}, origin.Uneven)
	assert.EqualValues(t, 1_000_001-2*499, origin.Rows)
	s.Faults[0].At = tomlfile.Duration(109900 * decode.Microsecond)
	assert.Equal(t, "+90 -91.5 +110.4 -111.5", edgesIn(mustEdges(t, s)["a"], 85, 125))
}
