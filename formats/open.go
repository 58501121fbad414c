package formats

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"os"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"widthwise/decode"
)

// headSize is how much of a capture's text is looked at to find its format and
// dialect.
const headSize = 64 << 10

// input is a capture's text on its way to a format: decompressed, UTF-8, no
// byte-order mark.
type input struct {
	name        string
	head        []byte    // the first up to headSize bytes, still to come from r
	r           io.Reader // all of the text
	compression string
	encoding    string
	close       func() error
}

// Reader reads one capture. It is a [decode.Source].
type Reader struct {
	source
	close func() error
}

var _ decode.Source = (*Reader)(nil)

// Open opens the named capture; "-" is standard input. What cannot be read is
// a *ParseError or an error of the operating system, what the options ask in
// vain a *UsageError.
func Open(name string, o Options) (*Reader, error) {
	if name == "-" {
		return NewReader(os.Stdin, name, o)
	}
	f, err := os.Open(name)
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return nil, &ParseError{File: name, Err: err}
	}
	r, err := NewReader(f, name, o)
	if err != nil {
		f.Close()
		return nil, err
	}
	inner := r.close
	r.close = func() error { return errors.Join(inner(), f.Close()) }
	return r, nil
}

// NewReader reads a capture from r; name stands for it in messages. Closing
// the reader does not close r.
func NewReader(r io.Reader, name string, o Options) (*Reader, error) {
	in, err := newInput(r, name)
	if err != nil {
		return nil, err
	}
	open := openTable
	switch {
	case looksLikeVCD(in.head):
		open = openVCD
	case looksLikeScenario(in.head):
		open = openScenario
	}
	s, err := open(in, o)
	if err != nil {
		return nil, errors.Join(err, in.close())
	}
	return &Reader{source: s, close: in.close}, nil
}

// Close releases what reading took.
func (r *Reader) Close() error { return errors.Join(r.source.Close(), r.close()) }

func newInput(r io.Reader, name string) (*input, error) {
	in := &input{name: name, compression: "none", encoding: "utf-8", close: func() error { return nil }}
	br := bufio.NewReaderSize(r, headSize)
	magic, err := br.Peek(4)
	if err != nil && err != io.EOF {
		return nil, &ParseError{File: name, Err: err}
	}
	switch {
	case bytes.HasPrefix(magic, []byte{0x1f, 0x8b}):
		z, err := gzip.NewReader(br)
		if err != nil {
			return nil, &ParseError{File: name, Err: err}
		}
		in.compression, in.close = "gzip", z.Close
		br = bufio.NewReaderSize(z, headSize)
	case bytes.HasPrefix(magic, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		z, err := zstd.NewReader(br, zstd.WithDecoderMaxMemory(256<<20))
		if err != nil {
			return nil, &ParseError{File: name, Err: err}
		}
		in.compression, in.close = "zstd", func() error { z.Close(); return nil }
		br = bufio.NewReaderSize(z, headSize)
	}
	mark, _ := br.Peek(3)
	switch {
	case bytes.HasPrefix(mark, []byte{0xff, 0xfe}):
		in.encoding = "utf-16le"
		br = bufio.NewReaderSize(transform.NewReader(br, unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder()), headSize)
	case bytes.HasPrefix(mark, []byte{0xfe, 0xff}):
		in.encoding = "utf-16be"
		br = bufio.NewReaderSize(transform.NewReader(br, unicode.UTF16(unicode.BigEndian, unicode.ExpectBOM).NewDecoder()), headSize)
	case bytes.Equal(mark, []byte{0xef, 0xbb, 0xbf}):
		br.Discard(3)
	}
	head, err := br.Peek(headSize)
	if err != nil && err != io.EOF && len(head) == 0 {
		return nil, &ParseError{File: name, Err: err}
	}
	in.head, in.r = head, br
	return in, nil
}
