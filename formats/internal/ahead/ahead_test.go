package ahead

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
)

func lineEnd(text []byte) int { return bytes.LastIndexByte(text, '\n') + 1 }

// drain joins the pieces of a text and counts the lines that workers saw.
func drain(t *testing.T, r io.Reader, how How) (text string, lines int, err error) {
	q := New(r, how, lineEnd, func() func(*Piece[int]) {
		return func(p *Piece[int]) { p.Found = bytes.Count(p.Text, []byte{'\n'}) }
	})
	defer q.Close()
	for {
		p := q.Next()
		text += string(p.Text)
		if p.Seen {
			lines += p.Found
		}
		require.Equal(t, make([]byte, Slack), p.Text[len(p.Text):len(p.Text)+Slack], "zeros behind the text")
		if p.Err != nil {
			return text, lines, p.Err
		}
		q.Free(p)
	}
}

// TestPiecesJoin: the pieces are the text, cut at line ends, whatever their
// size, the number of workers, and how the text comes.
func TestPiecesJoin(t *testing.T) {
	text := strings.Repeat("a short line\nand one that is longer than a piece may be\n\n", 200) + "an end without one"
	for _, size := range []int{1, 7, 40, 1000, 1 << 20} {
		for workers := range 3 {
			for _, r := range []io.Reader{strings.NewReader(text), iotest.OneByteReader(strings.NewReader(text)), iotest.DataErrReader(strings.NewReader(text))} {
				got, lines, err := drain(t, r, How{Size: size, Workers: workers + 1})
				require.Equal(t, io.EOF, err)
				require.Equal(t, text, got)
				require.Equal(t, 600, lines)
			}
		}
	}
}

// TestErrorComesLast: what was read before an error is handed out with it.
func TestErrorComesLast(t *testing.T) {
	broken := errors.New("broken")
	got, _, err := drain(t, io.MultiReader(strings.NewReader("1\n2\n3"), iotest.ErrReader(broken)), How{Size: 2})
	require.Equal(t, broken, err)
	require.Equal(t, "1\n2\n3", got)
	_, _, err = drain(t, stalled{}, How{})
	require.Equal(t, io.ErrNoProgress, err)
}

type stalled struct{}

func (stalled) Read([]byte) (int, error) { return 0, nil }

// TestNoSeam: a text without a place to cut it comes in pieces of which only
// the first was seen by a worker.
func TestNoSeam(t *testing.T) {
	text := strings.Repeat("x", 5*longest)
	q := New(strings.NewReader(text), How{Size: 1000}, lineEnd, func() func(*Piece[int]) { return func(*Piece[int]) {} })
	defer q.Close()
	first := q.Next()
	require.True(t, first.Seen)
	require.GreaterOrEqual(t, len(first.Text), longest)
	require.False(t, q.Next().Seen)
}
