package scenario

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// The beginning of a scenario, and a channel of one.
const (
	top   = "scenario = \"bad\"\nlength = \"1s\"\n"
	servo = "[[channel]]\nname = \"a\"\nkind = \"servo\"\nwidth_us = 1500\nframes = { period = \"20ms\" }\n"
)

// badScenarios are texts, with a mark where the error must point, and what must be
// said.
var badScenarios = []struct{ text, says string }{
	{"scenario = \"bad\"\nlength = ▶60\n", "a duration needs a unit; 60s, 60ms, 60us or 60ns"},
	{"scenario = \"bad\"\nlength = ▶\"60 fortnights\"\n", `"fortnights" is no unit of a duration`},
	{"scenario = \"bad\"\nlength = ▶\"long\"\n", "not a duration; a number and a unit"},
	{"scenario = \"bad\"\n▶length = [\"1s\"]\n", "a list"},
	{"scenario = ▶7\n", "scenario is a whole number; write a text in quotes"},
	{top + "▶colour = 3\n", `unknown key "colour"; the keys here are scenario, seed`},
	{top + "[frames]\n▶jitter = 3\n", `unknown key "jitter"; the keys here are period, periods`},
	{top + "[▶frame]\n", `unknown key "frame"`},
	{top + "[▶channel]\nname = \"a\"\n", "channel is a list; write [[channel]]"},
	{top + "[[▶frames]]\n", "frames is a table"},
	{top + "[[▶channel.then]]\nat = \"1s\"\n", "there is no channel yet; begin one with [[channel]]"},
	{top + "[▶seed.x]\n", "seed is no table"},
	{top + "channel = [{ ▶title = \"a\" }]\n", `unknown key "title"`},
	{top + "[[channel]]\nname = \"a\"\nwidth_us = ▶\"1500\"\n", "width_us is a text; write a number"},
	{top + "[[channel]]\nmoves = [{ at = \"1s\", width_us = ▶true }]\n", "true or false; write a number"},
	{top + "[[channel]]\nmoves = [{ at = ▶1 }]\n", "a duration needs a unit"},
	{top + "seed = 7\n▶seed = 8\n", "already defined"},
	{top + "seed = ▶\n", "start of value"},
	{"scenario = ▶\"\"\nlength = \"1s\"\n", "scenario is missing"},
	{"scenario = \"bad\"\nlength = ▶\"0s\"\n" + servo, "length must be above zero"},
	{top + "sampling = ▶\"24\"\n" + servo, "a rate needs a unit; 24Hz, 24kHz, 24MHz or 24GHz"},
	{top + "sampling = \"1MHz\"\nsampling_phase = ▶\"1us\"\n" + servo, "no time within one sample"},
	{top + servo + "after = ▶\"b\"\n", `leads to "b", which is no other servo channel`},
	{top + "[[channel]]\nname = \"a\"\nkind = ▶\"servos\"\n", `"servos" is unknown or missing; write one of duty, echo`},
	{top + servo + "bit_us = ▶8\n", "bit_us says nothing of a servo channel; it takes frames, offset"},
	{top + servo + servo[:12] + "name = ▶\"a\"\n", `"a" names two channels`},
	{top + "[[channel]]\nname = \"a\"\nkind = \"servo\"\nwidth_us = ▶2100\nframes = { period = \"2ms\" }\n", "takes 2100.0 us of a frame of 2000.0 us"},
	{top + "[[▶channel]]\nname = \"a\"\nkind = \"servo\"\nwidth_us = 1500\n", "frames has no period, and neither has the capture"},
	{top + "[frames]\nperiod = \"20ms\"\n▶periods = [\"18ms\"]\n" + servo, "periods stands beside period; state one of them"},
	{top + servo + "moves = [{ at = \"2s\", width_us = 1600 }, ▶{ at = \"1s\", width_us = 1500 }]\n", "this move must not be earlier"},
	{top + servo + "moves = [▶{ at = \"2s\" }]\n", "this move needs one of width_us and sweep_us"},
	{top + servo + "[[fault]]\nkind = ▶\"gremlin\"\n", `"gremlin" is unknown or missing; write one of boot-noise`},
	{top + servo + "[[fault]]\nkind = \"dropped-frame\"\nwidth_us = ▶5\n", "width_us says nothing of a dropped-frame"},
	{top + servo + "[[▶fault]]\nkind = \"glitch\"\n", "width_us is missing; state it for a glitch"},
	{top + servo + "[[fault]]\nkind = \"dropped-frame\"\nchannels = [▶\"b\"]\n", `names "b", which is no channel`},
	{top + servo + "[[fault]]\nkind = \"dropped-frame\"\nchance = ▶nan\n", "is no number"},
	{top + servo + "[[fault]]\nkind = \"dropped-frame\"\nchance = ▶1.5\n", "chance must lie in 0..1"},
	{top + servo + "[[fault]]\nkind = \"phase-restart\"\nby = \"10s\"\nrepeat = ▶\"11s\"\n", "at least twice as long as by"},
	{top + servo + "[[fault]]\nkind = ▶\"uneven-time\"\nfor = \"1ms\"\n", "needs a sampling rate"},
}

func TestScenarioErrors(t *testing.T) {
	for _, c := range badScenarios {
		before, after, found := strings.Cut(c.text, "▶")
		require.True(t, found, c.text)
		_, err := Parse("tug.toml", []byte(before+after))
		var bad *capture.ParseError
		if !assert.ErrorAs(t, err, &bad, c.text) {
			continue
		}
		assert.Contains(t, bad.Error(), c.says, c.text)
		line := strings.Count(before, "\n") + 1
		column := len(before) - strings.LastIndexByte(before, '\n')
		assert.EqualValues(t, []int64{int64(line), int64(column)}, []int64{bad.Line, bad.Column}, "%s\n%s", c.text, bad)
		assert.NotContains(t, bad.Error(), "\n")
	}
}

func TestScenarioIsFoundByItsTitle(t *testing.T) {
	for text, want := range map[string]bool{
		"scenario = \"a\"\n":                         true,
		"\n# words\r\n\r\n  scenario=\"a\"\n":        true,
		"seed = 7 # first\nscenario = 'a'\n":         true,
		"scenario = \"a":                             true, // and then an error
		"scenarios = \"a\"\n":                        false,
		"time [s],scenario\n0,1\n":                   false,
		"[frames]\nscenario = \"a\"\n":               false,
		"# scenario = \"a\"\n0,1\n":                  false,
		"$comment scenario = \"a\" $end\n":           false,
		"":                                           false,
		"scenario = \xff\xfe\n":                      false,
		"scenario = \"\xc3":                          true, // cut within a letter
		strings.Repeat("# words\n", 6000) + "0,1\n1": false,
	} {
		assert.Equal(t, want, Looks([]byte(text)), "%.40q", text)
	}
}

func TestScenarioChannelsAreSelected(t *testing.T) {
	open := func(o capture.Options) (capture.Source, error) { return mustParse(t, Example).Open(o) }
	r, err := open(capture.Options{Select: []string{"r*"}, Also: []string{"spare"}})
	require.NoError(t, err)
	assert.Equal(t, []decode.Channel{{Name: "rudder", Named: true}, {Name: "spare", Named: true}}, r.Channels())
	assert.Equal(t, "scenario", r.Header().Format)
	assert.Len(t, r.Header().Variables, 9)
	some, _ := edgesOf(t, r)
	r, err = open(capture.Options{})
	require.NoError(t, err)
	r.Want(0, decode.Nothing)
	all, _ := edgesOf(t, r)
	assert.Equal(t, all["rudder"], some["rudder"])
	assert.Empty(t, all["throttle"], "nothing was wanted")
	_, err = open(capture.Options{Select: []string{"anchor"}})
	var usage *capture.UsageError
	assert.ErrorAs(t, err, &usage)
}

// FuzzScenario: whatever the text, an error or a capture that comes block by
// block in order of time.
func FuzzScenario(f *testing.F) {
	for _, c := range badScenarios {
		f.Add([]byte(strings.Replace(c.text, "▶", "", 1)))
	}
	f.Add([]byte(Example))
	f.Add([]byte(faultBase + "kind = \"crosstalk\"\nfrom = \"b\"\nwidth_us = 0.4\nchance = 0.5\n"))
	f.Add([]byte(faultBase + "kind = \"phase-restart\"\nby = \"1ms\"\nrepeat = \"2ms\"\n"))
	f.Add([]byte("scenario = \"x\"\nlength = \"50h\"\nstart = \"-2s\"\nsampling = \"100GHz\"\n[[channel]]\nname = \"n\"\nkind = \"noise\"\nmean_us = 0.05\n"))
	f.Add([]byte("scenario = \"x\"\nlength = \"1200h\"\n[[channel]]\nname = \"s\"\nkind = \"serial\"\nbit_us = 0.05\ngap = \"1h\"\n[[channel.then]]\nat = \"1100h\"\nkind = \"silent\"\n"))
	files, err := filepath.Glob("../../testdata/scenarios/*.toml")
	require.NoError(f, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > 4<<10 {
			return
		}
		s, err := Parse("fuzz.toml", text)
		if err != nil {
			var bad *capture.ParseError
			require.ErrorAs(t, err, &bad)
			return
		}
		r, err := s.Open(capture.Options{})
		require.NoError(t, err)
		_, err = sourcetest.Drain(sourcetest.Brief(r, 2000)) // enough for every kind, and little enough to try many
		require.NoError(t, err)
		o := r.Origin()
		require.True(t, o.Start <= o.End)
	})
}
