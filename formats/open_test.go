package formats

import (
	"bytes"
	"io"
	"testing"
	"testing/iotest"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A gzip file may have several members (RFC 1952, 2.2) and padding behind them;
// a zstd file may begin with a frame to be left out (RFC 8878, 3.1.2).
func TestCompressedOddities(t *testing.T) {
	member := func(text string) []byte {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		z.Write([]byte(text))
		require.NoError(t, z.Close())
		return b.Bytes()
	}
	e, err := zstd.NewWriter(nil)
	require.NoError(t, err)
	table := "time [ms],throttle\n0,0\n1,1\n2,0\n3,0\n"
	for name, file := range map[string][]byte{
		"members": append(member(table[:21]), member(table[21:])...),
		"padding": append(member(table), make([]byte, 512)...),
		"rest":    append(member(table), "left behind"...),
		"skipped": append([]byte{0x50, 0x2a, 0x4d, 0x18, 3, 0, 0, 0, 1, 2, 3}, e.EncodeAll([]byte(table), nil)...),
	} {
		r, err := NewReader(bytes.NewReader(file), name, Options{})
		require.NoError(t, err, name)
		for err == nil {
			_, err = r.Next()
		}
		assert.Equal(t, io.EOF, err, name)
		assert.EqualValues(t, 4, r.Origin().Rows, name)
		require.NoError(t, r.Close())
	}
}

// A UTF-16 file that ends in the middle of a character ends one earlier,
// however few bytes a read gives.
func TestHalfACharacter(t *testing.T) {
	text := []byte{0xff, 0xfe}
	for _, c := range "time [ms],throttle\n0,0\n1,1\n2,0\n33" {
		text = append(text, byte(c), 0)
	}
	for _, r := range []io.Reader{bytes.NewReader(text[:len(text)-1]), iotest.OneByteReader(bytes.NewReader(text[:len(text)-1]))} {
		c, err := NewReader(r, "cut.csv", Options{})
		require.NoError(t, err)
		for err == nil {
			_, err = c.Next()
		}
		require.Equal(t, io.EOF, err)
		assert.EqualValues(t, 3, c.Origin().Rows)
		assert.Contains(t, c.Origin().Notes[len(c.Origin().Notes)-1], "cut off")
	}
}

func TestMissingFile(t *testing.T) {
	_, err := Open("no/such.csv", Options{})
	require.EqualError(t, err, "no/such.csv: no such file or directory")
}
