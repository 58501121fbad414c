package vcd

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

// linesOf writes a dump of two channels and a vector that nobody asks for: lines
// of stamps, each with a change behind it.
func linesOf(stamps int) []string {
	lines := strings.SplitAfter("$timescale 1 us $end\n$var wire 1 ! throttle $end\n$var wire 1 \" rudder $end\n$var wire 9 # bus $end\n$enddefinitions $end\n#0\n0!\n0\"\n", "\n")
	lines = lines[:len(lines)-1]
	for n := range stamps {
		change := fmt.Sprintf("%d!\n", (n+1)%2)
		switch n % 10 {
		case 4:
			change = fmt.Sprintf("%d\"\n", n/10%2)
		case 7:
			change = fmt.Sprintf("b%b #\n", n%512)
		}
		lines = append(lines, fmt.Sprintf("#%d\n", 990_000+250*n+n%3), change)
	}
	return lines
}

// TestDamagedLine: no change of a line is booked before all of the line was
// checked, and what a line only looks like is not what it is.
func TestDamagedLine(t *testing.T) {
	for _, c := range []struct{ name, line, with, says string }{
		{"a code that nothing declares", "1!\n", "1?\n", "?"},
		{"a longer code", "1!\n", "1!!\n", "!!"},
		{"no code", "1!\n", "1\n", "without an identifier code"},
		{"another change on the line", "1!\n", "1! 0!\n", ""},
		{"a blank behind the change", "1!\n", "1! \n", ""},
		{"an unknown level", "1!\n", "x!\n", ""},
		{"a level that no dump has", "1!\n", "7!\n", "7!"},
		{"a stamp that goes back", "#1", "#", "goes back"},
		{"a stamp beyond the second, behind which time goes back", "#1", "#2", "goes back"},
		{"a stamp that is none", "#1", "#1o", "#1o"},
		{"a stamp that is cut", "#1", "#\n", "#"},
		{"a vector that is too long", "b", "b11111", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			lines := linesOf(900)
			at := 1200
			for ; !strings.HasPrefix(lines[at], c.line); at++ {
			}
			lines[at] = c.with + strings.TrimPrefix(lines[at], c.line)
			text := []byte(strings.Join(lines, ""))
			for _, skip := range []bool{false, true} {
				for size := 1000; size < 4000; size += 331 {
					bothWays.RequireAlike(t, text, sourcetest.Way{How: ahead.How{Size: size, Workers: 2}}, capture.Options{SkipBadRows: skip})
				}
			}
			got, _ := bothWays.Read(bytes.NewReader(text), false, sourcetest.Way{}, capture.Options{})
			require.Contains(t, got.Err, c.says)
			require.Equal(t, c.says == "", got.Err == "", got.Err)
		})
	}
}

// TestEveryEnd: wherever a dump ends, within its last lines or with them, the
// same is read of it, in pieces of any size. Some end with the text, so that an
// empty one comes last.
func TestEveryEnd(t *testing.T) {
	text := []byte(strings.Join(linesOf(800), ""))
	half := (len(text) - firstBytes) / 2 // of what is read ahead, about
	for end := len(text) - 15; end <= len(text); end++ {
		for size := half - 80; size < half-20; size++ {
			bothWays.RequireAlike(t, text[:end], sourcetest.Way{How: ahead.How{Size: size, Workers: 1}}, capture.Options{})
		}
	}
}

// TestSlowTaker: a block is its taker's until the next is asked for, however far
// the workers have gone on meanwhile.
func TestSlowTaker(t *testing.T) {
	text := []byte(strings.Join(linesOf(4000), ""))
	want, _ := bothWays.Read(bytes.NewReader(text), true, sourcetest.Way{}, capture.Options{})
	s, err := bothWays.OpenWith(bytes.NewReader(text), false, sourcetest.Way{How: ahead.How{Size: 1500, Workers: 2}}, capture.Options{})
	require.NoError(t, err)
	defer s.Close()
	got, err := sourcetest.Drain(sourcetest.Slowly(s))
	require.NoError(t, err)
	require.Equal(t, want.Changes, got)
}
