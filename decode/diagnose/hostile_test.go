package diagnose_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/formats"
)

// However a capture is made, each of its findings of warn or fail is in exactly
// one event. Each byte is a step of three lines that pulse every 20 ms: what
// comes on which of them.
func TestAnythingIsExplained(t *testing.T) {
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 3))
		steps := make([]byte, 40+rng.IntN(300))
		for i := range steps {
			if rng.Float64() < 0.02*float64(seed%16) {
				steps[i] = byte(rng.Uint32())
			}
		}
		r, err := formats.NewReader(strings.NewReader(threeLines(steps)), "steps", formats.Options{})
		require.NoError(t, err)
		rec, err := decode.Decode(context.Background(), r, decode.Settings{})
		require.NoError(t, err)
		require.NoError(t, r.Close())
		a := rec.Analyse()
		j := a.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
		complete(t, j, diagnose.Explain(a, j))
	}
}

// threeLines writes a table of changes. The low three bits of a step silence a
// line each; the rest put a disturbance on the line that they choose.
func threeLines(steps []byte) string {
	var b strings.Builder
	b.WriteString("time [us],throttle,rudder,winch\n0,0,0,0\n")
	row := func(us int, levels [3]int) { fmt.Fprintf(&b, "%d,%d,%d,%d\n", us, levels[0], levels[1], levels[2]) }
	for i, s := range steps {
		at := 20000*i + 1000
		odd := int(s>>3) % 3
		for c := range 3 {
			if s>>c&1 == 1 {
				continue
			}
			start, width := at+2300*c, 1200+100*c
			if c == odd {
				start, width = start+[]int{0, 800 * c * (c - 1), 0, 0}[s>>6], width+[]int{0, 0, 180, 800}[s>>6]
			}
			var up, down [3]int
			up[c] = 1
			row(start, up)
			row(start+width, down)
		}
		if s&0x38 == 0x38 {
			var up [3]int
			up[odd] = 1
			row(at+12000, up)
			row(at+12040+int(s), [3]int{})
		}
	}
	return b.String()
}
