package vcd

import (
	"fmt"
	"math/rand"
	"strings"
	"testing"

	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
)

// BenchmarkSpans reads one piece of a dump as a worker does, in nanoseconds a
// time stamp with what changes: a clock of 2 MHz, one that jitters, two lines that
// change in turn, and a line beside a clock.
func BenchmarkSpans(b *testing.B) {
	const stamps = 40_000
	r := rand.New(rand.NewSource(1))
	for _, c := range []struct {
		name    string
		counted bool
		jitter  int
		changes func(i int) string
	}{
		{"listed", false, 0, func(i int) string { return fmt.Sprintf("%d*\n", i%2) }},
		{"counted", true, 0, func(i int) string { return fmt.Sprintf("%d*\n", i%2) }},
		{"jitters", true, 100, func(i int) string { return fmt.Sprintf("%d*\n", i%2) }},
		{"in turn", true, 100, func(i int) string { return fmt.Sprintf("%d%c\n", i/2%2, "!*"[i%2]) }},
		{"together", true, 100, func(i int) string {
			return fmt.Sprintf("%d*\n", i%2) + strings.Repeat(fmt.Sprintf("%d!\n", i/2%2), i%2)
		}},
	} {
		var text strings.Builder
		text.WriteString("$timescale 1 ns $end\n$var wire 1 ! a $end\n$var wire 1 * clock $end\n$enddefinitions $end\n#0\n0!\n0*\n")
		from := text.Len()
		for i := range stamps {
			fmt.Fprintf(&text, "#%d\n%s", 1_234_567_000+250*i+r.Intn(1+c.jitter), c.changes(i))
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
		s.busy[0], s.busy[1] = c.counted, c.counted
		piece := append([]byte(text.String()[from:]), make([]byte, ahead.Slack)...)
		piece = piece[:len(piece)-ahead.Slack]
		b.Run(c.name, func(b *testing.B) {
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
