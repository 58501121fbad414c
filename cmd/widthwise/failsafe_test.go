package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/failsafe"
)

// factsSchema are the facts of a capture, in every document.
const factsSchema = `"file": "text", "format": "= csv|vcd|scenario", "compression": "= none|gzip|zstd", "dialect": "text?", "origin": "text?",
    "start_s": "number", "end_s": "number", "duration_s": "number", "resolution_us": "number?", "notes": ["text"]`

const failsafeSchema = `{"schema": "= widthwise.failsafe/1", "verdict": "= pass|fail|undecided", "safety": "text", "captures": [{ ` + factsSchema + `,
    "off_s": "number?", "off_from": "= flag|mark|inferred?", "on_s": "number?", "on_from": "= flag|mark?", "verdict": "= pass|fail|undecided",
    "channels": [{"name": "text", "label": "text", "signal": "= servo|silent|irregular", "verdict": "= pass|fail|undecided",
      "outcome": "= stops|preset|holds|drifts?", "before_us": "number?", "final_us": "number?", "settled_after_s": "number?", "excursion_us?": ["number"],
      "states": [{"state": "= pulsing|moving|silent", "start_s": "number", "end_s": "number", "width_us": "number?"}],
      "safe": [{"from": "= flag|idle", "us": "number?", "stop": "bool"}], "reason": "text",
      "return?": {"first_pulse_s": "number?", "jump_us": "number?", "start_up_pulses": "whole", "excursion_us?": ["number"], "live_after_s": "number?"}}]}]}`

const calibrateSchema = `{"schema": "= widthwise.calibrate/1", "safety": "text", "captures": [{ ` + factsSchema + `,
    "channels": [{"name": "text", "label": "text",
      "low_us": "number?", "low_u95_us": "number?", "low_visits": "whole", "neutral_us": "number?", "neutral_u95_us": "number?", "neutral_visits": "whole",
      "neutral_from_below_us": "number?", "neutral_from_above_us": "number?", "high_us": "number?", "high_u95_us": "number?", "high_visits": "whole",
      "step_us": "number?", "deadband_us": "whole?", "end_margin_us": "whole?", "loss_after_s": "number", "reversed": "bool?", "missing": ["text"],
      "proof?": {"full": "whole", "idle_frames": "whole", "idle_not_zero": "whole", "reaches_low": "bool", "reaches_high": "bool",
                "largest_jump": "whole", "start_up_not_zero": "whole", "stops_on_loss": "whole"}}],
    "mix?": {"a": "text", "b": "text", "sum": {"min": "whole", "max": "whole", "clipped": "whole"}, "difference": {"min": "whole", "max": "whole", "clipped": "whole"}}}]}`

const compareSchema = `{"schema": "= widthwise.compare/1", "verdict": "= pass|fail|undecided", "safety": "text", "before": { ` + factsSchema + ` }, "after": { ` + factsSchema + ` },
    "pairs": [{"before": "text", "after": "text", "matched_by": "= flag|label|name|order", "verdict": "= pass|fail|undecided",
      "figures": [{"figure": "= period_us|neutral_us|low_us|high_us|direction|width_jitter_rms_us|period_sd_us|drops_per_min|losses_per_min|place|offset_us|pattern|step_us|active",
                   "before": "either?", "after": "either?", "difference": "number?", "low": "number?", "high": "number?", "tolerance": "number?",
                   "verdict": "= same|changed|undecided", "judged": "bool", "message": "text"}]}],
    "unmatched": {"before": ["text"], "after": ["text"]}, "advice": [{"message": "text", "because": ["text"]}]}`

// benchCaptures writes the captures of a bench: a trial with the transmitter
// switched off, and the same sticks before it.
func benchCaptures(t *testing.T) (trial, sweep string) {
	write := func(name, text string) string {
		path := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
		return path
	}
	head := "seed = 2\nlength = \"24s\"\nsampling = \"4MHz\"\n[frames]\nperiod = \"20ms\"\njitter_us = 1\n"
	sticks := `[[channel]]
name = "throttle"
kind = "servo"
width_us = 1520
jitter_us = 0.2
moves = [{ at = "1s", width_us = 1900, rate_us_per_s = 600, shape = "smooth" }, { at = "3s", width_us = 1520, rate_us_per_s = 600, shape = "smooth" },
  { at = "5s", width_us = 1100, rate_us_per_s = 600, shape = "smooth" }, { at = "7s", width_us = 1520, rate_us_per_s = 600, shape = "smooth" }]
failsafe = { does = "preset", after = "500ms", width_us = 1000, back = "300ms" }
[[channel]]
name = "winch"
kind = "servo"
after = "throttle"
width_us = 1500
failsafe = { does = "stop" }
`
	trial = write("trial.toml", "scenario = \"trial\"\n"+head+"[transmitter]\noff = \"12s\"\non = \"18s\"\n"+sticks)
	sweep = write("sweep.toml", "scenario = \"sweep\"\n"+head+sticks[:len(sticks)-len("failsafe = { does = \"stop\" }\n")])
	return trial, sweep
}

func TestFailsafeSchema(t *testing.T) {
	trial, sweep := benchCaptures(t)
	s, root := newSchema(t, failsafeSchema)
	s.fits("", root, document(t, "failsafe", "--json", "--off-at", "12s", "--on-at", "18s", "--safe", "throttle=1000us", "--safe", "winch=stop", trial))
	s.fits("", root, document(t, "failsafe", "--json", sweep))
	for _, path := range []string{
		".captures[].off_s null", ".captures[].on_from", ".captures[].channels[].outcome null", ".captures[].channels[].settled_after_s",
		".captures[].channels[].states[].width_us null", ".captures[].channels[].safe[].us null", ".captures[].channels[].return.jump_us null",
		".captures[].channels[].return.live_after_s", ".captures[].channels[].return null",
	} {
		assert.True(t, s.seen[path], "no capture of this test has %s", path)
	}
}

func TestCalibrateSchema(t *testing.T) {
	_, sweep := benchCaptures(t)
	s, root := newSchema(t, calibrateSchema)
	s.fits("", root, document(t, "calibrate", "--json", "--first", "up", sweep))
	for _, path := range []string{".captures[].channels[].neutral_us", ".captures[].channels[].neutral_us null", ".captures[].channels[].reversed",
		".captures[].channels[].proof.largest_jump", ".captures[].channels[].proof null", ".captures[].mix null"} {
		assert.True(t, s.seen[path], "no capture of this test has %s", path)
	}
}

func TestCompareSchema(t *testing.T) {
	trial, sweep := benchCaptures(t)
	root := map[string]any{}
	s := &schema{t: t, seen: map[string]bool{}}
	require.NoError(t, json.Unmarshal([]byte(compareSchema), &root))
	s.fits("", root, document(t, "compare", "--json", trial, sweep))
	for _, path := range []string{".pairs[].figures[].before", ".pairs[].figures[].low", ".pairs[].figures[].low null", ".pairs[].figures[].judged", ".pairs[].matched_by"} {
		assert.True(t, s.seen[path], "no capture of this test has %s", path)
	}
}

// A stream is looked at by its slots, and where none is known not passed over.
func TestStreamOnTrial(t *testing.T) {
	slot := &decode.ChannelAnalysis{Name: "sum.1"}
	whole := &decode.ChannelAnalysis{Name: "sum", Signal: decode.PulsePosition, Slots: []*decode.ChannelAnalysis{slot}}
	torn := &decode.ChannelAnalysis{Name: "torn", Signal: decode.PulsePosition}
	c := &capture{analysis: &decode.Analysis{Channels: []*decode.ChannelAnalysis{whole, torn}},
		judgement: &decode.Judgement{Channels: []decode.ChannelJudgement{{Judged: true}, {Judged: true}}}}
	require.Equal(t, []*decode.ChannelAnalysis{slot, torn}, c.onTrial(map[string][]failsafe.Safe{}))
}
