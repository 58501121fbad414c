package ahead

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
)

func lineEnd(text []byte) int { return bytes.LastIndexByte(text, '\n') + 1 }

// section is a text that is read by positions.
func section(text string) io.Reader {
	return io.NewSectionReader(strings.NewReader("before "+text), 7, math.MaxInt64-7)
}

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
	for _, size := range []int{12, 17, 40, 1000, 1 << 20} {
		for workers := range 3 {
			for _, r := range []io.Reader{strings.NewReader(text), section(text), iotest.OneByteReader(strings.NewReader(text)), iotest.DataErrReader(strings.NewReader(text))} {
				got, lines, err := drain(t, r, How{Size: size, Workers: workers + 1})
				require.Equal(t, io.EOF, err)
				require.Equal(t, text, got)
				require.Equal(t, 600, lines)
			}
		}
	}
}

// TestNothingStaleBehindAPiece: words are read beyond a piece's text, where zeros
// stand and not what was read into the same memory before, or belongs to the next.
func TestNothingStaleBehindAPiece(t *testing.T) {
	text := strings.Repeat("1111111111111111111\n1111\n", 30) + "111"
	for size := 20; size < 60; size++ {
		for _, r := range []io.Reader{strings.NewReader(text), section(text)} {
			q := New(r, How{Size: size, Workers: 1}, lineEnd, func() func(*Piece[int]) { return func(*Piece[int]) {} })
			for {
				p := q.Next()
				require.Equal(t, make([]byte, Slack), p.Text[len(p.Text):len(p.Text)+Slack], "size %d", size)
				if p.Err != nil {
					break
				}
				q.Free(p)
			}
			q.Close()
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

// TestFirstEndWins: a file that grows while workers read it ends where the first
// of them, in the order of the file, has met its end.
func TestFirstEndWins(t *testing.T) {
	text := strings.Repeat("a line of it\n", 5000)
	for _, end := range []int64{0, 1, 1000, 1003, 31_999} {
		got, _, err := drain(t, io.NewSectionReader(growing{strings.NewReader(text), end}, 0, math.MaxInt64), How{Size: 1000, Workers: 3})
		require.Equal(t, io.EOF, err)
		require.Equal(t, text[:end], got)
	}
}

// growing ends at a place for whoever reads up to it, and not for others.
type growing struct {
	*strings.Reader
	end int64
}

func (g growing) ReadAt(p []byte, at int64) (int, error) {
	if at < g.end && at+int64(len(p)) > g.end {
		n, _ := g.Reader.ReadAt(p[:g.end-at], at)
		return n, io.EOF
	}
	if at == g.end {
		return 0, io.EOF
	}
	return g.Reader.ReadAt(p, at)
}

type stalled struct{}

func (stalled) Read([]byte) (int, error) { return 0, nil }

// TestNoSeam: a text without a place to cut it comes in pieces of which only
// the first was seen by a worker.
func TestNoSeam(t *testing.T) {
	text := strings.Repeat("x", 5*patience*1000)
	q := New(strings.NewReader(text), How{Size: 1000}, lineEnd, func() func(*Piece[int]) { return func(*Piece[int]) {} })
	defer q.Close()
	first := q.Next()
	require.True(t, first.Seen)
	require.GreaterOrEqual(t, len(first.Text), patience*1000)
	require.False(t, q.Next().Seen)
}
