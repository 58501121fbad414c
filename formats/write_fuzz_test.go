package formats

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/sourcetest"
)

// FuzzConvert: whatever can be read can be written, and comes back with the
// same edges, channel by channel.
func FuzzConvert(f *testing.F) {
	f.Add([]byte("time [ms],throttle,rudder\n0,0,1\n1.5,1,1\n3,0,0\n4,0,x\n"))
	f.Add([]byte("-0.001;0\n0,5;1\n1;0\n"))
	f.Add([]byte("time [ 1],000000,000000\n1,0,1\n1,0,0\n")) // names that are numbers and repeat
	f.Add([]byte("e ! i T\td\n, r\xf0\xb7e L 1 T"))          // one row, of a channel named as what counts rows
	f.Add([]byte("$timescale 1 us $end\n$var wire 1 ! a $end\n$var wire 1 \" b $end\n$enddefinitions $end\n#3\n1!\n#5\n0!x\"\n#5\n1!\n#9\n"))
	f.Add([]byte("time[],,a\n1,0,1\n1,x,1\n")) // a level of no duration, and then none
	f.Add([]byte(twoServos + "kind = \"unknown-level\"\nfor = \"1s\"\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > fuzzed {
			return
		}
		want, ok := lanesOf(text)
		if !ok {
			return
		}
		for name, write := range writers {
			r, err := NewReader(bytes.NewReader(text), "drawn", Options{})
			require.NoError(t, err)
			var out bytes.Buffer
			err = write(&out, r)
			if name == "vcd" && err != nil {
				var usage *UsageError
				require.ErrorAs(t, err, &usage)
				continue
			}
			require.NoError(t, err)
			got, ok := lanesOf(out.Bytes())
			require.True(t, ok, "%q\ncannot be read", &out)
			require.Equal(t, want, got, "%s", &out)
		}
	})
}

// settled adds a change, unless it is none, to changes without levels of no
// duration.
func settled(lane []sourcetest.Change, c sourcetest.Change) []sourcetest.Change {
	if last := len(lane) - 1; last >= 0 && lane[last].At == c.At {
		lane = lane[:last]
	}
	before := decode.Unknown
	if len(lane) > 0 {
		before = lane[len(lane)-1].Level
	}
	switch {
	case c.Level != before:
		return append(lane, c)
	case len(lane) == 0:
		return nil // as where nothing was added at all
	}
	return lane
}

// lanesOf reads the changes of each channel by number, if text is a small
// capture with a channel.
func lanesOf(text []byte) ([][]sourcetest.Change, bool) {
	r, err := NewReader(bytes.NewReader(text), "drawn", Options{})
	if err != nil {
		return nil, false
	}
	defer r.Close()
	lanes := make([][]sourcetest.Change, len(r.Channels()))
	for edges := 0; edges < 10_000; {
		b, err := r.Next()
		if err == io.EOF {
			return lanes, len(lanes) > 0
		}
		if err != nil {
			return nil, false
		}
		for _, run := range b.Runs {
			level := run.First
			for _, at := range run.At {
				edges++
				lanes[run.Channel] = settled(lanes[run.Channel], sourcetest.Change{At: at, Level: level})
				level = level.Other()
			}
		}
		edges++ // silence ends as well
	}
	return nil, false
}
