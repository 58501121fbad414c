package formats

import (
	"bytes"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
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
	packed := e.EncodeAll([]byte(table), nil)
	for _, c := range []struct {
		name, warning string
		file          []byte
	}{
		{"members", "", append(member(table[:21]), member(table[21:])...)},
		{"padding", "", append(member(table), make([]byte, 512)...)},
		{"rest", "11 bytes behind the gzip data are not part of them and were left out", append(member(table), "left behind"...)},
		{"skipped", "", append([]byte{0x50, 0x2a, 0x4d, 0x18, 3, 0, 0, 0, 1, 2, 3}, packed...)},
		{"frames", "", append(e.EncodeAll([]byte(table[:21]), nil), e.EncodeAll([]byte(table[21:]), nil)...)},
		{"rest of zstd", "bytes behind the zstd data are not part of them and were left out", append(bytes.Clone(packed), "left behind"...)},
		{"half a member", "cut off: the compressed capture ends early, after line 5.", append(member(table), member(table)[:12]...)},
	} {
		r, err := NewReader(bytes.NewReader(c.file), c.name, Options{})
		require.NoError(t, err, c.name)
		for err == nil {
			_, err = r.Next()
		}
		assert.Equal(t, io.EOF, err, c.name)
		assert.EqualValues(t, 4, r.Origin().Rows, c.name)
		assert.Equal(t, c.warning, strings.Join(decode.Texts(r.Origin().Warnings), "; "), c.name)
		require.NoError(t, r.Close())
	}
}

// A scenario file that is damaged at its beginning is a damaged scenario.
func TestTOMLWithoutTitle(t *testing.T) {
	for text, want := range map[string]string{
		"this is no scenario\n":         "tug.toml:1:6: expected '=' after key",
		"[channel]\nname = \"winch\"\n": "tug.toml:1:2: channel is a list; write [[channel]]",
		"width_fail_us = [800, 2200]\n": "tug.toml:1:1: unknown key \"width_fail_us\"; the keys here are scenario, seed, ",
	} {
		_, err := NewReader(strings.NewReader(text), "tug.toml", Options{})
		assert.ErrorContains(t, err, want)
	}
}

// A UTF-16 file that ends in the middle of a character, in its first unit or
// behind that, ends one earlier, however few bytes a read gives.
func TestHalfACharacter(t *testing.T) {
	text := []byte{0xff, 0xfe}
	for _, c := range "time [ms],throttle\n0,0\n1,1\n2,0\n33" {
		text = append(text, byte(c), 0)
	}
	half := text[:len(text)-1]
	pair := append(text[:len(text)-2:len(text)-2], 0x3d, 0xd8)
	for _, r := range []io.Reader{bytes.NewReader(half), iotest.OneByteReader(bytes.NewReader(half)), bytes.NewReader(pair), iotest.OneByteReader(bytes.NewReader(pair))} {
		c, err := NewReader(r, "cut.csv", Options{})
		require.NoError(t, err)
		for err == nil {
			_, err = c.Next()
		}
		require.Equal(t, io.EOF, err)
		assert.EqualValues(t, 3, c.Origin().Rows)
		assert.Equal(t, decode.CutOff, c.Origin().Warnings[0].Kind)
	}
}

func TestMissingFile(t *testing.T) {
	_, err := Open("no/such.csv", Options{})
	require.EqualError(t, err, "no/such.csv: no such file or directory")
}
