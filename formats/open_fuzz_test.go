package formats

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/formats/scenario"
)

// fuzzed is the size of the longest capture that is tried, so that many are.
const fuzzed = 4 << 10

// FuzzDetect: whatever a capture is taken for, opening it either fails with
// one line or gives channels under names that differ.
func FuzzDetect(f *testing.F) {
	for _, pattern := range []string{"csv/dialects/*", "csv/bad/*", "vcd/spellings/*.vcd", "scenarios/*.toml"} {
		files, err := filepath.Glob(filepath.Join("../testdata", pattern))
		require.NoError(f, err)
		require.NotEmpty(f, files)
		for _, path := range files {
			text, err := os.ReadFile(path)
			require.NoError(f, err)
			if len(text) <= fuzzed {
				f.Add(text)
			}
		}
	}
	dumps, err := os.ReadFile("../testdata/vcd/bad.txt")
	require.NoError(f, err)
	for _, entry := range bytes.Split(dumps, []byte("\n== ")) {
		dump, _, _ := bytes.Cut(entry[bytes.IndexByte(entry, '\n')+1:], []byte("\n-- "))
		f.Add(dump)
	}
	f.Add([]byte("$timescale 1 us $end $var wire 1 ! a $end $enddefinitions $end #0 0! #5 1!"))
	f.Add([]byte(scenario.Example))
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > fuzzed {
			return
		}
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
