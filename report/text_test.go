package report_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"unicode"

	"github.com/jedib0t/go-pretty/v6/text"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/report"
	set "widthwise/report/text"
)

// written sets a report and returns it.
func written(t *testing.T, s report.Style, write func(*set.Sheet)) string {
	t.Helper()
	p := set.NewSheet(s)
	write(p)
	var b bytes.Buffer
	_, err := p.WriteTo(&b)
	require.NoError(t, err)
	return b.String()
}

func answer(p *set.Sheet) { _, a, _ := report.Tug(); set.Check(p, report.TugCapture(), a, false) }
func whole(p *set.Sheet)  { _, a, _ := report.Tug(); set.Check(p, report.TugCapture(), a, true) }
func inspection(p *set.Sheet) {
	h, a, _ := report.Tug()
	set.Inspect(p, report.NewInspection(h, a, false, nil))
}

var reports = []struct {
	name  string
	write func(*set.Sheet)
}{{"check", answer}, {"check-full", whole}, {"inspect", inspection}}

func TestTexts(t *testing.T) {
	for _, r := range reports {
		for _, width := range []int{40, 80} {
			name := fmt.Sprintf("%s-%d.txt", r.name, width)
			t.Run(name, func(t *testing.T) { report.Golden(t, name, written(t, report.Style{Width: width}, r.write)) })
		}
	}
}

// No line is longer than the screen but for a single word, none is broken within
// a word, and no name reaches the terminal's own commands.
func TestTextFitsAndIsSafe(t *testing.T) {
	for _, r := range reports {
		words := strings.Fields(written(t, report.Style{Width: 10_000}, r.write))
		for _, width := range []int{40, 80, 120, 200} {
			out := written(t, report.Style{Width: width}, r.write)
			for _, line := range strings.Split(out, "\n") {
				if len(strings.Fields(line)) > 1 {
					assert.LessOrEqual(t, text.StringWidthWithoutEscSequences(line), width, "%s: %q", r.name, line)
				}
				assert.Equal(t, -1, strings.IndexFunc(line, func(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Cf) }), "%q", line)
			}
			if r.name == "check-full" && width > 40 {
				for _, word := range words {
					if !strings.ContainsAny(word, "⎺⎻─⎼⎽X…") {
						assert.Contains(t, out, word, "at %d columns", width)
					}
				}
			}
		}
	}
}

// Colour adds to the words and never replaces one; a channel that is named like
// a verdict stays in ink.
func TestColourChangesNoWord(t *testing.T) {
	for _, r := range reports {
		plain := written(t, report.Style{Width: 120}, r.write)
		coloured := written(t, report.Style{Width: 120, Colour: true}, r.write)
		assert.NotEqual(t, plain, coloured)
		assert.Equal(t, plain, text.StripEscape(coloured))
	}
	c := report.TugCapture()
	c.Channels[0].Name = "fail"
	_, a, _ := report.Tug()
	out := written(t, report.Style{Width: 120, Colour: true}, func(p *set.Sheet) { set.Check(p, c, a, true) })
	for _, line := range strings.Split(out, "\n") {
		if strings.HasPrefix(line, "fail ") {
			assert.NotContains(t, line[:strings.Index(line, "fail")+5], "\x1b")
		}
	}
}

// An answer shows five events and counts the rest; the full text has them all.
func TestManyEventsAreCounted(t *testing.T) {
	c := report.TugCapture()
	for i := range 6 {
		e := c.Events[0]
		e.Story = fmt.Sprintf("the %d. further event.", i)
		c.Events = append(c.Events, e)
	}
	_, a, _ := report.Tug()
	out := written(t, report.Style{Width: 80}, func(p *set.Sheet) { set.Check(p, c, a, false) })
	assert.Contains(t, out, "the 3. further event.")
	assert.NotContains(t, out, "the 4. further event.")
	assert.Contains(t, out, "\n  and 2 events more: --full\n")
	out = written(t, report.Style{Width: 80}, func(p *set.Sheet) { set.Check(p, c, a, true) })
	assert.Contains(t, out, "the 5. further event.")
}

// A dump with hundreds of signals lists those that carry something first, and
// counts what is left.
func TestLargeDumpsListWell(t *testing.T) {
	h, a, j := report.Tug()
	for i := range 300 {
		signal := decode.Irregular
		if i%3 == 0 {
			signal = decode.Silent
		}
		a.Channels = append([]*decode.ChannelAnalysis{{Name: fmt.Sprint("deck.tap", i), Signal: signal}}, a.Channels...)
		j.Channels = append([]decode.ChannelJudgement{{}}, j.Channels...)
	}
	out := written(t, report.Style{Width: 80}, func(p *set.Sheet) { set.Inspect(p, report.NewInspection(h, a, false, nil)) })
	assert.Less(t, strings.Index(out, "pump"), strings.Index(out, "deck.tap"))
	assert.Contains(t, out, "\nand 95 silent and 186 irregular channels more; --json lists them all\n")
	out = written(t, report.Style{Width: 80}, func(p *set.Sheet) { set.Check(p, report.NewCapture(h, a, j, nil, nil), a, false) })
	assert.Contains(t, out, "3 of 305 channels judged")
	assert.Regexp(t, `and 294\s+more`, out)
	assert.Less(t, strings.Count(out, "\n"), 24, "it stays a screen")
}

// A script reads the same columns from any capture, and an unreadable one.
func TestRowsAreOneTable(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, set.RowsHead(&b))
	require.NoError(t, set.Rows(&b, report.TugCapture()))
	require.NoError(t, set.Rows(&b, report.Unreadable("keel\tbad.csv", "3:1: damaged")))
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	head := strings.Split(lines[0], "\t")
	require.Len(t, lines, 1+5+1)
	for _, line := range lines {
		assert.Len(t, strings.Split(line, "\t"), len(head), "%q", line)
	}
	of := func(line, name string) string {
		fields := strings.Split(line, "\t")
		for i, h := range head {
			if h == name {
				return fields[i]
			}
		}
		return "no column " + name
	}
	assert.Equal(t, "throttle", of(lines[1], "channel"))
	assert.Equal(t, "pass", of(lines[1], "verdict"))
	assert.Equal(t, "20000.04", of(lines[1], "period_us"))
	assert.Equal(t, "tow line", of(lines[3], "label"))
	assert.Equal(t, "", of(lines[4], "verdict"), "a silent channel is not judged")
	assert.Equal(t, "", of(lines[4], "width_min_us"))
	assert.Equal(t, `keel\tbad.csv`, of(lines[6], "file"))
	assert.Equal(t, "3:1: damaged", of(lines[6], "error"))
}

func TestQuiet(t *testing.T) {
	of := func(c *report.Capture) string {
		var b bytes.Buffer
		require.NoError(t, set.Quiet(&b, c))
		return b.String()
	}
	c := report.TugCapture()
	assert.Equal(t, "fail\ttug.csv\twinch alone was silent for 0.4 s while the other channels went on.\n", of(c))
	c.Verdict, c.Events[0].Severity = "pass", "warn"
	assert.Equal(t, "pass\ttug.csv\t1 warning: winch alone was silent for 0.4 s while the other channels went on.\n", of(c))
	c.Events = nil
	assert.Equal(t, "pass\ttug.csv\tNothing was found in the 61 s that were seen.\n", of(c))
	c.Verdict = "undecided"
	assert.Equal(t, "undecided\ttug.csv\tSomething that was not judged keeps time with what was: see the notes, and name it with --channel.\n", of(c))
	c.Channels[0].Verdict = "undecided"
	assert.Equal(t, "undecided\ttug.csv\tToo little was seen to pass: throttle (3060 frames).\n", of(c))
	assert.Equal(t, "unreadable\tx.csv\tno such file\n", of(report.Unreadable("x.csv", "no such file")))
}

// Lines of many captures stand below one another, whatever their names.
func TestSeveralAreAligned(t *testing.T) {
	names := []string{"lab/ann/tug.csv", "lab/bob/a capture with quite a long name.csv", "lab/bad.csv"}
	for _, width := range []int{76, 80, 120, 200} {
		s := set.NewSeveral(report.Style{Width: width}, names)
		var b bytes.Buffer
		require.NoError(t, s.Head(&b))
		for _, name := range names[:2] {
			c := report.TugCapture()
			c.File = name
			require.NoError(t, s.Capture(&b, c))
		}
		require.NoError(t, s.Capture(&b, report.Unreadable(names[2], "3:1: damaged")))
		lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
		require.Len(t, lines, 5)
		assert.Equal(t, "in lab/", lines[0])
		at := strings.Index(lines[1], "what happened")
		for _, line := range lines[1:] {
			assert.LessOrEqual(t, text.StringWidthWithoutEscSequences(line), width, "%q", line)
		}
		for _, line := range lines[2:4] {
			assert.True(t, strings.HasPrefix(string([]rune(line)[at:]), "wire: winch"), "%q", line)
		}
		assert.True(t, strings.HasPrefix(string([]rune(lines[4])[at:]), "3:1: damaged"), "%q", lines[4])
	}
}
