package decode_test

import (
	"context"
	"fmt"
	"log"

	"widthwise/decode"
	"widthwise/formats"
)

// A capture is opened, decoded once, measured and judged.
func Example() {
	capture, err := formats.Open("../testdata/benches/dropouts/capture.vcd", formats.Options{})
	if err != nil {
		log.Fatal(err)
	}
	defer capture.Close()
	recording, err := decode.Decode(context.Background(), capture, decode.Settings{})
	if err != nil {
		log.Fatal(err)
	}
	analysis := recording.Analyse()
	judgement := analysis.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
	for i, c := range analysis.Channels {
		fmt.Printf("%s: %s, %d frames of %.3f ms, %d dropped, %d losses: %s\n",
			c.Name, c.Signal, c.FrameCount, c.Period.Nominal/1000, c.DroppedCount, c.LossCount, judgement.Channels[i].Outcome)
	}
	for pulse := range analysis.Channels[0].Pulses() {
		fmt.Printf("%s s: %s us\n", pulse.Start.Seconds(6), pulse.Width.Micros(3))
		if pulse.Start > 50*decode.Millisecond {
			break
		}
	}
	fmt.Println(judgement.Findings[0].Message)
	// Output:
	// winch: servo, 218 frames of 22.000 ms, 0 dropped, 2 losses: fail
	// throttle: servo, 236 frames of 22.000 ms, 3 dropped, 1 losses: fail
	// rudder: servo, 236 frames of 22.000 ms, 3 dropped, 1 losses: fail
	// 0.008000 s: 1999.750 us
	// 0.030000 s: 1999.750 us
	// 0.052000 s: 1999.750 us
	// 1 frame missing: 44.0 ms between pulses where 22.0 ms is usual
}
