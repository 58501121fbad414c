package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/formats/scenario"
)

// checkSchema is what a script may rely on in a document of check, schema 1:
// every key is there with a value of this type, null only where it says "?".
// "name = a|b" allows these words.
const checkSchema = `{
  "schema": "= widthwise.check/1", "verdict": "= pass|fail|undecided", "captures": [{
    "file": "text", "format": "= csv|vcd|scenario", "compression": "= none|gzip|zstd", "dialect": "text?", "origin": "text?",
    "start_s": "number", "end_s": "number", "duration_s": "number", "resolution_us": "number?", "notes": ["text"],
    "verdict": "= pass|fail|undecided",
    "channels": [{
      "name": "text", "label": "text", "signal": "= servo|silent|duty|serial|echo|irregular|pulse-position", "active": "= high|low?",
      "judged": "bool", "verdict": "= pass|fail|undecided?",
      "pulses": "whole", "frames": "whole", "dropped_frames": "whole", "glitches": "whole", "losses": "whole", "lost_s": "number",
      "width_us?":  {"min": "number", "p01": "number", "median": "number", "p99": "number", "max": "number", "mean": "number", "sd": "number?"},
      "period_us?": {"nominal": "number?", "pattern": "= steady|alternating|width-timed|irregular?", "min": "number?", "median": "number?", "max": "number?",
                    "mean": "number?", "sd": "number?", "drift_ppm": "number?",
                    "changes": [{"at_s": "number", "from_us": "number", "to_us": "number"}]},
      "jitter?": {"width_rms_us": "number?", "width_rms_corrected_us": "number?", "width_p99_us": "number?", "width_pp_us": "number?", "resolved": "bool",
                 "period_rms_us": "number?", "cycle_to_cycle_rms_us": "number?"},
      "rests": [{"start_s": "number", "end_s": "number", "frames": "whole", "width_us": "number", "rms_us": "number?"}],
      "other_kinds": [{"signal": "text", "start_s": "number", "end_s": "number"}],
      "follows": "text?", "slots": ["channel"],
      "causes": [{"cause": "text", "evidence": ["text"], "try": "text"}]
    }],
    "error": "text?",
    "events": [{"cause": "text", "confidence": "= likely|possible", "severity": "= fail|warn", "channels": ["text"], "start_s": "number", "end_s": "number",
      "count": "whole", "times": [["number"]], "story": "text", "evidence": ["text"], "against": ["text"], "try": "text", "instead": ["text"], "findings": ["whole"]}],
    "findings": [{
      "kind": "text", "severity": "= fail|warn|note", "channels": ["text"],
      "start_s": "number", "end_s": "number", "count": "whole",
      "measured": "number?", "limit": "number?", "unit": "text?", "message": "text"
    }]
  }],
  "safety": "text"
}`

const inspectSchema = `{
  "schema": "= widthwise.inspect/1", "captures": [{
    "file": "text", "format": "= csv|vcd|scenario", "compression": "= none|gzip|zstd", "encoding": "text", "dialect": "text?", "alternatives": ["text"],
    "origin": "text?", "start_s": "number", "end_s": "number", "duration_s": "number", "resolution_us": "number?", "notes": ["text"],
    "time_step": {"step_us": "number?", "how": "text", "rows": "whole"},
    "channels": [{"name": "text", "label": "text", "signal": "text", "about": "text", "active": "text?", "level": "text?", "pulses": "whole", "slots": "whole"}],
    "variables": [{"name": "text", "path": "text?", "kind": "text", "bits": "whole", "column": "whole", "aliases": ["text"], "channel": "bool"}]
  }]
}`

// schema checks documents and remembers which values it saw.
type schema struct {
	t       *testing.T
	channel any // what "channel" stands for
	seen    map[string]bool
}

func newSchema(t *testing.T, text string) (*schema, any) {
	var root any
	require.NoError(t, json.Unmarshal([]byte(text), &root))
	capture := root.(map[string]any)["captures"].([]any)[0].(map[string]any)
	return &schema{t, capture["channels"].([]any)[0], map[string]bool{}}, root
}

func (s *schema) fits(path string, want, got any) {
	switch want := want.(type) {
	case map[string]any:
		got, ok := got.(map[string]any)
		require.True(s.t, ok, "%s is no object", path)
		for key, inner := range want {
			name, nullable := strings.CutSuffix(key, "?")
			value, there := got[name]
			at := path + "." + name
			require.True(s.t, there, "%s is missing", at)
			if nullable && value == nil {
				s.seen[at+" null"] = true
				continue
			}
			s.fits(at, inner, value)
		}
	case []any:
		got, ok := got.([]any)
		require.True(s.t, ok, "%s is no list", path)
		for _, value := range got {
			s.fits(path+"[]", want[0], value)
		}
	case string:
		s.value(path, want, got)
	}
}

func (s *schema) value(path, want string, got any) {
	if want == "channel" {
		s.fits(path, s.channel, got)
		return
	}
	kind, nullable := strings.CutSuffix(want, "?")
	if got == nil {
		require.True(s.t, nullable, "%s is null", path)
		s.seen[path+" null"] = true
		return
	}
	s.seen[path] = true
	words, oneOf := strings.CutPrefix(kind, "= ")
	switch v := got.(type) {
	case string:
		require.True(s.t, kind == "text" || kind == "either" || oneOf, "%s is %q", path, v)
		if oneOf {
			require.Contains(s.t, strings.Split(words, "|"), v, path)
		}
	case json.Number:
		require.Contains(s.t, []string{"number", "whole", "either"}, kind, "%s is %v", path, v)
		if kind == "whole" {
			_, err := v.Int64()
			require.NoError(s.t, err, path)
		}
	case bool:
		require.Equal(s.t, "bool", kind, path)
	default:
		require.Fail(s.t, "type", "%s is %v", path, got)
	}
}

// document runs the program and reads what it prints as one JSON value.
func document(t *testing.T, args ...string) any {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(try(args...).out))
	d.UseNumber()
	var got any
	require.NoError(t, d.Decode(&got), "%v", args)
	require.False(t, d.More())
	return got
}

// captures writes scenarios that between them fill every field, and empty it.
func captures(t *testing.T) []string {
	dir := t.TempDir()
	var names []string
	for name, text := range map[string]string{
		"everything": scenario.Example,
		"silent":     "scenario = \"silent\"\nlength = \"2s\"\nsampling = \"1MHz\"\n[[channel]]\nname = \"winch\"\nkind = \"silent\"\nlevel = \"low\"\n",
		"short":      "scenario = \"short\"\nlength = \"65ms\"\nsampling = \"1MHz\"\n[frames]\nperiod = \"20ms\"\n[[channel]]\nname = \"rudder\"\nkind = \"servo\"\nwidth_us = 1500\n",
	} {
		path := filepath.Join(dir, name+".toml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
		names = append(names, path)
	}
	return names
}

func TestCheckSchema(t *testing.T) {
	s, root := newSchema(t, checkSchema)
	s.fits("", root, document(t, "demo", "--json"))
	s.fits("", root, document(t, append([]string{"check", "--json"}, captures(t)...)...))
	s.fits("", root, document(t, append([]string{"check", "--json", "--channel", "*"}, captures(t)...)...))
	for _, path := range []string{
		".captures[].channels[].width_us.sd", ".captures[].channels[].width_us null", ".captures[].channels[].jitter null",
		".captures[].channels[].period_us.nominal", ".captures[].channels[].period_us null", ".captures[].channels[].verdict null",
		".captures[].channels[].active null", ".captures[].channels[].rests[].rms_us", ".captures[].channels[].slots[].width_us.mean",
		".captures[].findings[].measured", ".captures[].findings[].count", ".captures[].channels[].other_kinds[].signal",
		".captures[].channels[].causes[].cause",
	} {
		assert.True(t, s.seen[path], "no capture of this test has %s", path)
	}
}

func TestInspectSchema(t *testing.T) {
	s, root := newSchema(t, inspectSchema)
	s.fits("", root, document(t, append([]string{"inspect", "--json"}, captures(t)...)...))
	assert.True(t, s.seen[".captures[].channels[].pulses"])
	assert.True(t, s.seen[".captures[].variables[].kind"])
}
