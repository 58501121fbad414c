package table

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// rowsOf writes a table of channels, a row for each stamp in microseconds.
func rowsOf(stamps []int, channels int, level func(row, channel int) int) []string {
	lines := []string{"time_us"}
	for c := range channels {
		lines[0] += fmt.Sprintf(",D%d", c)
	}
	for i, at := range stamps {
		line := fmt.Sprint(at)
		for c := range channels {
			line += fmt.Sprintf(",%d", level(i, c))
		}
		lines = append(lines, line)
	}
	return lines
}

// stampsOf counts rows in microseconds from 1000 on, with a step of two after
// every so many of one.
func stampsOf(rows, every int) (all []int) {
	for i := range rows {
		all = append(all, 1000+i+i/every)
	}
	return all
}

// The tables below: sampled evenly, where strides are found, and with a row for
// each change, where spans are.
func sampled(rows int) []string {
	return rowsOf(stampsOf(rows, rows+1), 3, func(row, c int) int { return row / (30 + c) % 2 })
}

func changing(rows, channels int) []string {
	return rowsOf(stampsOf(rows, 13), channels, func(row, c int) int { return (row + c) / channels % 2 })
}

// damage is a table with one line that is not what the fast paths expect.
type damage struct {
	name  string
	lines []string
	at    int // of the lines
	line  func(before string) string
	says  string // the error of a reader that does not skip it; none if that is right
}

var damagedLines = []damage{
	{"a comment that looks like a row that repeats the levels", sampled(100), 50, func(line string) string { return "#" + line }, ""},
	{"a stamp that ends in a blank", sampled(100), 50, func(string) string { return "1010 ,1,1,1" }, `text:51:1: time goes back to "1010"; stamps in order`},
	{"damage behind eight bytes of levels of which one changes", changing(100, 12), 50, otherEnd("q"), `"q" is not a level`},
	{"a row that is too long behind them", changing(100, 12), 50, otherEnd("0,0"), "14 cells where the rows before have 13"},
	{"an unknown level behind them", changing(100, 12), 50, otherEnd("x"), ""},
	{"damage behind 64 bytes of levels", changing(200, 40), 80, otherEnd("q"), `"q" is not a level`},
	{"a stamp too long for a word", changing(100, 3), 50, func(line string) string { return "00000000000000" + line }, ""},
}

// otherEnd puts something in the place of the last level.
func otherEnd(with string) func(string) string {
	return func(line string) string { return line[:len(line)-1] + with }
}

// TestDamagedLine: no edge and no count of a row is booked before all of it was
// checked, and what a row only looks like is not what it is.
func TestDamagedLine(t *testing.T) {
	for _, c := range damagedLines {
		t.Run(c.name, func(t *testing.T) {
			lines := append([]string{}, c.lines...)
			lines[c.at] = c.line(lines[c.at])
			text := []byte(strings.Join(lines, "\n") + "\n")
			for _, skip := range []bool{false, true} {
				for size := 100; size < 2000; size += 331 {
					require.True(t, bothWays.RequireAlike(t, text, sourcetest.Way{How: ahead.How{Size: size, Workers: 2}, Settle: 5}, capture.Options{SkipBadRows: skip}))
				}
			}
			got, _ := bothWays.Read(bytes.NewReader(text), false, sourcetest.Way{Settle: 5}, capture.Options{})
			require.Contains(t, got.Err, c.says)
			require.Equal(t, c.says == "", got.Err == "")
		})
	}
}

// TestEveryEnd: wherever a table ends, within its last lines or with them, the
// same is read of it and the same said to be cut off, in pieces of any size. Some
// end with the text, so that an empty one comes last, even behind a line without
// an end that is longer than pieces are.
func TestEveryEnd(t *testing.T) {
	for _, c := range []struct {
		lines      []string
		from, upTo int // sizes of a piece
	}{
		{sampled(60), 300, 340}, {changing(60, 3), 300, 340}, {changing(14, 100), 38, 52}, // four to five to a line
	} {
		text := []byte(strings.Join(c.lines, "\n") + "\n")
		for end := len(text) - 15; end <= len(text); end++ {
			for size := c.from; size < c.upTo; size++ {
				bothWays.RequireAlike(t, text[:end], sourcetest.Way{How: ahead.How{Size: size, Workers: 1}, Settle: 4}, capture.Options{})
			}
		}
	}
}

// TestFirstRowOfAPiece: whether the first row of a piece changes a level is told
// by the row before the piece. Three rows of four that change nothing make samples
// of uneven rows; one row fewer, and they are changes.
func TestFirstRowOfAPiece(t *testing.T) {
	var stamps []int
	for i := range 601 {
		stamps = append(stamps, 1000+40*i+i%3*i%7)
	}
	for _, rows := range []int{600, 601} {
		lines := rowsOf(stamps[:rows], 3, func(row, c int) int { return (row/4 + c) / 3 % 2 })
		text := []byte(strings.Join(lines, "\n") + "\n")
		for size := 300; size < 330; size++ {
			require.True(t, bothWays.RequireAlike(t, text, sourcetest.Way{How: ahead.How{Size: size, Workers: 1}, Settle: 5}, capture.Options{}))
		}
		got, _ := bothWays.Read(bytes.NewReader(text), false, sourcetest.Way{How: ahead.How{Size: 300}, Settle: 5}, capture.Options{})
		require.Equal(t, rows > 600, got.Origin.ChangesOnly)
	}
}

// TestSlowTaker: a block is its taker's until the next is asked for, however far
// the workers have gone on meanwhile.
func TestSlowTaker(t *testing.T) {
	text := strings.Join(changing(1500, 3), "\n") + "\n"
	want, _ := bothWays.Read(strings.NewReader(text), true, sourcetest.Way{Settle: 5}, capture.Options{})
	in, err := capture.NewInput(strings.NewReader(text), "text")
	require.NoError(t, err)
	in.Ahead, in.Settle = ahead.How{Size: 600, Workers: 2}, 5
	s, err := Open(in, capture.Options{})
	require.NoError(t, err)
	defer s.Close()
	got, err := sourcetest.Drain(sourcetest.Slowly(s))
	require.NoError(t, err)
	require.Equal(t, want.Changes, got)
}
