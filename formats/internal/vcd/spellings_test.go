package vcd

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// One truth in many spellings, of which some ask for a note.
func TestVCDSpellings(t *testing.T) {
	const folder = "../../../testdata/vcd/spellings/"
	text, err := os.ReadFile(folder + "expected.txt")
	require.NoError(t, err)
	want := tracks{}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		name, edge, _ := strings.Cut(line, " ")
		want[name] = append(want[name], edge)
	}
	text, err = os.ReadFile(folder + "notes.txt")
	require.NoError(t, err)
	notes := map[string][]string{}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		name, note, _ := strings.Cut(line, ": ")
		notes[name] = append(notes[name], note)
	}
	files, err := filepath.Glob(folder + "*.vcd")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		name := filepath.Base(file)
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			r, err := Open(vcdInput(string(text)), capture.Options{})
			require.NoError(t, err)
			got, err := readTracks(r)
			require.NoError(t, err)
			require.NoError(t, r.Close())
			assert.Equal(t, want, got)
			assert.Equal(t, "vcd", r.Header().Format)
			o := r.Origin()
			assert.EqualValues(t, 0, o.Start)
			assert.EqualValues(t, 40_000_000_000, o.End)
			assert.True(t, o.EndStated)
			assert.Equal(t, notes[name], decode.Texts(append(o.Warnings, o.Notes...)))
			delete(notes, name)
		})
	}
	assert.Empty(t, notes, "notes of files that are not there")
}
