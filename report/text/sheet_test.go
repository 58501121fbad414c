package text

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"widthwise/decode"
	"widthwise/report"
	"widthwise/report/trace"
)

func TestFold(t *testing.T) {
	for _, c := range []struct {
		text         string
		first, width int
		want         []string
	}{
		{"", 10, 10, []string{""}},
		{"heave to", 10, 10, []string{"heave to"}},
		{"heave to and drop the anchor", 10, 10, []string{"heave to", "and drop", "the anchor"}},
		{"heave to and drop", 3, 10, []string{"", "heave to", "and drop"}},
		{"an unbreakablelongword here", 10, 10, []string{"an", "unbreakablelongword", "here"}},
		{"lost for 12.5 ms.", 13, 13, []string{"lost for", "12.5 ms."}},
		{"period 22.01 ± 0.02 ms, steady", 23, 23, []string{"period 22.01 ± 0.02 ms,", "steady"}},
	} {
		assert.Equal(t, c.want, fold(c.text, c.first, c.width), c.text)
	}
}

// Folding loses no word and keeps each line within its width where its words do.
func TestFoldKeepsEveryWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-zäöü]{1,12}`), 0, 30).Draw(t, "words")
		width := rapid.IntRange(12, 60).Draw(t, "width")
		lines := fold(strings.Join(words, " "), width, width)
		assert.Equal(t, strings.Join(words, " "), strings.Join(lines, " "))
		for i, line := range lines {
			if columns(line) > width {
				t.Fatalf("line of %d columns", columns(line))
			}
			if i > 0 && columns(lines[i-1])+1+columns(unbroken(line)[0]) <= width {
				t.Fatalf("%q had room in %q", line, lines[i-1])
			}
		}
	})
}

func TestFiguresHaveTheDigitsTheyCanHave(t *testing.T) {
	for _, c := range []struct {
		v, u report.Number
		want string
	}{
		{20.0123412, 0.0000412, "20.012341 ± 0.000041"},
		{20.0123412, 0.00412, "20.0123 ± 0.0041"},
		{1500.04, 12.3, "1500 ± 12"},
		{1500.04, 123, "1500 ± 123"},
		{0.2994, 0.0111, "0.299 ± 0.011"},
		{20, 0.1, "20.00 ± 0.10"},
		{20.01234567, report.Number(math.NaN()), "20.012"},
		{report.Number(math.NaN()), 1, "-"},
	} {
		assert.Equal(t, c.want, stated(c.v, c.u))
	}
	for _, c := range []struct {
		v    report.Number
		n    int
		want string
	}{{0.2994, 2, "0.30"}, {4.342, 2, "4.3"}, {123.4, 2, "123"}, {0, 2, "0"}, {22.0001, 4, "22.00"}, {-0.0312, 2, "-0.031"}, {1000, 1, "1000"}} {
		assert.Equal(t, c.want, significant(c.v, c.n))
	}
}

func TestClipAndTail(t *testing.T) {
	assert.Equal(t, "steady", clip("steady", 6))
	assert.Equal(t, "stea…", clip("steady", 5))
	assert.Equal(t, "wire…", clip("wire, and", 7), "no comma is left hanging")
	assert.Equal(t, "…ug.csv", tail("harbour/tug.csv", 7))
	assert.Equal(t, "tug.csv", tail("tug.csv", 7))
}

func TestSharedFolder(t *testing.T) {
	assert.Equal(t, "lab/", sharedFolder([]string{"lab/ann.csv", "lab/andrew/tug.csv"}))
	assert.Equal(t, "", sharedFolder([]string{"ann.csv", "andrew.csv"}))
	assert.Equal(t, `c:\lab\`, sharedFolder([]string{`c:\lab\a.csv`, `c:\lab\b.csv`}))
	assert.Equal(t, "", sharedFolder([]string{"-", "lab/a.csv"}))
}

// The pen stands as high as the width, stays down between the pulses of a train,
// and is lifted over a gap.
func TestPenFollowsTheWidth(t *testing.T) {
	at := func(us float64) trace.Column {
		w := decode.Time(us * float64(decode.Microsecond))
		return trace.Column{First: w, Last: w, Min: w, Max: w, Pulses: 1}
	}
	lifted := at(1500)
	lifted.Lifted = true
	paper := []trace.Column{{}, at(1000), {}, at(1300), at(1500), at(1700), at(2000), at(2300), {}, {}, lifted, {}}
	low, high := 1000*decode.Microsecond, 2000*decode.Microsecond
	assert.Equal(t, " ⎽⎽⎼─⎻⎺⎺  ─ ", strings.Join(heights(paper, low, high), ""))
}

// A period is told no finer than it is known, and jitter below the time step by
// that word.
func TestTableCells(t *testing.T) {
	none := report.Number(math.NaN())
	assert.Equal(t, "20.012", period(&report.Period{Nominal: 20012.4, MeanU95: 0.01}))
	assert.Equal(t, "20.01", period(&report.Period{Nominal: 20012.4, MeanU95: 20}))
	assert.Equal(t, "20.0", period(&report.Period{Nominal: 20012.4, MeanU95: 5000}))
	assert.Equal(t, "20.012", period(&report.Period{Nominal: 20012.4, MeanU95: none}))
	assert.Equal(t, "-", period(nil))
	assert.Equal(t, "changes", period(&report.Period{Nominal: 20000, Changes: []report.PeriodChange{{}}}))
	assert.Equal(t, "< step", jitter(&report.Jitter{WidthRMS: 0.2}))
	assert.Equal(t, "0.32", jitter(&report.Jitter{WidthRMS: 0.3174, Resolved: true}))
	assert.Equal(t, "-", jitter(&report.Jitter{WidthRMS: none}))
	assert.Equal(t, "1100..1900", span(&report.Width{Min: 1099.9, Max: 1900.1}))
	assert.Equal(t, "1500", span(&report.Width{Min: 1499.9, Max: 1500.1}))
}
