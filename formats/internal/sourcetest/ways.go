package sourcetest

import (
	"bytes"
	"fmt"
	"io"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
)

// Ways are the two ways to read one kind of text: plainly, and ahead.
type Ways struct {
	Open  func(*capture.Input, capture.Options) (capture.Source, error)
	Ahead func(capture.Source) bool // says whether a source was read ahead
}

// Way is how a text is read ahead, and how soon.
type Way struct {
	ahead.How
	Settle int // rows or bytes read plainly before; 0 for the usual
}

// Reading is all that a reader says of a text.
type Reading struct {
	Changes [][]Change
	Origin  decode.Origin
	Err     string
}

// OpenWith opens a text to be read plainly, or ahead.
func (w Ways) OpenWith(r io.Reader, plain bool, how Way, o capture.Options) (capture.Source, error) {
	in, err := capture.NewInput(r, "text")
	if err != nil {
		return nil, err
	}
	in.Plain, in.Ahead, in.Settle = plain, how.How, how.Settle
	return w.Open(in, o)
}

// Read reads a text plainly, or ahead.
func (w Ways) Read(r io.Reader, plain bool, how Way, o capture.Options) (got Reading, ahead bool) {
	s, err := w.OpenWith(r, plain, how, o)
	if err != nil {
		return Reading{Err: err.Error()}, false
	}
	defer s.Close()
	got.Changes, err = Drain(s)
	if got.Origin = s.Origin(); err != nil {
		got.Err = err.Error()
	}
	return got, w.Ahead(s)
}

// RequireAlike holds reading ahead against reading plainly.
func (w Ways) RequireAlike(t testing.TB, text []byte, how Way, o capture.Options) (ahead bool) {
	t.Helper()
	want, _ := w.Read(bytes.NewReader(text), true, how, o)
	from := io.Reader(bytes.NewReader(text))
	if how.Size%2 == 1 {
		from = struct{ io.Reader }{from} // a stream
	}
	got, ahead := w.Read(from, false, how, o)
	if want.Err != "" { // what came before an error depends on where blocks end
		require.Equal(t, want.Err, got.Err)
		return ahead
	}
	require.Equal(t, want, got)
	return ahead
}

// RequireAllAlike holds as many texts against one another, four of five of them
// damaged, whatever the size of pieces and the number of workers. More than least
// of them have to be read ahead.
func (w Ways) RequireAllAlike(t *testing.T, seeds int64, least int, text func(*rand.Rand, int64) []byte, damaged func(*rand.Rand, []byte) []byte) {
	used := 0
	for seed := range seeds {
		r := rand.New(rand.NewSource(seed))
		text := text(r, seed)
		if r.Intn(5) > 0 {
			text = damaged(r, text)
		}
		how := Way{How: ahead.How{Size: 300 + r.Intn(20000), Workers: 1 + r.Intn(3)}}
		o := capture.Options{SkipBadRows: r.Intn(3) == 0}
		ok := t.Run(fmt.Sprint(seed), func(t *testing.T) {
			if w.RequireAlike(t, text, how, o) {
				used++
			}
		})
		if !ok {
			return
		}
	}
	require.Greater(t, used, least, "texts that were read ahead")
}
