package table

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/text/encoding/unicode"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
	"widthwise/formats/internal/sourcetest"
)

var update = flag.Bool("update", false, "write the dialects and the lists of expected results anew")

const dialects = "../../../testdata/csv/dialects"

// spelling is one way to write the tug's capture: 45 ms of throttle (1500 us),
// rudder (1200 us) and winch (1800 us), invented, on a grid of 100 us.
type spelling struct {
	file    string
	head    string
	sep     string                 // "," if empty
	time    func(us int) string    // microseconds as digits if nil
	level   func(high bool) string // 0 and 1 if nil
	row     func(us int, levels [3]bool) string
	end     string // of a line, "\n" if empty
	tail    string // behind the last row
	samples bool   // a row each 100 us, not one a change
	long    bool   // a row for each channel that changes
	encode  func(*testing.T, []byte) []byte
	options capture.Options
	names   string // "throttle rudder winch" if empty
	dialect string // what the decision must say, in part
}

var commaHead = "time_us,throttle,rudder,winch\n"

var spellings = []spelling{
	{file: "comma.csv", head: commaHead, dialect: "comma, decimal point, names in line 1, time in column 1 in us, digital in column 2-4"},
	{file: "semicolon.csv", head: "Time [us];throttle;rudder;winch\n", sep: ";", dialect: "semicolon"},
	{file: "tab.tsv", head: "Time (us)\tthrottle\trudder\twinch\n", sep: "\t", dialect: "tab"},
	{file: "pipe.csv", head: "time/us|throttle|rudder|winch\n", sep: "|", dialect: "pipe"},
	{file: "spaces.txt", head: "  Time [us]  throttle rudder   winch\n", row: aligned, dialect: "spaces"},
	{file: "spaces-in-names.txt", head: "Time [us]   throttle lever   rudder   winch drum\n", row: aligned, names: "throttle lever/rudder/winch drum"},
	{file: "comma-and-space.csv", head: "time_us, throttle, rudder, winch\n", sep: ", ", dialect: "comma"},
	{file: "decimal-comma.csv", head: "Zeit [ms];throttle;rudder;winch\n", sep: ";", time: commaMillis, dialect: "semicolon, decimal comma"},
	{file: "decimal-comma-tab.csv", head: "t (s)\tthrottle\trudder\twinch\n", sep: "\t", time: commaSeconds, dialect: "tab, decimal comma"},
	{file: "decimal-comma-spaces.txt", time: commaSeconds, sep: " ", names: "col2 col3 col4", dialect: "spaces, decimal comma"},
	{file: "decimal-comma-quoted.csv", head: "\"time, s\",throttle,rudder,winch\n", row: quotedRow, dialect: "comma, decimal comma"},
	{file: "crlf.csv", head: "time_us,throttle,rudder,winch\r\n", end: "\r\n"},
	{file: "cr-only.csv", head: "time_us,throttle,rudder,winch\r", end: "\r"},
	{file: "mark-utf8.csv", head: "\ufefftime_us,throttle,rudder,winch\n"},
	{file: "utf16-little.csv", head: commaHead, encode: utf16(unicode.LittleEndian, unicode.UseBOM)},
	{file: "utf16-big.csv", head: commaHead, encode: utf16(unicode.BigEndian, unicode.UseBOM)},
	{file: "utf16-little-no-mark.csv", head: commaHead, encode: utf16(unicode.LittleEndian, unicode.IgnoreBOM)},
	{file: "utf16-big-no-mark.csv", head: commaHead, encode: utf16(unicode.BigEndian, unicode.IgnoreBOM)},
	{file: "latin1-micro.csv", head: "time [\xb5s],throttle,rudder,winch\n"},
	{file: "quoted-names.csv", head: "\"time (us)\",\"throttle\",\"rudder\",\"winch\"\r\n", end: "\r\n"},
	{file: "quoted-line-end.csv", head: "\"time\n[us]\",throttle,rudder,\"winch\"\n"},
	{file: "quoted-delimiter.csv", head: "time_us,\"throttle, port\",\"rudder \"\"aft\"\"\",winch\n", names: `throttle, port/rudder "aft"/winch`},
	{file: "all-quoted.csv", head: "\"time_us\",\"throttle\",\"rudder\",\"winch\"\n", time: surround, level: surroundLevel},
	{file: "trailing-delimiter.csv", head: "time_us,throttle,rudder,winch,\n", end: ",\n"},
	{file: "trailing-in-rows-only.csv", head: commaHead, end: ",\n"},
	{file: "blank-lines.csv", head: "\n\n" + commaHead + "\n", end: "\n\n"},
	{file: "comments-hash.csv", head: "# harbour tug, radio replaced\n#\n" + commaHead + "# first row follows\n"},
	{file: "comments-percent.csv", head: "% harbour tug\n" + commaHead},
	{file: "comments-slashes.csv", head: "// harbour tug\n// time in microseconds\ntime,throttle,rudder,winch\n"},
	{file: "comments-semicolon.csv", head: "; harbour tug\n" + commaHead},
	{file: "comment-names.txt", head: "# time_us throttle rudder winch\n", sep: " "},
	{file: "comment-at-the-end.csv", head: commaHead, tail: "# end of the capture\n"},
	{file: "no-header.csv", time: seconds, names: "col2 col3 col4", dialect: "no header"},
	{file: "no-header-unit-stated.csv", names: "col2 col3 col4", options: capture.Options{TimeUnit: "us"}},
	{file: "units-in-second-row.csv", head: "time,throttle,rudder,winch\nms,V,V,V\n", time: millis, level: volts33},
	{file: "units-in-brackets-row.csv", head: "Time,throttle,rudder,winch\n(us),(V),(V),(V)\n", level: volts33},
	{file: "key-value-before.csv", head: "boat,harbour tug\nradio,replaced\nTime Unit,us\n\ntime,throttle,rudder,winch\n"},
	{file: "key-value-equals.csv", head: "boat = harbour tug\ntime unit = us\n" + "time,throttle,rudder,winch\n"},
	{file: "time-in-seconds.csv", head: "Time (s),throttle,rudder,winch\n", time: seconds},
	{file: "time-no-unit.csv", head: "Time,throttle,rudder,winch\n", time: seconds, dialect: "in s"},
	{file: "time-in-nanoseconds.csv", head: "Time(ns),throttle,rudder,winch\n", time: nanos},
	{file: "time-in-words.csv", head: "time in milliseconds,throttle,rudder,winch\n", time: millis},
	{file: "time-unit-is-the-name.csv", head: "us,throttle,rudder,winch\n"},
	{file: "time-brings-its-unit.csv", head: "time,throttle,rudder,winch\n", time: withUnit},
	{file: "time-scientific.csv", head: "t,throttle,rudder,winch\n", time: scientific},
	{file: "time-negative.csv", head: "Time [us],throttle,rudder,winch\n", time: negative},
	{file: "time-plus-signs.csv", head: "t_us,throttle,rudder,winch\n", time: plus},
	{file: "time-iso8601.csv", head: "timestamp,throttle,rudder,winch\n", time: iso("2026-05-04T09:30:00.%06dZ")},
	{file: "time-iso8601-offset.csv", head: "timestamp,throttle,rudder,winch\n", time: iso("2026-05-04 09:30:00.%06d+02:00")},
	{file: "time-day-first.csv", head: "timestamp;throttle;rudder;winch\n", sep: ";", time: iso("04.05.2026 09:30:00,%06d")},
	{file: "time-float-digits.csv", head: "time (s),throttle,rudder,winch\n", time: floatDigits},
	{file: "time-horizontal-units.csv", head: "Horizontal Units,us\nVertical Units,V\n\nTime,throttle,rudder,winch\n", level: volts33},
	{file: "facts-beside-data.csv", head: "fact,value,time_us,throttle,rudder,winch\n", row: beside},
	{file: "time-of-day.csv", head: "date,time,throttle,rudder,winch\n", time: iso("2026-05-04,09:30:00.%06d")},
	{file: "time-over-midnight.csv", head: "time,throttle,rudder,winch\n", time: midnight},
	{file: "time-epoch.csv", head: "epoch,throttle,rudder,winch\n", time: iso("1777887000.%06d")},
	{file: "time-epoch-us.csv", head: "time,throttle,rudder,winch\n", time: iso("1777887000%06d")},
	{file: "time-last.csv", head: "throttle,rudder,winch,time_us\n", row: timeLast},
	{file: "index-and-time.csv", head: "#,time_us,throttle,rudder,winch\n", samples: true, row: indexed, dialect: "time in column 2"},
	{file: "sample-numbers.csv", head: "sample,throttle,rudder,winch\n", samples: true, time: sampleNumber, options: capture.Options{Rate: exact.Rate{Num: 10000, Den: 1}}},
	{file: "sample-numbers-rate-told.csv", head: "# sample rate: 10 kHz\nsample,throttle,rudder,winch\n", samples: true, time: sampleNumber},
	{file: "sample-numbers-interval-told.csv", head: "Sample Interval,100 us\nIndex,throttle,rudder,winch\n", samples: true, time: sampleNumber},
	{file: "no-time.csv", head: "throttle,rudder,winch\n", samples: true, row: levelsOnly, options: capture.Options{Rate: exact.Rate{Num: 10000, Den: 1}}},
	{file: "no-time-no-header.csv", samples: true, row: levelsOnly, options: capture.Options{Rate: exact.Rate{Num: 10000, Den: 1}}, names: "col1 col2 col3"},
	{file: "no-time-rate-told.csv", head: "; Samplerate = 0.01 MHz\nthrottle,rudder,winch\n", samples: true, row: levelsOnly},
	{file: "every-sample.csv", head: commaHead, samples: true},
	{file: "levels-point-zero.csv", head: commaHead, level: words("0.0", "1.0")},
	{file: "levels-scientific.csv", head: commaHead, level: words("0.000000E+00", "1.000000E+00")},
	{file: "levels-true-false.csv", head: commaHead, level: words("FALSE", "TRUE")},
	{file: "levels-high-low.csv", head: commaHead, level: words("low", "high")},
	{file: "levels-h-l.csv", head: commaHead, level: words("L", "H")},
	{file: "levels-on-off.csv", head: commaHead, level: words("Off", "On")},
	{file: "levels-volts.csv", head: "Time (us),throttle (V),rudder (V),winch (V)\n", level: volts33},
	{file: "levels-millivolts.csv", head: "Time (us),throttle [mV],rudder [mV],winch [mV]\n", level: words("12", "4980")},
	{file: "text-columns.csv", head: "time_us,mode,throttle,rudder,winch,remark\n", row: withText},
	{file: "sparse.csv", head: commaHead, row: sparse, dialect: "an empty cell repeats the one above"},
	{file: "long.csv", head: "time_us,channel,level\n", long: true, dialect: "channel name in column 2, level in column 3"},
	{file: "long-no-header.csv", long: true, time: seconds},
	{file: "packed-bits.csv", head: "time_us,bus\n", row: packed("%03b"), names: "bus[0] bus[1] bus[2]"},
	{file: "packed-hex.csv", head: "time_us,bus\n", row: packed("0x%02X"), names: "bus[0] bus[1] bus[2] bus[3] bus[4] bus[5] bus[6] bus[7]"},
	{file: "packed-bits-no-time.csv", samples: true, row: func(us int, l [3]bool) string { return fmt.Sprintf("%03b", pack(l)) },
		options: capture.Options{Rate: exact.Rate{Num: 10000, Den: 1}}, names: "col1[0] col1[1] col1[2]"},
	{file: "comma.csv.gz", head: commaHead, encode: gzipped},
	{file: "comma.csv.zst", head: commaHead, encode: zstandard},
}

// TestDialects: one truth, many spellings.
func TestDialects(t *testing.T) {
	want := readText(t, filepath.Join(dialects, "expected.txt"), edgeList(tugTruth()))
	files := map[string]bool{"expected.txt": true}
	for _, s := range spellings {
		files[s.file] = true
		t.Run(s.file, func(t *testing.T) {
			path := filepath.Join(dialects, s.file)
			if text := s.write(t); *update {
				require.NoError(t, os.WriteFile(path, text, 0o644))
			} else if s.encode == nil { // compressors change from version to version
				committed, err := os.ReadFile(path)
				require.NoError(t, err)
				require.Equal(t, string(text), string(committed), "the file is not what the generator writes; run with -update")
			}
			r, err := openFile(path, s.options)
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
	assert.GreaterOrEqual(t, len(spellings), 40)
}

// write spells the capture.
func (s spelling) write(t *testing.T) []byte {
	or := func(text, usual string) string {
		if text == "" {
			return usual
		}
		return text
	}
	sep, end := or(s.sep, ","), or(s.end, "\n")
	if s.time == nil {
		s.time = func(us int) string { return fmt.Sprint(us) }
	}
	if s.level == nil {
		s.level = words("0", "1")
	}
	var b bytes.Buffer
	b.WriteString(s.head)
	last := [3]bool{}
	for us := 0; us <= 45000; us += 100 {
		now := tugLevels(us)
		if us > 0 && us < 45000 && now == last && !s.samples {
			continue
		}
		switch {
		case s.long:
			for i, name := range []string{"throttle", "rudder", "winch"} {
				if us == 0 || us == 45000 || now[i] != last[i] {
					b.WriteString(s.time(us) + sep + name + sep + s.level(now[i]) + end)
				}
			}
		case s.row != nil:
			b.WriteString(s.row(us, now) + end)
		default:
			b.WriteString(s.time(us))
			for _, high := range now {
				b.WriteString(sep + s.level(high))
			}
			b.WriteString(end)
		}
		last = now
	}
	b.WriteString(s.tail)
	if s.encode != nil {
		return s.encode(t, b.Bytes())
	}
	return b.Bytes()
}

// tugLevels are the levels at an instant: throttle from 1 ms, rudder from 1.5
// ms, winch from 12 ms, each 20 ms.
func tugLevels(us int) [3]bool {
	in := func(from, width int) bool { p := us % 20000; return p >= from && p < from+width }
	return [3]bool{in(1000, 1500), in(1500, 1200), in(12000, 1800)}
}

func tugTruth() (edges [][]sourcetest.Change) {
	edges = make([][]sourcetest.Change, 3)
	last := [3]bool{true, true, true}
	for us := 0; us <= 45000; us += 100 {
		for i, high := range tugLevels(us) {
			if high != last[i] {
				l := decode.Low
				if high {
					l = decode.High
				}
				edges[i] = append(edges[i], sourcetest.Change{At: decode.Time(us) * decode.Microsecond, Level: l})
			}
		}
		last = tugLevels(us)
	}
	return edges
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

func seconds(us int) string      { return fmt.Sprintf("%d.%06d", us/1e6, us%1e6) }
func millis(us int) string       { return fmt.Sprintf("%d.%03d", us/1000, us%1000) }
func nanos(us int) string        { return fmt.Sprint(us * 1000) }
func commaMillis(us int) string  { return strings.ReplaceAll(millis(us), ".", ",") }
func commaSeconds(us int) string { return strings.ReplaceAll(seconds(us), ".", ",") }
func withUnit(us int) string {
	if us < 10000 {
		return fmt.Sprintf("%d us", us)
	}
	return millis(us) + "ms"
}
func scientific(us int) string { return fmt.Sprintf("%.6e", float64(us)/1e6) }
func negative(us int) string   { return fmt.Sprint(us - 7300) }
func plus(us int) string       { return fmt.Sprintf("+%d", us) }
func floatDigits(us int) string {
	return strconv.FormatFloat(float64(us)*1e-6, 'g', -1, 64)
}
func sampleNumber(us int) string     { return fmt.Sprint(us / 100) }
func surround(us int) string         { return fmt.Sprintf("%q", fmt.Sprint(us)) }
func surroundLevel(high bool) string { return fmt.Sprintf("%q", words("0", "1")(high)) }
func volts33(high bool) string       { return words("0", "3.3")(high) }

func words(low, high string) func(bool) string {
	return func(is bool) string {
		if is {
			return high
		}
		return low
	}
}

func iso(format string) func(int) string {
	return func(us int) string { return fmt.Sprintf(format, us) }
}

func midnight(us int) string {
	if us < 20000 {
		return fmt.Sprintf("23:59:59.%06d", us+980000)
	}
	return fmt.Sprintf("00:00:00.%06d", us-20000)
}

func bit(high bool) int {
	if high {
		return 1
	}
	return 0
}

func pack(l [3]bool) int { return bit(l[0]) | bit(l[1])<<1 | bit(l[2])<<2 }

func packed(format string) func(int, [3]bool) string {
	return func(us int, l [3]bool) string { return fmt.Sprintf("%d,"+format, us, pack(l)) }
}

// beside writes a fact in the columns before the data, in its first row.
func beside(us int, l [3]bool) string {
	fact := map[int]string{0: "volts per division,2.00"}[us]
	if fact == "" {
		fact = ","
	}
	return fmt.Sprintf("%s,%d,%d,%d,%d", fact, us, bit(l[0]), bit(l[1]), bit(l[2]))
}

func aligned(us int, l [3]bool) string {
	return fmt.Sprintf("%10d  %6d %8d %6d", us, bit(l[0]), bit(l[1]), bit(l[2]))
}

func quotedRow(us int, l [3]bool) string {
	return fmt.Sprintf("\"%s\",%d,%d,%d", commaSeconds(us), bit(l[0]), bit(l[1]), bit(l[2]))
}

func timeLast(us int, l [3]bool) string {
	return fmt.Sprintf("%d,%d,%d,%d", bit(l[0]), bit(l[1]), bit(l[2]), us)
}

func indexed(us int, l [3]bool) string {
	return fmt.Sprintf("%d,%d,%d,%d,%d", us/100, us, bit(l[0]), bit(l[1]), bit(l[2]))
}

func levelsOnly(us int, l [3]bool) string {
	return fmt.Sprintf("%d,%d,%d", bit(l[0]), bit(l[1]), bit(l[2]))
}

func withText(us int, l [3]bool) string {
	remark := ""
	if us == 12000 {
		remark = "\"winch, first time\""
	}
	return fmt.Sprintf("%d,harbour,%d,%d,%d,%s", us, bit(l[0]), bit(l[1]), bit(l[2]), remark)
}

func sparse(us int, l [3]bool) string {
	cell := func(i int) string {
		if us > 0 && tugLevels(us - 100)[i] == l[i] {
			return ""
		}
		return fmt.Sprint(bit(l[i]))
	}
	return fmt.Sprintf("%d,%s,%s,%s", us, cell(0), cell(1), cell(2))
}

func utf16(order unicode.Endianness, mark unicode.BOMPolicy) func(*testing.T, []byte) []byte {
	return func(t *testing.T, text []byte) []byte {
		out, err := unicode.UTF16(order, mark).NewEncoder().Bytes(text)
		require.NoError(t, err)
		return out
	}
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
