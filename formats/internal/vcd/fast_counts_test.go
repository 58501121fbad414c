package vcd_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
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
		text := busyText(c.hertz, c.stop, c.goOn)
		var all []string
		counts := 0
		for _, plain := range []bool{true, false} {
			in, err := capture.NewInput(strings.NewReader(text), "text")
			require.NoError(t, err)
			in.Plain = plain
			s, err := vcd.Open(in, capture.Options{})
			require.NoError(t, err)
			recording, err := decode.Decode(context.Background(), &counted{s, &counts}, decode.Settings{})
			require.NoError(t, err)
			analysis := recording.Analyse()
			var b bytes.Buffer
			require.NoError(t, report.WriteJSON(&b, report.NewCapture(s.Header(), analysis, analysis.Judge(decode.PerChannel[decode.Limits]{}), nil, nil)))
			all = append(all, b.String())
			require.NoError(t, s.Close())
		}
		require.Equal(t, all[0], all[1])
		require.Positive(t, counts, "nothing was counted")
	}
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
