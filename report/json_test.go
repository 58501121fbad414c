package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

func jsonOf(t *testing.T, document any) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, WriteJSON(&b, document))
	require.True(t, json.Valid(b.Bytes()))
	return b.String()
}

func TestCheckJSON(t *testing.T) {
	document := NewCheck()
	document.Add(tugCapture())
	golden(t, "check.json", jsonOf(t, document))
}

func TestInspectJSON(t *testing.T) {
	h, a, _ := tug()
	document := NewInspect()
	document.Captures = append(document.Captures, NewInspection(h, a, true, nil))
	golden(t, "inspect.json", jsonOf(t, document))
}

// A time is exact at any distance from zero, where a float64 of seconds has
// lost its picoseconds.
func TestSecondsAreExact(t *testing.T) {
	for _, c := range []struct {
		time decode.Time
		want string
	}{
		{0, "0.0"},
		{decode.Second, "1.0"},
		{12_344 * decode.Millisecond, "12.344"},
		{-1, "-0.000000000001"},
		{-1500 * decode.Millisecond, "-1.5"},
		{9_000_000*decode.Second + 1, "9000000.000000000001"},
		{100 * decode.Second, "100.0"},
	} {
		assert.Equal(t, c.want, strings.TrimSpace(jsonOf(t, Seconds(c.time))))
	}
	assert.Equal(t, "null", strings.TrimSpace(jsonOf(t, none)))
	assert.Equal(t, "null", strings.TrimSpace(jsonOf(t, Word(""))))
	assert.Equal(t, "1500.000001", strings.TrimSpace(jsonOf(t, micros(1500*decode.Microsecond+1))))
}

// Where nothing was accepted there is nothing to say about widths.
func TestSilentChannelHasNoFigures(t *testing.T) {
	var document struct {
		Captures []struct{ Channels []map[string]any }
	}
	require.NoError(t, json.Unmarshal([]byte(jsonOf(t, &Check{Captures: []*Capture{tugCapture()}})), &document))
	silent := document.Captures[0].Channels[3]
	for _, key := range []string{"width_us", "period_us", "jitter", "verdict", "active"} {
		assert.Contains(t, silent, key)
		assert.Nil(t, silent[key], key)
	}
	for _, key := range []string{"rests", "other_kinds", "slots", "causes"} {
		assert.Equal(t, []any{}, silent[key], key)
	}
}

func TestVerdictOverCaptures(t *testing.T) {
	of := func(outcomes ...decode.Outcome) *Check {
		c := NewCheck()
		for _, o := range outcomes {
			c.Add(&Capture{Verdict: Word(o)})
		}
		return c
	}
	assert.EqualValues(t, "undecided", of().Verdict)
	assert.EqualValues(t, "pass", of(decode.Passed, decode.Passed).Verdict)
	assert.EqualValues(t, "undecided", of(decode.Passed, decode.Undecided, decode.Passed).Verdict)
	assert.EqualValues(t, "fail", of(decode.Undecided, decode.Failed, decode.Passed).Verdict)
	c := of(decode.Passed)
	c.Add(Unreadable("x.csv", "damaged"))
	assert.EqualValues(t, "undecided", c.Verdict, "a capture that was not read cannot pass")
	c.Add(&Capture{Verdict: Word(decode.Passed)})
	assert.EqualValues(t, "undecided", c.Verdict)
	c.Add(&Capture{Verdict: Word(decode.Failed)})
	assert.EqualValues(t, "fail", c.Verdict)
}

// A capture that was not read has its file, the error, no verdict, and lists to
// walk over.
func TestUnreadableCaptureJSON(t *testing.T) {
	var got map[string]any
	require.NoError(t, json.Unmarshal([]byte(jsonOf(t, Unreadable("a<b>.csv", "3:1: damaged"))), &got))
	none := []any{}
	assert.Equal(t, map[string]any{"file": "a<b>.csv", "error": "3:1: damaged", "verdict": nil,
		"notes": none, "channels": none, "events": none, "findings": none}, got)
}

func FuzzJSONIsSafe(f *testing.F) {
	for _, name := range []string{"rudder", "\x1b[31m", "\u009b2J", "\u202e", "\U000e0001", "\xff", "\"\\", "\u2028"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		out := jsonOf(t, Finding{Message: name})
		for _, r := range strings.ReplaceAll(out, "\n", "") {
			require.False(t, unicode.In(r, unicode.Cc, unicode.Cf), "%q", out)
		}
		var back struct{ Message string }
		require.NoError(t, json.Unmarshal([]byte(out), &back))
		require.Equal(t, string([]rune(name)), back.Message, "what is not UTF-8 becomes U+FFFD, byte by byte")
	})
}
