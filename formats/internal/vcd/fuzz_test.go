package vcd

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// outcome is all that a dump yields, in comparable form.
type outcome struct {
	tracks tracks
	notes  []decode.Remark
	err    string
	broken bool // a promise
}

// chunks hands out growing pieces of a text, in turns with none.
type chunks struct {
	text []byte
	next int
}

func (c *chunks) Read(p []byte) (int, error) {
	if c.next++; c.next%3 == 0 {
		return 0, nil
	}
	n := copy(p, c.text[:min(c.next, len(c.text))])
	if c.text = c.text[n:]; n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// readChunked reads a dump in a way its reader hands it out.
func readChunked(text string, o capture.Options, way int) outcome {
	in := &capture.Input{Name: "tug.vcd"}
	switch way {
	case 0:
		in.R = strings.NewReader(text)
	case 1:
		in.R = iotest.OneByteReader(strings.NewReader(text))
	case 2:
		in.R = iotest.DataErrReader(strings.NewReader(text))
	case 3:
		in.R = iotest.HalfReader(strings.NewReader(text))
	case 4:
		in.R = &chunks{text: []byte(text)}
	}
	s, err := Open(in, o)
	if err != nil {
		return outcome{err: err.Error()}
	}
	got, err := readTracks(s)
	if err != nil {
		var promise *sourcetest.BrokenPromise
		return outcome{err: err.Error(), broken: errors.As(err, &promise)}
	}
	return outcome{tracks: got, notes: append(s.Origin().Warnings, s.Origin().Notes...)}
}

// seedDumps are the dumps of the tests, good and bad.
func seedDumps(t testing.TB) []string {
	var seeds []string
	for _, pattern := range []string{"../../../testdata/vcd/*.vcd", "../../../testdata/vcd/spellings/*.vcd"} {
		files, err := filepath.Glob(pattern)
		require.NoError(t, err)
		require.NotEmpty(t, files)
		for _, file := range files {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			seeds = append(seeds, string(text))
		}
	}
	for _, d := range badDumps(t) {
		seeds = append(seeds, d[1])
	}
	return append(seeds, tugScopes)
}

// However a dump is handed out, it is the same dump.
func TestVCDChunks(t *testing.T) {
	for _, text := range seedDumps(t) {
		whole := readChunked(text, capture.Options{}, 0)
		for way := 1; way < 5; way++ {
			assert.Equal(t, whole, readChunked(text, capture.Options{}, way), "way %d of %.80q", way, text)
		}
	}
}

// No dump, however made, panics or is out of order, and the size of the pieces
// it comes in does not matter.
func FuzzVCD(f *testing.F) {
	for _, text := range seedDumps(f) {
		f.Add([]byte(text), false, false)
		f.Add([]byte(text), true, true)
	}
	f.Fuzz(func(t *testing.T, text []byte, skipBad, everything bool) {
		if len(text) > 4<<10 { // so that many are tried
			return
		}
		o := capture.Options{SkipBadRows: skipBad}
		if everything {
			// Every name that there is; those of text alone are refused.
			if s, err := Open(&capture.Input{Name: "tug.vcd", R: bytes.NewReader(text)}, o); err == nil {
				for i, v := range s.Header().Variables {
					switch {
					case i > 100 || v.Kind == "text":
					case v.Kind == "vector" && v.Width > 0 && v.Width < 100:
						o.Also = append(o.Also, v.Path+"[*]")
					case v.Kind != "vector":
						o.Also = append(o.Also, v.Path)
					}
				}
			}
		}
		whole := readChunked(string(text), o, 0)
		if whole.broken {
			t.Fatal(whole.err)
		}
		if whole.err != "" && strings.ContainsAny(whole.err, "\n\r\x00") {
			t.Fatalf("more than a line: %q", whole.err)
		}
		way := []int{1, 4}[len(text)%2]
		if other := readChunked(string(text), o, way); !assert.ObjectsAreEqual(whole, other) {
			t.Fatalf("way %d: %v instead of %v", way, other, whole)
		}
	})
}
