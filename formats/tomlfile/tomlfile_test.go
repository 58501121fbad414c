package tomlfile

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// harbour is a file of every shape that ours have.
type harbour struct {
	Title string            `toml:"title"`
	Wait  Duration          `toml:"wait"`
	Berth []berth           `toml:"berth"`
	Crew  map[string]sailor `toml:"crew"`
}

type berth struct {
	Depth float64   `toml:"depth_m"`
	Marks []int64   `toml:"marks"`
	Tug   *sailor   `toml:"tug"`
	Tides []float64 `toml:"tides"`
}

type sailor struct {
	Name string `toml:"name"`
	Aft  bool   `toml:"aft"`
}

func TestDecode(t *testing.T) {
	var h harbour
	places, err := Decode("harbour.toml", []byte(`title = "Basin"
wait = "1min"
[[berth]]
depth_m = 4
marks = [1, 2]
tug = { name = "Jo", aft = true }
[[berth]]
[crew."J. R."]
name = "Roe"
`), &h)
	require.NoError(t, err)
	assert.Equal(t, harbour{Title: "Basin", Wait: Duration(60 * decode.Second), Crew: map[string]sailor{"J. R.": {Name: "Roe"}},
		Berth: []berth{{Depth: 4, Marks: []int64{1, 2}, Tug: &sailor{"Jo", true}}, {}}}, h)
	for path, place := range map[string]string{
		"title": "1:9", "berth[0].marks[1]": "5:13", "berth[0].tug.aft": "6:28", "berth[1].depth_m": "7:3", "crew.J. R..name": "9:8",
	} {
		assert.Equal(t, "harbour.toml:"+place+": too deep; less", places.Error(path, "too deep", "less").Error(), path)
	}
	assert.True(t, places.Has("berth[0].tug.name"))
	assert.False(t, places.Has("berth[1].depth_m"))
	assert.False(t, (*Places)(nil).Has("title"))
}

// refused are texts, with a mark where the error must point, and what must be said.
var refused = map[string]string{
	"▶titel = \"a\"":                 `unknown key "titel"; did you mean title?`,
	"▶Title = \"a\"":                 `unknown key "Title"; did you mean title?`,
	"▶anchor = 3":                    `unknown key "anchor"; the keys here are title, wait, berth, crew`,
	"[[berth]]\n▶depth = 3":          `unknown key "depth"; did you mean depth_m?`,
	"wait = ▶5":                      "wait: a duration needs a unit; 5s, 5ms, 5us or 5ns",
	"wait = ▶\"5 moons\"":            `wait: "moons" is no unit of a duration; 5s, 5ms, 5us or 5ns`,
	"[[berth]]\nmarks = [1, ▶\"2\"]": "berth[0].marks[1] is a text; write a whole number",
	"[[berth]]\ntug = { name = ▶3 }": "berth[0].tug.name is a whole number; write a text in quotes",
	"title = \"a\"\n▶title = \"b\"":  "key title is already defined; TOML 1.0, such as key = value",
	"title = \"a\"\n\n[crew.▶\n":     "; TOML 1.0, such as key = value",
}

func TestRefusals(t *testing.T) {
	for text, want := range refused {
		before, _, _ := strings.Cut(text, "▶")
		line := strings.Count(before, "\n") + 1
		_, err := Decode("f", []byte(strings.Replace(text, "▶", "", 1)), &harbour{})
		var bad *capture.ParseError
		require.ErrorAs(t, err, &bad, text)
		assert.Contains(t, err.Error(), want)
		assert.EqualValues(t, line, bad.Line, text)
		if !strings.Contains(text, "[crew") {
			assert.EqualValues(t, len(before)-strings.LastIndexByte(before, '\n'), bad.Column, text)
		}
	}
}

// FuzzDecode: whatever the text, a value or one line with the file's name.
func FuzzDecode(f *testing.F) {
	for _, text := range []string{"title = \"a\"\nwait = \"1s\"\n[[berth]]\nmarks = [1]\n", "[crew.a]\nname = 'b'", "berth = [{}, {tug = {aft = true}}]",
		"a.b = 1\n[[c]]\n[c.d]", "\"\" = 1", "wait = {}\nberth = 3", "title = \"\"\"\n", "\x00", "[berth.tug]\n"} {
		f.Add([]byte(text))
	}
	for text := range refused {
		f.Add([]byte(strings.Replace(text, "▶", "", 1)))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > 4<<10 {
			return
		}
		_, err := Decode("f", text, &harbour{})
		var bad *capture.ParseError
		if err != nil && (!errors.As(err, &bad) || !strings.HasPrefix(err.Error(), "f") || strings.Contains(err.Error(), "\n")) {
			t.Fatalf("%q", err)
		}
	})
}
