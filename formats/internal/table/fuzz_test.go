package table

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// seedTables adds every table of the tests to a fuzz corpus.
func seedTables(f *testing.F) {
	for _, folder := range []string{"dialects", "bad"} {
		files, err := filepath.Glob(filepath.Join("../../../testdata/csv", folder, "*"))
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
		o := capture.Options{SkipBadRows: skip, Rate: exact.Rate{Num: 10000, Den: 1}}
		in, err := capture.NewInput(bytes.NewReader(text), "fuzz")
		if err != nil {
			return
		}
		defer in.Close()
		s, err := Open(in, o)
		if err != nil {
			return
		}
		_, _, err = collect(s)
		if origin := s.Origin(); err == nil {
			require.LessOrEqual(t, origin.Start, origin.End)
			require.Positive(t, origin.Rows)
		}
	})
}
