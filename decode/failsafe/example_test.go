package failsafe_test

import (
	"context"
	"fmt"
	"strings"

	"widthwise/decode"
	"widthwise/decode/failsafe"
	"widthwise/formats"
)

// A tug's transmitter is switched off at 10 s; its throttle is to end at 1000 us.
func ExampleExamine() {
	reader, err := formats.NewReader(strings.NewReader(tug(1700, `does = "preset", after = "1s", width_us = 1000`, "")), "tug.toml", formats.Options{})
	if err != nil {
		panic(err)
	}
	recording, err := decode.Decode(context.Background(), reader, decode.Settings{})
	if err != nil {
		panic(err)
	}
	a := recording.Analyse()
	off, on := 10*decode.Second, 16*decode.Second
	trial := failsafe.Examine(a, a.Channels, failsafe.Question{
		Off: &off, On: &on,
		Safe: map[string][]failsafe.Safe{"throttle": {{From: failsafe.Flag, Width: 1000}}},
	})
	for _, c := range trial.Channels {
		fmt.Printf("%s %s: %s\n", c.Name, c.Verdict, c.Reason)
	}
	// Output: throttle pass: goes from 1700 us to 1000 us after 1.01 s, which is safe
}
