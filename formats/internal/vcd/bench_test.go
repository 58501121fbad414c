package vcd

import (
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/capture"
)

// BenchmarkVCD reads dumps of frames that carry three servo pulses, alone and
// among variables that are not selected.
func BenchmarkVCD(b *testing.B) {
	head := "$timescale 1 ns $end\n$scope module tug $end\n$var wire 1 ! throttle $end\n$var wire 1 \" rudder $end\n" +
		"$var wire 1 # winch $end\n$var reg 32 $ count [31:0] $end\n$var wire 1 % clock $end\n$upscope $end\n$enddefinitions $end\n"
	pulses := func(t *strings.Builder, frame int) {
		at := frame * 20_000_000
		for i, code := range `!"#` {
			fmt.Fprintf(t, "#%d\n1%c\n#%d\n0%c\n", at+i*2_000_000, code, at+i*2_000_000+1_500_000+frame%7, code)
		}
	}
	for _, c := range []struct {
		name  string
		body  func(t *strings.Builder, frame int)
		o     capture.Options
		edges int // of a frame
	}{
		{"pulses", pulses, capture.Options{}, 6},
		{"among others", func(t *strings.Builder, frame int) {
			pulses(t, frame)
			at := frame*20_000_000 + 6_000_000
			for i := range 40 {
				fmt.Fprintf(t, "#%d\n%d%%\nb%b $\n", at+i*1000, i%2, frame*40+i)
			}
		}, capture.Options{Select: []string{"throttle", "rudder", "winch"}}, 6},
		{"bits", func(t *strings.Builder, frame int) {
			for i := range 8 {
				fmt.Fprintf(t, "#%d\nb%b $\n", (frame*8+i)*1000, frame*8+i)
			}
		}, capture.Options{Select: []string{"count[0]"}}, 8},
	} {
		b.Run(c.name, func(b *testing.B) {
			const frames = 20_000
			var text strings.Builder
			text.WriteString(head)
			for frame := range frames {
				c.body(&text, frame)
			}
			b.SetBytes(int64(text.Len()))
			b.ReportAllocs()
			for b.Loop() {
				s, err := Open(vcdInput(text.String()), c.o)
				require.NoError(b, err)
				edges := 0
				for {
					block, err := s.Next()
					if err == io.EOF {
						break
					}
					require.NoError(b, err)
					for _, run := range block.Runs {
						edges += len(run.At)
					}
				}
				require.InDelta(b, frames*c.edges, edges, 100)
			}
			b.ReportMetric(float64(frames*c.edges*b.N)/b.Elapsed().Seconds(), "edges/s")
		})
	}
}
