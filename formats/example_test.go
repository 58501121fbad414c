package formats_test

import (
	"fmt"
	"io"
	"log"

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
