package diagnose_test

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"

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
		a, j := analysed(t, steps)
		complete(t, j, diagnose.Explain(a, j))
	}
}

// analysed reads three lines and judges them.
func analysed(t testing.TB, steps []byte) (*decode.Analysis, *decode.Judgement) {
	t.Helper()
	r, err := formats.NewReader(strings.NewReader(threeLines(steps)), "steps", formats.Options{})
	require.NoError(t, err)
	return judged(t, r)
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

// Whatever is found, on whatever channels and whenever, it is explained once and
// twice in the same way. The findings are drawn, eight bytes each; the analysis
// they are of is that of a capture with gaps, late pulses and noise.
func FuzzExplain(f *testing.F) {
	all := func(severity byte) (drawn []byte) {
		for k := range decode.Kinds {
			drawn = append(drawn, byte(k), severity, byte(1+k%7), byte(9*k), 3, byte(k), 2, 0)
		}
		return drawn
	}
	f.Add([]byte{})
	f.Add(all(1))
	f.Add(all(2))
	f.Add([]byte(strings.Repeat("\x11\x02\x01\x10\x05\x02\x01\x00\x12\x02\x07\x12\x40\x01\x01\x00", 8)))
	steps := make([]byte, 300)
	for i, s := range []byte{7, 1, 2, 4, 0x38, 0x79, 0xc0, 0x40, 0x80, 3} {
		steps[20+25*i] = s
	}
	a, j := analysed(f, steps)
	f.Fuzz(func(t *testing.T, drawn []byte) {
		drawn = drawn[:min(len(drawn), 8*60)]
		found := *j
		found.Findings = nil
		for ; len(drawn) >= 8; drawn = drawn[8:] {
			found.Findings = append(found.Findings, finding(a, drawn))
		}
		slices.SortStableFunc(found.Findings, func(x, y decode.Finding) int { return cmp.Compare(x.Start, y.Start) })
		events := diagnose.Explain(a, &found)
		once(t, &found, events)
		for _, e := range events {
			require.True(t, e.Cause != "software-timing" || len(e.Evidence) > 0, "told of findings that another cause has taken: %s", e.Story)
		}
		require.Equal(t, events, diagnose.Explain(a, &found))
	})
}

// Kinds that no judge warns of, and those that speak of several channels.
var (
	onlyNoted = []decode.Kind{decode.SharedLoss, decode.EdgeChatter, decode.UnknownLevel, decode.FewFrames, decode.StartUp, decode.StartMoved,
		decode.FrozenWidth, decode.CoarseSampling}
	onSeveral = []decode.Kind{decode.SharedLoss, decode.SharedHold, decode.CoarseSampling}
)

// finding draws one from eight bytes: kind, severity, channels, start and
// duration in parts of the capture, count, and how what was measured stands to
// the limit.
func finding(a *decode.Analysis, drawn []byte) decode.Finding {
	span := a.End - a.Start
	f := decode.Finding{Kind: decode.Kinds[int(drawn[0])%len(decode.Kinds)], Count: int64(drawn[5]) + 1, Unit: "ms", Message: "drawn"}
	if f.Severity = decode.Note; !slices.Contains(onlyNoted, f.Kind) {
		f.Severity = []decode.Severity{decode.Note, decode.Warn, decode.Fail}[drawn[1]%3]
	}
	for i, c := range a.Channels {
		several := slices.Contains(onSeveral, f.Kind) && i != int(drawn[2]>>2)%len(a.Channels) // all but one
		if several || f.Kind != decode.UnevenTime && i == int(drawn[2])%len(a.Channels) {
			f.Channels = append(f.Channels, c.Name)
		}
	}
	f.Start = a.Start + span*decode.Time(drawn[3])/256
	f.End = min(f.Start+span*decode.Time(drawn[4])*decode.Time(drawn[4])/65536, a.End)
	f.Measured, f.Limit = 20*float64(drawn[6]), 20
	if drawn[7] > 0 {
		f.Measured, f.Limit = math.NaN(), math.NaN()
	}
	return f
}
