package formats

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"widthwise/decode"
	"widthwise/formats/internal/sourcetest"
	"widthwise/formats/scenario"
	"widthwise/formats/tomlfile"
)

// writers are the ways a capture can be written.
var writers = map[string]func(io.Writer, decode.Source) error{
	"csv": func(w io.Writer, s decode.Source) error { return WriteCSV(w, s, WriteOptions{}) },
	"vcd": WriteVCD,
}

func reread(t require.TestingT, name string, text []byte) (map[string][]sourcetest.Change, decode.Origin) {
	r, err := NewReader(bytes.NewReader(text), name, Options{})
	require.NoError(t, err, "%.300s", text)
	defer r.Close()
	return edgesOf(t, r)
}

func edgesOf(t require.TestingT, s decode.Source) (map[string][]sourcetest.Change, decode.Origin) {
	all, err := sourcetest.ByName(s)
	require.NoError(t, err)
	return all, s.Origin()
}

func mustParse(t testing.TB, text string) *scenario.Scenario {
	s, err := scenario.Parse("test.toml", []byte(text))
	require.NoError(t, err)
	return s
}

// twoServos has a fault to be described in the lines that follow.
const twoServos = `scenario = "one fault"
length = "4s"
frames = { period = "20ms", first = "10ms" }
channel = [
  { name = "a", kind = "servo", width_us = 1500 },
  { name = "b", kind = "servo", width_us = 1000, offset = "5ms" },
]
[[fault]]
channels = ["a"]
`

// Any capture that is written and read has the edges, start and end it had;
// and writing what was read gives the same text once more.
func TestRoundTripOfScripts(t *testing.T) {
	letters := rapid.StringMatching(`[=+@'ab][ ,";'=a-c]{0,4}[a-f]( \(V\)|\[1\]|\[3\])?`)
	for format, write := range writers {
		t.Run(format, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				names := rapid.SliceOfNDistinct(letters, 1, 5, func(s string) string { return reference(s, map[string]bool{}) }).Draw(t, "names")
				start := decode.Time(rapid.Int64Range(0, 1e13).Draw(t, "start"))
				text, end := drawScript(t, start, len(names))
				want, _ := edgesOf(t, scripted(names, start, end, text))
				var first, second bytes.Buffer
				require.NoError(t, write(&first, scripted(names, start, end, text)))
				got, origin := reread(t, "drawn", first.Bytes())
				for name, changes := range want {
					if format == "vcd" {
						name = reference(name, map[string]bool{})
					}
					require.Equal(t, changes, withoutFirstUnknown(got[name]), "%s in\n%s", name, &first)
				}
				require.Len(t, got, len(want))
				require.Equal(t, start, origin.Start)
				require.Equal(t, end, origin.End, "%s", &first)
				r, err := NewReader(bytes.NewReader(first.Bytes()), "again", Options{})
				require.NoError(t, err)
				require.NoError(t, write(&second, r))
				require.Equal(t, first.String(), second.String())
			})
		})
	}
}

// withoutFirstUnknown leaves out what a channel that has no level yet begins
// with, as edgesOf does for a source that says nothing of it.
func withoutFirstUnknown(changes []sourcetest.Change) []sourcetest.Change {
	if len(changes) > 0 && changes[0].Level == decode.Unknown {
		return changes[1:]
	}
	return changes
}

// drawScript draws changes of n channels, each to another level than before,
// every channel known from the start.
func drawScript(t *rapid.T, at decode.Time, n int) (text string, end decode.Time) {
	var b strings.Builder
	levels := make([]byte, n)
	fmt.Fprint(&b, at)
	for c := range levels {
		levels[c] = '-'
		fmt.Fprintf(&b, " %c-", 'a'+c)
	}
	for range rapid.IntRange(6, 30).Draw(t, "instants") {
		at += decode.Time(rapid.OneOf(rapid.Int64Range(1, 10), rapid.Int64Range(1, 1e10)).Draw(t, "step"))
		b.WriteString(rapid.SampledFrom([]string{"; ", "; ", " | "}).Draw(t, "then"))
		fmt.Fprint(&b, at)
		for c := range levels {
			to := rapid.SampledFrom([]byte("+-+-+-?")).Draw(t, "level")
			if to != levels[c] {
				levels[c] = to
				fmt.Fprintf(&b, " %c%c", 'a'+c, to)
			}
		}
	}
	return b.String(), at + decode.Time(rapid.Int64Range(0, 1e9).Draw(t, "tail"))
}

// The example, which holds every kind of signal, survives every way of writing
// it. As samples it does at the rate it was sampled at.
func TestRoundTripOfScenarios(t *testing.T) {
	s := mustParse(t, scenario.Example)
	s.Length = tomlfile.Duration(6 * decode.Second)
	for _, sampling := range []string{"exact", "24MHz", "1MHz"} {
		s.Sampling, s.SamplingPhase, s.Start = sampling, "", 0
		r, err := s.Open(Options{})
		require.NoError(t, err)
		want, span := edgesOf(t, r)
		for format, write := range writers {
			r, err := s.Open(Options{})
			require.NoError(t, err)
			var text bytes.Buffer
			require.NoError(t, write(&text, r))
			got, origin := reread(t, "tug", text.Bytes())
			assert.Equal(t, want, got, "%s %s", sampling, format)
			assert.Equal(t, []decode.Time{span.Start, span.End}, []decode.Time{origin.Start, origin.End})
		}
	}
	s.Start, s.Length = tomlfile.Duration(-decode.Second), tomlfile.Duration(decode.Second/2)
	for _, samples := range []Rate{{Num: 1e6, Den: 1}, {Num: 3e6, Den: 1}} {
		s.Sampling = fmt.Sprint(samples.Num, "Hz")
		r, err := s.Open(Options{})
		require.NoError(t, err)
		want, span := edgesOf(t, r)
		r, err = s.Open(Options{})
		require.NoError(t, err)
		var text bytes.Buffer
		require.NoError(t, WriteCSV(&text, r, WriteOptions{Samples: samples}))
		got, origin := reread(t, "tug", text.Bytes())
		assert.Equal(t, want, got, "%v", samples)
		assert.Equal(t, []decode.Time{span.Start, span.End}, []decode.Time{origin.Start, origin.End})
		assert.Equal(t, span.Rows, origin.Rows)
		assert.InDelta(t, span.Step, origin.Step, 1)
	}
}
