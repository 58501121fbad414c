package formats_test

import (
	"context"
	"fmt"
	"io"
	"log"

	"widthwise/decode"
	"widthwise/formats"
)

// Prints when the levels of two channels change. A run opens with a level and
// goes on with the opposite one at each further instant.
func Example() {
	r, err := formats.Open("../testdata/vcd/spellings/plain.vcd", formats.Options{Select: []string{"throttle", "winch"}})
	if err != nil {
		log.Fatal(err)
	}
	defer r.Close()
	channels := r.Channels()
	for {
		block, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			log.Fatal(err)
		}
		for _, run := range block.Runs {
			level := run.First
			for _, at := range run.At {
				fmt.Printf("%-8s is %-7s from %s s\n", channels[run.Channel].Name, level, at.Seconds(4))
				level = level.Other()
			}
		}
	}
	fmt.Println("ends at", r.Origin().End.Seconds(4), "s")
	// Output:
	// throttle is low     from 0.0000 s
	// throttle is high    from 0.0010 s
	// throttle is low     from 0.0025 s
	// throttle is high    from 0.0210 s
	// throttle is low     from 0.0226 s
	// winch    is high    from 0.0000 s
	// winch    is low     from 0.0040 s
	// winch    is high    from 0.0055 s
	// winch    is unknown from 0.0240 s
	// winch    is high    from 0.0250 s
	// ends at 0.0400 s
}

// Opens a capture, decodes and judges it, and prints each pulse of the channels
// that were judged.
func Example_pulses() {
	r, err := formats.Open("../testdata/scenarios/three-pulses.toml", formats.Options{Select: []string{"rudder"}})
	if err != nil {
		log.Fatal(err)
	}
	defer r.Close()
	recording, err := decode.Decode(context.Background(), r, decode.Settings{})
	if err != nil {
		log.Fatal(err)
	}
	analysis := recording.Analyse()
	judgement := analysis.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
	for i, c := range analysis.Channels {
		for p := range c.Pulses() {
			fmt.Println(c.Name, p.Start.Seconds(6), "s", p.Width.Micros(1), "us")
		}
		fmt.Println(judgement.Channels[i].Outcome)
	}
	// Output:
	// rudder 0.011000 s 1500.0 us
	// rudder 0.033000 s 1500.0 us
	// rudder 0.055000 s 1500.0 us
	// fail
}

// The header tells what a capture holds before its samples are read.
func ExampleReader_Header() {
	r, err := formats.Open("../testdata/vcd/example-4state.vcd", formats.Options{Also: []string{"haul[3]"}})
	if err != nil {
		log.Fatal(err)
	}
	defer r.Close()
	fmt.Println(r.Header().Format, r.Header().Dialect)
	for _, v := range r.Header().Variables {
		fmt.Println(v.Path, v.Kind, v.Width, v.Selected)
	}
	// Output:
	// vcd value change dump, timescale 1 ns
	// yard.quay.rope1 digital 1 true
	// yard.quay.rope2 digital 1 true
	// yard.quay.rope3 digital 1 true
	// yard.tug.haul vector 32 true
	// yard.tug.mark vector 32 false
}
