package formats

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// seedTables adds every table of the tests to a fuzz corpus.
func seedTables(f *testing.F) {
	for _, folder := range []string{"dialects", "bad"} {
		files, err := filepath.Glob(filepath.Join("../testdata/csv", folder, "*"))
		require.NoError(f, err)
		require.NotEmpty(f, files)
		for _, path := range files {
			text, err := os.ReadFile(path)
			require.NoError(f, err)
			f.Add(text, false)
			f.Add(text, true)
		}
	}
}

// FuzzTable: no text, however made, makes the reader panic or hand out edges
// out of order, and skipping damage never makes a readable table unreadable.
func FuzzTable(f *testing.F) {
	seedTables(f)
	f.Fuzz(func(t *testing.T, text []byte, skip bool) {
		o := Options{SkipBadRows: skip, Rate: Rate{Num: 10000, Den: 1}}
		in, err := newInput(bytes.NewReader(text), "fuzz")
		if err != nil {
			return
		}
		defer in.close()
		s, err := openTable(in, o)
		if err != nil {
			return
		}
		_, _, err = collect(t, s)
		if origin := s.Origin(); err == nil {
			require.LessOrEqual(t, origin.Start, origin.End)
			require.Positive(t, origin.Rows)
		}
	})
}

// FuzzDetect: whatever a capture is taken for, opening it either fails with
// one line or gives channels under names that differ.
func FuzzDetect(f *testing.F) {
	seedTables(f)
	f.Add([]byte("$timescale 1 us $end $var wire 1 ! a $end $enddefinitions $end #0 0! #5 1!"), false)
	f.Add([]byte(ScenarioExample), false)
	f.Fuzz(func(t *testing.T, text []byte, _ bool) {
		r, err := NewReader(bytes.NewReader(text), "fuzz", Options{})
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		defer r.Close()
		h := r.Header()
		require.NotEmpty(t, h.Format)
		names := map[string]bool{}
		for _, c := range r.Channels() {
			require.False(t, names[c.Name], c.Name)
			names[c.Name] = true
		}
	})
}
