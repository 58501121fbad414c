package diagnose_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/formats"
)

// The scenarios are invented: a harbour tug with throttle, rudder and winch.

// explain decodes and judges a capture and gathers its events.
func explain(t *testing.T, r *formats.Reader) ([]diagnose.Event, *decode.Judgement) {
	t.Helper()
	a, j := judged(t, r)
	events := diagnose.Explain(a, j)
	complete(t, j, events)
	return events, j
}

// judged reads a capture to its end and judges it.
func judged(t testing.TB, r *formats.Reader) (*decode.Analysis, *decode.Judgement) {
	t.Helper()
	defer r.Close()
	rec, err := decode.Decode(context.Background(), r, decode.Settings{})
	require.NoError(t, err)
	a := rec.Analyse()
	return a, a.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
}

// complete checks what holds for every capture: each finding of warn or fail is
// in exactly one event, whose severity is the worst of its findings.
func complete(t *testing.T, j *decode.Judgement, events []diagnose.Event) {
	t.Helper()
	for _, e := range events {
		assert.NotEmpty(t, e.Evidence, e.Cause)
	}
	once(t, j, events)
}

// once checks what holds whatever is found, though no capture could show it.
func once(t *testing.T, j *decode.Judgement, events []diagnose.Event) {
	t.Helper()
	in := make([]int, len(j.Findings))
	for _, e := range events {
		worst := decode.Note
		for _, i := range e.Findings {
			in[i]++
			if s := j.Findings[i].Severity; worst == decode.Note || s == decode.Fail {
				worst = s
			}
		}
		assert.Equal(t, worst, e.Severity, e.Story)
		assert.NotEmpty(t, e.Channels, e.Cause)
		assert.Positive(t, e.Count, e.Cause)
	}
	for i, n := range in {
		if f := j.Findings[i]; f.Severity != decode.Note {
			assert.Equal(t, 1, n, "events with finding %d: %s %s %s", i, f.Kind, f.Channels, f.Message)
		}
	}
}

func short(events []diagnose.Event) string {
	var b strings.Builder
	for _, e := range events {
		fmt.Fprintf(&b, "%s %s: %s\n", e.Cause, strings.Join(e.Channels, ","), e.Confidence)
	}
	return b.String()
}

// Captures under testdata/scenarios, each with one thing wrong.
func TestScenarios(t *testing.T) {
	for name, want := range map[string]string{
		"crosstalk":    "crosstalk rudder: likely\n",
		"dead-winch":   "wire winch: likely\n",
		"every-second": "half-rate rudder: likely\n",
		"extra-pulse":  "two-sources rudder: likely\n",
		"gaps-in-time": "recorder rudder: likely\n",
		"healthy":      "",
		"inverted":     "inverter rudder: likely\n",
		"jittery":      "software-timing rudder: likely\n",
		"lost-packets": "packets rudder: likely\n",
		"one-drop":     "one-channel rudder: likely\n",
		"out-of-range": "end-points rudder: likely\n",
		"spikes":       "software-timing rudder: likely\n",
		"stuck":        "stuck-line rudder: likely\n",
		"supply-dip":   "supply throttle,rudder,winch: likely\n",
	} {
		t.Run(name, func(t *testing.T) {
			r, err := formats.Open(filepath.Join("..", "..", "testdata", "scenarios", name+".toml"), formats.Options{})
			require.NoError(t, err)
			events, _ := explain(t, r)
			assert.Equal(t, want, short(events))
		})
	}
}
