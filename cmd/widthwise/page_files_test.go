package main

import (
	"image"
	"image/draw"
	"image/png"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	oneDrop = "../../testdata/scenarios/one-drop.toml"
	healthy = "../../testdata/scenarios/healthy.toml"
)

// A page has a place for every capture in their order, read or not, and for
// every lane, event and finding, without any script.
func TestPageAsText(t *testing.T) {
	folder := t.TempDir()
	junk := filepath.Join(folder, "junk.csv")
	require.NoError(t, os.WriteFile(junk, []byte("junk\n"), 0o666))
	file := filepath.Join(folder, "page.html")
	got := try("check", "--html", file, oneDrop, junk, healthy)
	require.Equal(t, exitUnreadable, got.code)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	all := func(pattern string) (out []string) {
		for _, found := range regexp.MustCompile(pattern).FindAllStringSubmatch(string(text), -1) {
			out = append(out, found[1])
		}
		return out
	}
	assert.Equal(t, []string{"0", "1", "2"}, all(`data-capture="(\d+)"`))
	assert.Equal(t, []string{"rudder", "throttle", "rudder", "winch"}, all(`data-channel="(\w+)" data-warn`))
	assert.Equal(t, []string{"one-channel", "dropped-frame"}, all(`data-finding="([\w-]+)"`))
	assert.Len(t, all(`data-start-s="(8\.019[\d]*)"`), 2)
	assert.Len(t, all(`(junk\.csv.*not read)`), 2, "among the contents, and in its place")
	assert.Contains(t, string(text), "there is no row of data")
}

// Files appear where every capture could be read or some; an ending that is no
// picture's, a page without a name and two documents for one output are refused.
func TestPicturesAreFiles(t *testing.T) {
	folder := t.TempDir()
	at := func(name string) string { return filepath.Join(folder, name) }
	require.Equal(t, exitInOrder, try("check", "--html", at("a.html"), "--picture", at("a.svg"), "--json", healthy).code)
	require.Equal(t, exitInOrder, try("check", "--picture", at("a.PNG"), healthy).code)
	for _, name := range []string{"a.html", "a.svg", "a.PNG"} {
		assert.FileExists(t, at(name))
	}
	page := try("check", "--html", "-", healthy)
	onDisk, err := os.ReadFile(at("a.html"))
	require.NoError(t, err)
	assert.Equal(t, string(onDisk), page.out, "the page and nothing else")

	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--picture", "a.gif"}, "--picture a.gif: a still ends in .svg or .png\n"},
		{[]string{"--picture", "-"}, "--picture -: a still ends in .svg or .png\n"},
		{[]string{"--html", ""}, "--html : empty; the name of a file, or -\n"},
	} {
		got := try(append(append([]string{"check"}, c.args...), healthy)...)
		assert.Equal(t, outcome{exitUnreadable, "", c.want}, got)
	}
	both := try("check", "--json", "--html", "-", healthy)
	assert.Equal(t, exitUnreadable, both.code)
	assert.Empty(t, both.out)

	require.Equal(t, exitUnreadable, try("check", "--html", at("none.html"), "--picture", at("none.svg"), at("missing.csv")).code)
	for _, name := range []string{"none.html", "none.svg"} {
		assert.NoFileExists(t, at(name))
	}
}

// The picture that the README shows is what demo draws today. A shade of eight in
// 255 is left to how processors round at the edges of letters.
func TestTheTugOfTheREADME(t *testing.T) {
	drawn := filepath.Join(t.TempDir(), "tug.png")
	require.Equal(t, exitFailed, try("demo", "--picture", drawn).code)
	want, got := pixels(t, "../../testdata/tug.png"), pixels(t, drawn)
	require.Equal(t, want.Bounds(), got.Bounds())
	apart := 0
	for i := range want.Pix {
		if max(want.Pix[i], got.Pix[i])-min(want.Pix[i], got.Pix[i]) > 8 {
			apart++
		}
	}
	assert.Zero(t, apart, "draw it anew: widthwise demo --picture testdata/tug.png")
}

func pixels(t *testing.T, name string) *image.NRGBA {
	t.Helper()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	drawn, err := png.Decode(f)
	require.NoError(t, err)
	out := image.NewNRGBA(drawn.Bounds())
	draw.Draw(out, out.Bounds(), drawn, drawn.Bounds().Min, draw.Src)
	return out
}
