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

var (
	verdictLine = regexp.MustCompile(`(?m)^# verdict: (\w+)$`)
	findsLine   = regexp.MustCompile(`(?m)^# finds: (.+)$`)
)

// Each file of testdata/scenarios says in its head what must come of it: the
// verdict, and every finding that warns or fails, as channel:kind.
func TestScenariosComeToTheirVerdict(t *testing.T) {
	files, err := filepath.Glob("../testdata/scenarios/*.toml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 15)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			verdict, finds := verdictLine.FindSubmatch(text), findsLine.FindSubmatch(text)
			require.True(t, verdict != nil && finds != nil, "no verdict and finds in the head")
			r, err := formats.Open(file, formats.Options{})
			require.NoError(t, err)
			defer r.Close()
			recording, err := decode.Decode(context.Background(), r, decode.Settings{})
			require.NoError(t, err)
			j := recording.Analyse(decode.PerChannel[decode.Expect]{}).Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
			assert.Equal(t, string(verdict[1]), string(j.Outcome))
			found := []string{}
			for _, f := range j.Findings {
				for _, c := range f.Channels {
					if word := c + ":" + string(f.Kind); f.Severity != decode.Note && !slices.Contains(found, word) {
						found = append(found, word)
					}
				}
			}
			want := strings.Fields(string(finds[1]))
			if want[0] == "nothing" {
				want = nil
			}
			assert.ElementsMatch(t, want, found)
		})
	}
}
