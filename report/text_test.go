package report

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"github.com/jedib0t/go-pretty/v6/text"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// golden compares with a committed file, which a change has to rewrite for
// review.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o777))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o666))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

func tugCapture() *Capture {
	h, a, j := tug()
	return NewCapture(h, a, j, tugEvents(), map[string]string{"winch": "tow line"})
}

type texter interface {
	WriteText(io.Writer, Style) error
}

func written(t *testing.T, told texter, s Style) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, told.WriteText(&b, s))
	return b.String()
}

var styles = []struct {
	name  string
	style Style
}{
	{"rows", Style{}},
	{"narrow", Style{Terminal: true, Width: 80}},
	{"wide", Style{Terminal: true, Width: 140}},
	{"colour", Style{Terminal: true, Width: 140, Colour: true}},
	{"rows-colour", Style{Colour: true}},
}

func TestCheckText(t *testing.T) {
	for _, s := range styles {
		t.Run(s.name, func(t *testing.T) { golden(t, "check-"+s.name+".txt", written(t, tugCapture(), s.style)) })
	}
}

func TestInspectText(t *testing.T) {
	h, a, _ := tug()
	for _, s := range styles[:3] {
		t.Run(s.name, func(t *testing.T) {
			golden(t, "inspect-"+s.name+".txt", written(t, NewInspection(h, a, false, nil), s.style))
		})
	}
}

// No line is longer than the screen, and no name reaches the terminal's own
// commands.
func TestTextFitsAndIsSafe(t *testing.T) {
	h, a, _ := tug()
	for _, width := range []int{80, 100, 140} {
		for _, told := range []texter{tugCapture(), NewInspection(h, a, false, nil)} {
			for _, line := range strings.Split(written(t, told, Style{Terminal: true, Width: width}), "\n") {
				assert.LessOrEqual(t, text.StringWidthWithoutEscSequences(line), width, "%q", line)
				assert.Equal(t, -1, strings.IndexFunc(line, func(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Cf) }), "%q", line)
			}
		}
	}
}

// Colour adds to the words and never replaces one.
func TestColourChangesNoWord(t *testing.T) {
	plain := written(t, tugCapture(), Style{Terminal: true, Width: 120})
	coloured := written(t, tugCapture(), Style{Terminal: true, Width: 120, Colour: true})
	assert.NotEqual(t, plain, coloured)
	assert.Equal(t, plain, text.StripEscape(coloured))
}

// Rows of any two captures have the same number of fields.
func TestRowsAreComparable(t *testing.T) {
	out := written(t, tugCapture(), Style{})
	names := 0
	for _, line := range strings.Split(out, "\n") {
		fields := strings.Split(line, "\t")
		switch fields[0] {
		case "columns", "channel":
			names++
			assert.Len(t, fields, len(columns), "%q", line)
		case "verdict":
			assert.Equal(t, []string{"verdict", "tug.csv", "fail"}, fields[:3])
		}
	}
	assert.Equal(t, 4, names)
}

func TestHeadline(t *testing.T) {
	first, _, _ := strings.Cut(written(t, tugCapture(), Style{}), "\n")
	assert.Equal(t, `3 of 5 channels judged; silent: horn\x1b[2J\u202e (to judge a silent one name it: --channel '#4')`, first)
}

func TestDigitsFollowTheTimeStep(t *testing.T) {
	for _, c := range []struct {
		step        float64
		width, mean string
	}{
		{1, "1500", "20.000"}, {0.1, "1499.6", "20.0000"}, {1.0 / 24, "1499.60", "20.0000"}, {0.125, "1499.6", "20.0000"},
		{4, "1500", "20.000"}, {0.001, "1499.600", "20.0000"}, {1e-6, "1499.600", "20.0000"}, {nan, "1499.6", "20.0000"},
	} {
		s := scale{c.step}
		assert.Equal(t, c.width, s.width(1499.6), "step %g", c.step)
		assert.Equal(t, c.mean, s.mean(20000, none, 1000), "step %g", c.step)
	}
	assert.Equal(t, "20.01234 ± 0.00004", scale{0.1}.mean(20012.341, 0.04, 1000))
	assert.Equal(t, "20.01234 ± 0.00005", scale{0.1}.mean(20012.341, 0.041, 1000))
	assert.Equal(t, "20.012341 ± 0.000001", scale{0.1}.mean(20012.341, 1e-9, 1000), "no interval is nothing")
	assert.Equal(t, "20.0 ± 0.2", scale{0.1}.mean(20012.341, 200, 1000))
	assert.Equal(t, "-", scale{0.1}.width(none))
	assert.Equal(t, "0.0", fixed(-0.04, 1))
}

func TestReasonOfAVerdict(t *testing.T) {
	c := tugCapture()
	assert.Equal(t, "rudder (width-jitter); winch (tow line) (signal-loss)", c.reason())
	c.Verdict = Word(decode.Passed)
	assert.Equal(t, "every judged channel is in order in this capture", c.reason())
	c.Verdict = Word(decode.Undecided)
	assert.Equal(t, "nothing was judged", c.reason())
	c.Channels[0].Verdict = Word(decode.Undecided)
	assert.Equal(t, "too little was seen of throttle", c.reason())
}

func TestManyFindingsAreCountedNotHidden(t *testing.T) {
	c := tugCapture()
	c.Findings = nil
	for i := range 100 {
		f := Finding{Kind: "glitch", Severity: "warn", Channels: []string{"winch"}, Start: Seconds(i)}
		if i == 99 {
			f = Finding{Kind: "signal-loss", Severity: "fail", Channels: []string{"winch"}, Start: Seconds(i)}
		}
		c.Findings = append(c.Findings, f)
	}
	shown, left := c.worstFindings(40)
	assert.Len(t, shown, 40)
	assert.Equal(t, "signal-loss", shown[39].Kind, "a failure is shown however late it comes")
	assert.Equal(t, "and 60 of glitch; --json lists them all", left)
}

// A dump with hundreds of signals lists those that carry something first, and
// counts what is left.
func TestLargeDumpsListWell(t *testing.T) {
	h, a, j := tug()
	for i := range 300 {
		signal := decode.Irregular
		if i%3 == 0 {
			signal = decode.Silent
		}
		a.Channels = append([]*decode.ChannelAnalysis{{Name: fmt.Sprint("deck.tap", i), Signal: signal}}, a.Channels...)
		j.Channels = append([]decode.ChannelJudgement{{}}, j.Channels...)
	}
	page := written(t, NewInspection(h, a, false, nil), Style{Terminal: true, Width: 80})
	assert.Less(t, strings.Index(page, "pump"), strings.Index(page, "deck.tap"))
	assert.Contains(t, page, "\nand 95 silent and 186 irregular channels more; --json lists them all\n")
	page = written(t, NewCapture(h, a, j, nil, nil), Style{Terminal: true, Width: 80})
	assert.Contains(t, page, "not judged  189 more; widthwise inspect lists them\n")
	assert.Contains(t, page, "3 of 305 channels judged; silent: ")
	assert.Less(t, strings.Count(page, "\n"), 100, "it stays a page or two")
}
