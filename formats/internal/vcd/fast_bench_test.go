package vcd

import (
	"fmt"
	"strings"
	"testing"

	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
)

// BenchmarkSpans reads one piece of a dump as a worker does, in nanoseconds a
// time stamp with its change: a clock of 2 MHz, listed and counted.
func BenchmarkSpans(b *testing.B) {
	const stamps = 40_000
	var text strings.Builder
	text.WriteString("$timescale 1 ns $end\n$var wire 1 ! a $end\n$var wire 1 * clock $end\n$enddefinitions $end\n#0\n0!\n0*\n")
	from := text.Len()
	for i := range stamps {
		fmt.Fprintf(&text, "#%d\n%d*\n", 1_234_567_000+250*i, i%2)
	}
	in, err := capture.NewInput(strings.NewReader(text.String()), "bench")
	if err != nil {
		b.Fatal(err)
	}
	in.Plain = true
	opened, err := Open(in, capture.Options{})
	if err != nil {
		b.Fatal(err)
	}
	s := opened.(*source)
	piece := append([]byte(text.String()[from:]), make([]byte, ahead.Slack)...)
	piece = piece[:len(piece)-ahead.Slack]
	for _, counted := range []bool{false, true} {
		b.Run(map[bool]string{false: "listed", true: "counted"}[counted], func(b *testing.B) {
			s.busy[1] = counted
			f, out := s.newFinder(), &found{}
			b.SetBytes(int64(len(piece)))
			for b.Loop() {
				f.find(piece, out)
			}
			if len(out.spans) != 1 || out.spans[0].stamps != stamps {
				b.Fatal(len(out.spans))
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/stamps, "ns/stamp")
		})
	}
}
