package vcd_test

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/vcd"
	"widthwise/report"
)

// busyText is three seconds of a servo channel beside a clock that runs at
// first, stops, and goes on.
func busyText(hertz int, stop, goOn decode.Time) string {
	var b strings.Builder
	b.WriteString("$timescale 1 ns $end\n$var wire 1 ! throttle $end\n$var wire 1 \" clock $end\n$enddefinitions $end\n#1000\n0!\n0\"\n")
	step := decode.Second / decode.Time(2*hertz)
	for n := decode.Time(1); n*step < 3*decode.Second; n++ {
		at := n * step
		fmt.Fprintf(&b, "#%d\n", at/decode.Nanosecond)
		if at < stop || at > goOn {
			fmt.Fprintf(&b, "%d\"\n", n%2)
		}
		if frame := at % (20 * decode.Millisecond); frame < step {
			b.WriteString("1!\n")
		} else if frame >= 1500*decode.Microsecond && frame < 1500*decode.Microsecond+step {
			b.WriteString("0!\n")
		}
	}
	return b.String()
}

// analysed is what is said of a dump, from an instant on if one is given, its time
// step, and how many counts it was handed out with.
func analysed(t *testing.T, text string, plain bool, from *decode.Time) (document string, step float64, counts int) {
	in, err := capture.NewInput(strings.NewReader(text), "text")
	require.NoError(t, err)
	in.Plain, in.Ahead = plain, ahead.How{Size: 1 << 20} // where a second may be busy however it is written
	s, err := vcd.Open(in, capture.Options{})
	require.NoError(t, err)
	defer s.Close()
	recording, err := decode.Decode(context.Background(), &counted{s, &counts}, decode.Settings{From: from})
	require.NoError(t, err)
	analysis := recording.Analyse()
	var b bytes.Buffer
	require.NoError(t, report.WriteJSON(&b, report.NewCapture(s.Header(), analysis, analysis.Judge(decode.PerChannel[decode.Limits]{}), nil, nil)))
	return b.String(), analysis.Resolution, counts
}

// requireCountsAreEdges holds a dump whose busy seconds may be counted against one
// whose edges are all listed.
func requireCountsAreEdges(t *testing.T, text string, from *decode.Time) (step float64, counts int) {
	t.Helper()
	want, step, none := analysed(t, text, true, from)
	got, counted, counts := analysed(t, text, false, from)
	require.Zero(t, none)
	require.Equal(t, want, got)
	require.Equal(t, step, counted)
	return step, counts
}

// TestCountsAreEdges: the analysis is the same whether busy seconds are counted
// or listed, wherever a clock begins and ends within them.
func TestCountsAreEdges(t *testing.T) {
	for _, c := range []struct {
		hertz      int
		stop, goOn decode.Time
	}{
		{40_000, 3 * decode.Second, 3 * decode.Second},
		{30_000, 1300 * decode.Millisecond, 1700 * decode.Millisecond},
		{80_000, 0, 2300 * decode.Millisecond},
	} {
		_, counts := requireCountsAreEdges(t, busyText(c.hertz, c.stop, c.goOn), nil)
		require.Positive(t, counts, "nothing was counted")
	}
}

// TestOneGridOfSeconds: counts are of the seconds since the capture began, at
// whatever instant, and so serve nobody who begins elsewhere, whose seconds are
// others.
func TestOneGridOfSeconds(t *testing.T) {
	text := busyText(40_000, 3*decode.Second, 3*decode.Second)
	for _, from := range []decode.Time{-decode.Second, 0, 900 * decode.Millisecond, decode.Second, 1300 * decode.Millisecond} {
		requireCountsAreEdges(t, text, &from)
	}
	head, _, _ := strings.Cut(text, "#")
	late := busyText(40_000, 1300*decode.Millisecond, 1700*decode.Millisecond)
	_, counts := requireCountsAreEdges(t, head+late[strings.Index(late, "#300000000\n"):], nil)
	require.Positive(t, counts, "nothing was counted")
}

// TestCountsAfterRestatedLevels: where a piece begins with a level that holds
// already, that is no edge, and no count begins with it.
func TestCountsAfterRestatedLevels(t *testing.T) {
	var text strings.Builder
	text.WriteString("$timescale 1 ns $end\n$var wire 1 ! clock $end\n$enddefinitions $end\n#1000\n0!\n")
	for n := 1; n < 200_000; n++ {
		fmt.Fprintf(&text, "#%d\n%d!\n#%d\n%d!\n", 10_000*n, n%2, 10_000*n+5000, n%2)
	}
	_, counts := requireCountsAreEdges(t, text.String(), nil)
	require.Positive(t, counts, "nothing was counted")
}

// TestTimeStepBesideABusyLine: the time step is found from seconds that are not
// busy, whose edges are listed whoever reads them. Here servo pulses lie on whole
// microseconds and a clock beside them does not.
func TestTimeStepBesideABusyLine(t *testing.T) {
	edges := map[int]string{}
	for n := range 200_000 {
		edges[12_503*n+7] = fmt.Sprintf("%d\"\n", n%2)
	}
	for n := range 120 {
		start := 20_000_000 * n
		edges[start], edges[start+1_500_000+1000*(n%3)] = "1!\n", "0!\n"
	}
	text := "$timescale 1 ns $end\n$var wire 1 ! throttle $end\n$var wire 1 \" clock $end\n$enddefinitions $end\n"
	var b strings.Builder
	for _, at := range slices.Sorted(maps.Keys(edges)) {
		fmt.Fprintf(&b, "#%d\n%s", at, edges[at])
	}
	step, counts := requireCountsAreEdges(t, text+b.String(), nil)
	require.Positive(t, counts, "nothing was counted")
	require.EqualValues(t, 1, step, "microseconds")
}

// counted counts the counts of a source.
type counted struct {
	decode.Source
	counts *int
}

func (c *counted) Next() (*decode.Block, error) {
	b, err := c.Source.Next()
	if err == nil {
		*c.counts += len(b.Counts)
	}
	return b, err
}
