package table

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
	"widthwise/formats/internal/sourcetest"
)

// fuzzed is the size of the longest table that is tried, so that many are.
const fuzzed = 4 << 10

// seedTables are the tables of the tests, good and bad.
func seedTables(f *testing.F, folders ...string) (all [][]byte) {
	for _, folder := range folders {
		files, err := filepath.Glob(filepath.Join("../../../testdata/csv", folder, "*"))
		require.NoError(f, err)
		require.NotEmpty(f, files)
		for _, path := range files {
			text, err := os.ReadFile(path)
			require.NoError(f, err)
			if len(text) <= fuzzed {
				all = append(all, text)
			}
		}
	}
	return all
}

// FuzzTable: no text, however made, makes the reader panic or hand out edges
// out of order, and skipping damage never makes a readable table unreadable.
func FuzzTable(f *testing.F) {
	for _, text := range seedTables(f, "dialects", "bad") {
		f.Add(text, false)
		f.Add(text, true)
	}
	f.Fuzz(func(t *testing.T, text []byte, skip bool) {
		if len(text) > fuzzed {
			return
		}
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
		var promise *sourcetest.BrokenPromise
		require.False(t, errors.As(err, &promise), err)
		if origin := s.Origin(); err == nil {
			require.LessOrEqual(t, origin.Start, origin.End)
			require.Positive(t, origin.Rows)
		}
	})
}
