package formats

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"widthwise/decode"
	"widthwise/formats/internal/table"
	"widthwise/formats/scenario"
)

// script is a source made of a list of changes: "100 a+ b-" is one instant in
// picoseconds, "|" ends a block.
type script struct {
	channels []decode.Channel
	blocks   []decode.Block
	origin   decode.Origin
}

func (s *script) Channels() []decode.Channel { return s.channels }
func (s *script) Want(int, decode.Need)      {}
func (s *script) Origin() decode.Origin      { return s.origin }
func (s *script) Close() error               { return nil }
func (s *script) Next() (*decode.Block, error) {
	if len(s.blocks) == 0 {
		return nil, io.EOF
	}
	b := s.blocks[0]
	b.Facts = decode.Facts{Start: s.origin.Start, Unit: s.origin.Unit}
	s.blocks = s.blocks[1:]
	return &b, nil
}

// scripted builds a source. Each change is a run of its own, which the writers
// must take as well as a long one.
func scripted(names []string, start, end decode.Time, text string) *script {
	s := &script{origin: decode.Origin{Start: start, End: end, Rows: 1, Unit: decode.Picosecond}}
	for _, n := range names {
		s.channels = append(s.channels, decode.Channel{Name: n})
	}
	for _, block := range strings.Split(text, "|") {
		b := decode.Block{}
		for _, line := range strings.Split(strings.TrimSpace(block), ";") {
			words := strings.Fields(line)
			if len(words) == 0 {
				continue
			}
			var at decode.Time
			fmt.Sscan(words[0], &at)
			b.Until = at
			for _, w := range words[1:] {
				level := map[byte]decode.Level{'+': decode.High, '-': decode.Low, '?': decode.Unknown}[w[1]]
				b.Runs = append(b.Runs, decode.Run{Channel: int(w[0] - 'a'), First: level, At: []decode.Time{at}})
			}
		}
		s.blocks = append(s.blocks, b)
	}
	return s
}

func written(t testing.TB, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, write(&b))
	return b.String()
}

func TestWriteCSVChanges(t *testing.T) {
	s := scripted([]string{"rudder", "winch"}, -1500, 4e12,
		"-1500 a+ b-; 0 a-; 7 a+ b+ | 7 a-; 8 b? | 1000000000000 a- b+; 2000000000001 a+ a-")
	assert.Equal(t, `time_s,rudder,winch
-0.000000001500,1,0
0.000000000000,0,0
0.000000000007,1,1
0.000000000007,0,1
0.000000000008,0,x
1.000000000000,0,1
2.000000000001,1,1
2.000000000001,0,1
4.000000000000,0,1
`, written(t, func(w io.Writer) error { return WriteCSV(w, s, WriteOptions{}) }))

	s = scripted([]string{"a", "b"}, 5e9, 7e9, "5000000000 a+; 6500000000 b-; 7000000000 a-")
	s.origin.Unit = 100 * decode.Microsecond
	assert.Equal(t, "time_s,a,b\n0.0050,1,x\n0.0065,1,0\n0.0070,0,0\n",
		written(t, func(w io.Writer) error { return WriteCSV(w, s, WriteOptions{}) }), "as fine as the source is stamped")

	s = scripted([]string{"a"}, 3e12, 9e12, "")
	assert.Equal(t, "time_s,a\n3.000000000000,x\n9.000000000000,x\n",
		written(t, func(w io.Writer) error { return WriteCSV(w, s, WriteOptions{}) }))
}

func TestWriteCSVSamples(t *testing.T) {
	s := scripted([]string{"a", "b"}, -1e6, 2e6, "-1000000 a- b+; -1 a+; 999999 b? | 1000000 a- b-; 1000001 a+; 1000002 a-")
	assert.Equal(t, `time_s,a,b
-0.0000010,0,1
-0.0000005,0,1
0.0000000,1,1
0.0000005,1,1
0.0000010,0,0
0.0000015,0,0
0.0000020,0,0
`, written(t, func(w io.Writer) error { return WriteCSV(w, s, WriteOptions{Samples: Rate{Num: 2e6, Den: 1}}) }))

	// A third of a microsecond, each rounded on its own.
	s = scripted([]string{"a"}, 0, 1e6, "0 a-; 333334 a+")
	assert.Equal(t, "time_s,a\n0.000000000000,0\n0.000000333333,0\n0.000000666667,1\n0.000001000000,1\n",
		written(t, func(w io.Writer) error { return WriteCSV(w, s, WriteOptions{Samples: Rate{Num: 3e6, Den: 1}}) }))
}

// The shape of the standard's own example (IEEE Std 1364-2005, 18.2.4): the
// first time, then the values in $dumpvars, then changes alone.
func TestWriteVCD(t *testing.T) {
	s := scripted([]string{"rudder", "bus[3]"}, 500, 2e12, "500 a+; 505 b-; 505 a- | 505 a+; 700 b?")
	assert.Equal(t, `$version widthwise $end
$timescale 1 ps $end
$scope module capture $end
$var wire 1 ! rudder $end
$var wire 1 " bus[3] $end
$upscope $end
$enddefinitions $end
#500
$dumpvars
1!
x"
$end
#505
0!
0"
1!
#700
x"
#2000000000000
`, written(t, func(w io.Writer) error { return WriteVCD(w, s) }))
}

func TestWriteRefuses(t *testing.T) {
	var usage *UsageError
	require.ErrorAs(t, WriteVCD(io.Discard, scripted([]string{"a"}, -25e11, 1, "-2500000000000 a+")), &usage)
	assert.Equal(t, "a value change dump holds no time before zero, and this capture starts at -2.5 s; write CSV", usage.Message)
	assert.ErrorAs(t, WriteCSV(io.Discard, scripted(nil, 0, 1, ""), WriteOptions{}), &usage)
	assert.ErrorAs(t, WriteVCD(io.Discard, scripted(nil, 0, 1, "")), &usage)

	full := errors.New("the disk is full")
	for _, write := range []func(io.Writer, decode.Source) error{
		WriteVCD,
		func(w io.Writer, s decode.Source) error { return WriteCSV(w, s, WriteOptions{}) },
		func(w io.Writer, s decode.Source) error {
			return WriteCSV(w, s, WriteOptions{Samples: Rate{Num: 1e6, Den: 1}})
		},
	} {
		r, err := mustParse(t, twoServos+"kind = \"inverted\"").Open(Options{})
		require.NoError(t, err)
		assert.ErrorIs(t, write(writeFunc(func([]byte) (int, error) { return 0, full }), r), full)
	}
	s := scripted([]string{"a"}, 0, 1, "0 a+")
	s.blocks[0].Counts = []decode.Count{{}}
	assert.ErrorContains(t, WriteCSV(io.Discard, s, WriteOptions{}), "counted edges")
}

type writeFunc func([]byte) (int, error)

func (f writeFunc) Write(b []byte) (int, error) { return f(b) }

// Header cells that no spreadsheet runs, and that any reader of RFC 4180 gets
// whole; the first two are the examples of OWASP's page on CSV injection.
func TestHeaderCells(t *testing.T) {
	for name, want := range map[string]string{
		`=1+2";=1+2`:    `"'=1+2"";=1+2"`,
		`=1+2'" ;,=1+2`: `"'=1+2'"" ;,=1+2"`,
		"rudder":        "rudder",
		"-5V":           "'-5V",
		"+5V":           "'+5V",
		"@home":         "'@home",
		"'=x":           "''=x",
		"'tis":          "'tis",
		"a,b":           `"a,b"`,
		"bus[1]":        "bus[1] [logic]",
		"bus[3]":        "bus[3]",
		"pin (V)":       "pin (V) [logic]",
	} {
		assert.Equal(t, want, table.HeaderCell(name))
	}
	rapid.Check(t, func(t *rapid.T) {
		name := strings.TrimSpace(rapid.StringMatching(`['=+\-@a,"; \[\]()V1]{1,12}a?\)?`).Draw(t, "name"))
		if name == "" {
			name = "-"
		}
		text := "time_s," + table.HeaderCell(name) + "\n0,0\n1,1\n2,0\n"
		record, err := csv.NewReader(strings.NewReader(text)).Read()
		require.NoError(t, err)
		require.Len(t, record, 2)
		require.NotContains(t, "=+-@\t\r\n", record[1][:1], "what a spreadsheet would run")
		r, err := NewReader(strings.NewReader(text), "tug.csv", Options{})
		require.NoError(t, err)
		require.Equal(t, []decode.Channel{{Name: name}}, r.Channels())
	})
}

func TestIdentifiersDiffer(t *testing.T) {
	seen := map[string]bool{}
	for n := range 20_000 {
		code := identifier(n)
		require.False(t, seen[code], code)
		seen[code] = true
		for _, c := range code {
			require.True(t, c >= '!' && c <= '~')
		}
	}
	assert.True(t, seen["~~"] && seen["!!"] && !seen["~~~"])
	taken := map[string]bool{}
	assert.Equal(t, []string{"a_b", "a_b_2", "_$end", "_", "ruder_°"}, []string{
		reference("a b", taken), reference("a\tb", taken), reference("$end", taken), reference("", taken), reference("ruder °", taken)})
}

// BenchmarkWriteSamples makes a table of samples of three channels; the size
// of its text over the time is what is reported.
func BenchmarkWriteSamples(b *testing.B) {
	s := mustParse(b, scenario.Example)
	for b.Loop() {
		r, err := s.Open(Options{Select: []string{"throttle", "rudder", "winch"}})
		require.NoError(b, err)
		n := int64(0)
		require.NoError(b, WriteCSV(writeFunc(func(p []byte) (int, error) { n += int64(len(p)); return len(p), nil }), r, WriteOptions{Samples: Rate{Num: 1e6, Den: 1}}))
		b.SetBytes(n)
	}
}
