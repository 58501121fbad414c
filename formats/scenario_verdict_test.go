package formats_test

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats"
)

var headLine = regexp.MustCompile(`(?m)^# (verdict|finds|notes|named): (.+)$`)

// judgedByDefault are the kinds of finding that need no limits of the user's.
var judgedByDefault = []decode.Kind{
	decode.WidthOutOfRange, decode.WidthJitter, decode.WidthSpike, decode.RepeatedWidth, decode.FrozenWidth,
	decode.SharedLoss, decode.EdgeChatter, decode.UnknownLevel, decode.CoarseSampling, decode.FewFrames,
	decode.StartUp, decode.PeriodOutOfRange, decode.DroppedFrame, decode.SignalLoss, decode.Glitch,
	decode.ExtraPulse, decode.Inverted, decode.UnevenTime, decode.StuckLevel, decode.WrongSignal,
}

// Each file of testdata/scenarios says in its head what must come of it: the
// verdict, every finding that warns or fails, as channel:kind, and every note,
// none if that line is left out. Channels under "named" are asked for by name.
func TestScenariosComeToTheirVerdict(t *testing.T) {
	files, err := filepath.Glob("../testdata/scenarios/*.toml")
	require.NoError(t, err)
	seen := map[decode.Kind]bool{}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			head := scenarioHead(t, file)
			r, err := formats.Open(file, formats.Options{Also: head["named"]})
			require.NoError(t, err)
			defer r.Close()
			recording, err := decode.Decode(context.Background(), r, decode.Settings{})
			require.NoError(t, err)
			j := recording.Analyse().Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
			assert.Equal(t, head["verdict"], []string{string(j.Outcome)})
			finds, notes := []string{}, []string{}
			for _, f := range j.Findings {
				seen[f.Kind] = true
				list := &finds
				if f.Severity == decode.Note {
					list = &notes
				}
				for _, c := range f.Channels {
					if word := c + ":" + string(f.Kind); !slices.Contains(*list, word) {
						*list = append(*list, word)
					}
				}
			}
			assert.ElementsMatch(t, head["finds"], finds)
			assert.ElementsMatch(t, head["notes"], notes)
		})
	}
	for _, kind := range judgedByDefault {
		assert.True(t, seen[kind], "no scenario shows %s", kind)
	}
}

// scenarioHead reads the lists in a scenario's head; "nothing" is an empty one.
func scenarioHead(t *testing.T, file string) map[string][]string {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	head := map[string][]string{}
	for _, line := range headLine.FindAllStringSubmatch(string(text), -1) {
		head[line[1]] = strings.Fields(line[2])
	}
	require.Contains(t, head, "verdict")
	require.Contains(t, head, "finds")
	if slices.Equal(head["finds"], []string{"nothing"}) {
		head["finds"] = nil
	}
	return head
}
