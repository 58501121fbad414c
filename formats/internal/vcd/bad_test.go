package vcd

import (
	"errors"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// badDumps are the entries of bad.txt: name, dump and the line it prints.
func badDumps(t testing.TB) [][3]string {
	text, err := os.ReadFile("../../../testdata/vcd/bad.txt")
	require.NoError(t, err)
	var dumps [][3]string
	_, entries, _ := strings.Cut(string(text), "\n== ")
	for _, entry := range strings.Split(entries, "\n== ") {
		name, rest, _ := strings.Cut(entry, "\n")
		dump, line, found := strings.Cut(rest, "\n-- ")
		require.True(t, found, "%s has no line", name)
		dump += "\n"
		dump = regexp.MustCompile(`\\x[0-9a-f]{2}`).ReplaceAllStringFunc(dump, func(s string) string {
			b, err := strconv.ParseUint(s[2:], 16, 8)
			require.NoError(t, err)
			return string([]byte{byte(b)})
		})
		dump = strings.ReplaceAll(dump, "\\c\n", "")
		dumps = append(dumps, [3]string{name, dump, strings.TrimSpace(line)})
	}
	return dumps
}

func TestVCDBad(t *testing.T) {
	dumps := badDumps(t)
	require.Len(t, dumps, 48)
	for _, d := range dumps {
		t.Run(d[0], func(t *testing.T) {
			assert.EqualError(t, readVCDError(d[1], capture.Options{}), d[2])
		})
	}
}

// A dump cut at any byte is read up to there, and says so unless nothing of a
// record is missing.
func TestVCDCut(t *testing.T) {
	text, err := os.ReadFile("../../../testdata/vcd/spellings/plain.vcd")
	require.NoError(t, err)
	_, whole := readVCD(t, string(text), capture.Options{})
	changes := strings.Index(string(text), "#0\n")
	for end := range text {
		s, err := Open(vcdInput(string(text[:end])), capture.Options{})
		if end <= changes {
			var pe *capture.ParseError
			require.ErrorAs(t, err, &pe, "cut at byte %d", end)
			continue
		}
		require.NoError(t, err)
		got, err := readTracks(s)
		if end == changes+1 { // a # of the first time stamp
			require.ErrorContains(t, err, "no time stamp")
			continue
		}
		require.NoError(t, err)
		for name, levels := range got {
			assert.Equal(t, whole[name][:len(levels)], levels, "cut at byte %d", end)
		}
		last := string(text[strings.LastIndexByte(string(text[:end]), '\n')+1 : end])
		between := last == "" || last == "$end" || last == "$dumpvars" || last == "#0" ||
			len(last) == 2 && strings.Contains("!\"", last[1:]) && last[0] != '#'
		assert.Equal(t, !between, len(s.Origin().Warnings) == 1, "cut at byte %d, after %q: %q", end, last, s.Origin().Warnings)
	}
}

// A code at the very end may be the beginning of a longer one.
func TestVCDCutCode(t *testing.T) {
	for end, want := range map[string]string{
		"1ab": "", "1abc": "", "1a": "cut", "1l": "cut", "1long_cod": "cut", "1long_code": "", "b1": "cut", "b1 lon": "cut", "b1 ab": "",
		"1": "cut", "1b": "error", "1abd": "error", "1long_codes": "error", "1b ": "error", "1a ": "error",
	} {
		s, err := Open(vcdInput("$timescale 1 us $end $var wire 1 ab a $end $var wire 1 abc b $end $var wire 1 long_code c $end "+
			"$enddefinitions $end\n#0 0ab 0abc 0long_code\n#5 "+end), capture.Options{})
		require.NoError(t, err)
		_, err = readTracks(s)
		if want == "error" {
			assert.ErrorContains(t, err, "undeclared identifier", end)
			continue
		}
		require.NoError(t, err, end)
		assert.Equal(t, want == "cut", len(s.Origin().Warnings) == 1, end)
	}
}

// A packed dump whose tail is missing is read up to there as well.
func TestVCDCutPacked(t *testing.T) {
	text, err := os.ReadFile("../../../testdata/vcd/spellings/plain.vcd")
	require.NoError(t, err)
	s, err := Open(&capture.Input{Name: "tug.vcd.gz", R: io.MultiReader(strings.NewReader(string(text[:250])),
		iotest.ErrReader(io.ErrUnexpectedEOF))}, capture.Options{})
	require.NoError(t, err)
	_, err = readTracks(s)
	require.NoError(t, err)
	assert.Equal(t, []decode.Remark{{Kind: decode.CutOff, Text: "cut off: the compressed data end early (line 25)"}}, s.Origin().Warnings)
}

// An error of reading ends the dump at its place, also in the middle of a word.
func TestVCDReadError(t *testing.T) {
	for text, place := range map[string]string{
		"#0 0!\n#5 1! ": "3:7", "#0 0!\n#5 1!": "3:4", "#0 0!\n#5 1": "3:4", "#0 0!\n#": "3:1", "#0 0!\n$comment a": "3:10", "#0 0!\nb1": "3:1",
	} {
		text = "$timescale 1 us $end $var wire 1 ! a $end $enddefinitions $end\n" + text
		s, err := Open(&capture.Input{Name: "tug.vcd", R: io.MultiReader(strings.NewReader(text), iotest.ErrReader(errors.New("the disk is gone")))}, capture.Options{SkipBadRows: true})
		require.NoError(t, err)
		_, err = readTracks(s)
		assert.EqualError(t, err, "tug.vcd:"+place+": the disk is gone; "+capture.Readable)
		_, err = s.Next()
		assert.EqualError(t, err, "tug.vcd:"+place+": the disk is gone; "+capture.Readable, "it stays")
	}
}

// What --skip-bad-rows leaves out leaves levels unknown until they change.
func TestVCDSkipBad(t *testing.T) {
	const head = "$timescale 1 ps $end\n$var wire 1 ! throttle $end\n$var wire 1 \" winch $end\n$enddefinitions $end\n"
	const damaged = "damaged records were left out, and levels are unknown after each until they change"
	for _, c := range []struct {
		name, changes   string
		throttle, winch []string
		notes           []string
	}{
		{"undeclared", "#0 0! 1\"\n#5 1? 1!\n#9 0? 0!\n", []string{"0 low", "5 high", "9 low"}, []string{"0 high"},
			[]string{`changes of undeclared identifiers were left out, such as "?" (2 times, first in line 6)`}},
		{"no change", "#0 0! 1\"\n#5 %%\n#9 1!\n#12\n", []string{"0 low", "5 unknown", "9 high"}, []string{"0 high", "5 unknown"},
			[]string{damaged + " (line 6)"}},
		{"time goes back", "#0 0! 1\"\n#5 1!\n#3 0!\n#4 1!\n#5 0\"\n#6\n", []string{"0 low", "5 high", "5 unknown"},
			[]string{"0 high", "5 low"}, []string{damaged + " (2 times, first in line 7)"}},
		{"time stamp", "#0 0! 1\"\n#x 1!\n#7 0!\n#9\n", []string{"7 low"}, nil,
			[]string{damaged + " (line 6)"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Error(t, readVCDError(head+c.changes, capture.Options{}))
			s, got := readVCD(t, head+c.changes, capture.Options{SkipBadRows: true})
			assert.Equal(t, c.throttle, got["throttle"])
			assert.Equal(t, c.winch, got["winch"])
			assert.Equal(t, c.notes, decode.Texts(s.Origin().Notes))
		})
	}
	const open = "$timescale 1 ps $end\n$var wire 1 ! throttle $end\n"
	s, got := readVCD(t, open+"#0 0! #5 1! #9\n", capture.Options{SkipBadRows: true})
	assert.Equal(t, tracks{"throttle": {"0 low", "5 high"}}, got)
	assert.Equal(t, []decode.Remark{{Kind: decode.Irregularity, Text: `$enddefinitions is missing: "#0" was taken as the end of the declarations (line 3)`}}, s.Origin().Notes)
	err := readVCDError(head+"#0 0! %% %% %% %% %% #5 1!\n", capture.Options{SkipBadRows: true})
	assert.EqualError(t, err, "tug.vcd: 5 of 9 records are damaged; leaving them out leaves too little")
}
