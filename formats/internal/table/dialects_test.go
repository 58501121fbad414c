package table

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
	"widthwise/formats/internal/sourcetest"
)

var update = flag.Bool("update", false, "write the lists of expected results anew")

const dialects = "../../../testdata/csv/dialects"

// spelling is one way to write the tug's capture: 45 ms of throttle (1500 us),
// rudder (1200 us) and winch (1800 us), invented, on a grid of 100 us.
type spelling struct {
	file    string
	samples bool // a row each 100 us, not one a change
	options capture.Options
	names   string // "throttle rudder winch" if empty
	dialect string // what the decision must say, in part
}

var tenKilohertz = exact.Rate{Num: 10_000, Den: 1}

var spellings = []spelling{
	{file: "comma.csv", dialect: "comma, decimal point, names in line 1, time in column 1 in us, digital in column 2-4"},
	{file: "semicolon.csv", dialect: "semicolon"},
	{file: "tab.tsv", dialect: "tab"},
	{file: "pipe.csv", dialect: "pipe"},
	{file: "spaces.txt", dialect: "spaces"},
	{file: "spaces-in-names.txt", names: "throttle lever/rudder/winch drum"},
	{file: "comma-and-space.csv", dialect: "comma"},
	{file: "decimal-comma.csv", dialect: "semicolon, decimal comma"},
	{file: "decimal-comma-tab.csv", dialect: "tab, decimal comma"},
	{file: "decimal-comma-spaces.txt", names: "col2 col3 col4", dialect: "spaces, decimal comma"},
	{file: "decimal-comma-quoted.csv", dialect: "comma, decimal comma"},
	{file: "crlf.csv"},
	{file: "cr-only.csv"},
	{file: "mark-utf8.csv"},
	{file: "utf16-little.csv"},
	{file: "utf16-big.csv"},
	{file: "utf16-little-no-mark.csv"},
	{file: "utf16-big-no-mark.csv"},
	{file: "latin1-micro.csv"},
	{file: "quoted-names.csv"},
	{file: "quoted-line-end.csv"},
	{file: "quoted-delimiter.csv", names: `throttle, port/rudder "aft"/winch`},
	{file: "all-quoted.csv"},
	{file: "trailing-delimiter.csv"},
	{file: "trailing-in-rows-only.csv"},
	{file: "blank-lines.csv"},
	{file: "comments-hash.csv"},
	{file: "comments-percent.csv"},
	{file: "comments-slashes.csv"},
	{file: "comments-semicolon.csv"},
	{file: "comment-names.txt"},
	{file: "comment-at-the-end.csv"},
	{file: "no-header.csv", names: "col2 col3 col4", dialect: "no header"},
	{file: "no-header-unit-stated.csv", options: capture.Options{TimeUnit: "us"}, names: "col2 col3 col4"},
	{file: "units-in-second-row.csv"},
	{file: "units-in-brackets-row.csv"},
	{file: "key-value-before.csv"},
	{file: "key-value-equals.csv"},
	{file: "time-in-seconds.csv"},
	{file: "time-no-unit.csv", dialect: "in s"},
	{file: "time-in-nanoseconds.csv"},
	{file: "time-in-words.csv"},
	{file: "time-unit-is-the-name.csv"},
	{file: "time-brings-its-unit.csv"},
	{file: "time-scientific.csv"},
	{file: "time-negative.csv"},
	{file: "time-plus-signs.csv"},
	{file: "time-iso8601.csv"},
	{file: "time-iso8601-offset.csv"},
	{file: "time-day-first.csv"},
	{file: "time-float-digits.csv"},
	{file: "time-unit-told.csv"},
	{file: "facts-beside-data.csv"},
	{file: "time-of-day.csv"},
	{file: "time-over-midnight.csv"},
	{file: "time-epoch.csv"},
	{file: "time-epoch-us.csv"},
	{file: "time-last.csv"},
	{file: "index-and-time.csv", samples: true, dialect: "time in column 2"},
	{file: "sample-numbers.csv", samples: true, options: capture.Options{Rate: tenKilohertz}},
	{file: "sample-numbers-rate-told.csv", samples: true},
	{file: "sample-numbers-interval-told.csv", samples: true},
	{file: "no-time.csv", samples: true, options: capture.Options{Rate: tenKilohertz}},
	{file: "no-time-no-header.csv", samples: true, options: capture.Options{Rate: tenKilohertz}, names: "col1 col2 col3"},
	{file: "no-time-rate-told.csv", samples: true},
	{file: "every-sample.csv", samples: true},
	{file: "levels-point-zero.csv"},
	{file: "levels-scientific.csv"},
	{file: "levels-true-false.csv"},
	{file: "levels-high-low.csv"},
	{file: "levels-h-l.csv"},
	{file: "levels-on-off.csv"},
	{file: "levels-volts.csv"},
	{file: "levels-millivolts.csv"},
	{file: "text-columns.csv"},
	{file: "sparse.csv", dialect: "an empty cell repeats the one above"},
	{file: "long.csv", dialect: "channel name in column 2, level in column 3"},
	{file: "long-no-header.csv"},
	{file: "packed-bits.csv", names: "bus[0] bus[1] bus[2]"},
	{file: "packed-hex.csv", names: "bus[0] bus[1] bus[2] bus[3] bus[4] bus[5] bus[6] bus[7]"},
	{file: "packed-bits-no-time.csv", samples: true, options: capture.Options{Rate: tenKilohertz}, names: "col1[0] col1[1] col1[2]"},
	{file: "comma.csv.gz"},
	{file: "comma.csv.zst"},
	{file: "sample-numbers-jump.csv", options: capture.Options{Rate: tenKilohertz}, names: "S B W", dialect: "sample number in column 1"},
	{file: "sample-numbers-jump-no-header.csv", options: capture.Options{Rate: tenKilohertz}, names: "col2 col3 col4", dialect: "sample number in column 1"},
	{file: "long-names-like-digits.csv", names: "D0 D1 D2", dialect: "channel name in column 2, level in column 3"},
	{file: "long-names-like-digits-no-header.csv", names: "D0 D1 D2", dialect: "channel name in column 2, level in column 3"},
}

// TestDialects: one truth, many spellings.
func TestDialects(t *testing.T) {
	want := tugEdges(t)
	files := map[string]bool{"expected.txt": true}
	for _, s := range spellings {
		files[s.file] = true
		t.Run(s.file, func(t *testing.T) {
			r, err := openFile(filepath.Join(dialects, s.file), s.options)
			require.NoError(t, err)
			defer r.Close()
			names, edges, origin := readAll(t, r)
			wantNames := s.names
			if wantNames == "" {
				wantNames = "throttle rudder winch"
			}
			if !strings.Contains(wantNames, "/") {
				wantNames = strings.ReplaceAll(wantNames, " ", "/")
			}
			assert.Equal(t, wantNames, strings.Join(names, "/"))
			assert.Contains(t, r.Header().Dialect, s.dialect)
			assert.Equal(t, want, edgeList(edges), r.Header().Dialect)
			assert.Equal(t, 45*decode.Millisecond, origin.End-origin.Start)
			assert.Equal(t, !s.samples, origin.ChangesOnly)
			if s.samples {
				assert.Equal(t, float64(100*decode.Microsecond), origin.Step)
			}
		})
	}
	entries, err := os.ReadDir(dialects)
	require.NoError(t, err)
	for _, e := range entries {
		assert.True(t, files[e.Name()], "no spelling says what %s should be", e.Name())
	}
}

// Bytes that are no UTF-8 are taken for ISO 8859-1, and the header says so.
func TestEncodings(t *testing.T) {
	for file, want := range map[string]string{"latin1-micro.csv": "iso-8859-1", "mark-utf8.csv": "utf-8"} {
		r, err := openFile(filepath.Join(dialects, file), capture.Options{})
		require.NoError(t, err)
		defer r.Close()
		assert.Equal(t, want, r.Header().Encoding, file)
	}
}

// tugEdges lists the edges that every spelling must give.
func tugEdges(t *testing.T) string {
	text, err := os.ReadFile(filepath.Join(dialects, "expected.txt"))
	require.NoError(t, err)
	return string(text)
}

// readAll reads a source to its end and checks what every block promises.
func readAll(t testing.TB, s decode.Source) (names []string, edges [][]sourcetest.Change, o decode.Origin) {
	names, edges, err := collect(s)
	require.NoError(t, err)
	o = s.Origin()
	for i := range edges {
		for j := range edges[i] {
			edges[i][j].At -= o.Start
		}
	}
	return names, edges, o
}

func edgeList(edges [][]sourcetest.Change) string {
	var b strings.Builder
	for i, list := range edges {
		for _, e := range list {
			if len(edges) > 3 && i > 2 && len(list) == 1 && e.Level == decode.Low {
				continue // the unused bits of a wider group
			}
			fmt.Fprintf(&b, "channel %d %s from %s us\n", i+1, e.Level, e.At.Micros(6))
		}
	}
	return b.String()
}

// readText returns a committed text, written anew where that is asked for.
func readText(t *testing.T, path, anew string) string {
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(anew), 0o644))
	}
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(text)
}

func bit(high bool) int {
	if high {
		return 1
	}
	return 0
}

func gzipped(t *testing.T, text []byte) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(text)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.Bytes()
}

func zstandard(t *testing.T, text []byte) []byte {
	w, err := zstd.NewWriter(nil)
	require.NoError(t, err)
	return w.EncodeAll(text, nil)
}
