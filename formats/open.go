package formats

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
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
// a *ParseError, what the options ask in vain a *UsageError.
func Open(name string, o Options) (*Reader, error) {
	if name == "-" {
		return NewReader(os.Stdin, name, o)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, &ParseError{File: name, Err: bare(err)}
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

// bare takes the operation and the name off an error of the operating system.
func bare(err error) error {
	var at *os.PathError
	if errors.As(err, &at) {
		return at.Err
	}
	return err
}

// NewReader reads a capture from r; name stands for it in messages. Closing
// the reader does not close r.
func NewReader(r io.Reader, name string, o Options) (*Reader, error) {
	in, err := newInput(r, name)
	if err != nil {
		return nil, &ParseError{File: name, Err: bare(err)}
	}
	s, err := chooseFormat(in)(in, o)
	if err != nil {
		in.close()
		return nil, err
	}
	return &Reader{source: s, close: in.close}, nil
}

// chooseFormat tells formats apart by content; what is neither a dump nor a
// scenario is a table.
func chooseFormat(in *input) func(*input, Options) (source, error) {
	switch {
	case looksLikeVCD(in.head):
		return openVCD
	case looksLikeScenario(in.head):
		return openScenario
	}
	return openTable
}

// Close releases what reading took.
func (r *Reader) Close() error { return errors.Join(r.source.Close(), r.close()) }

// newInput undoes compression and encoding.
func newInput(r io.Reader, name string) (*input, error) {
	in := &input{name: name}
	br, err := in.decompress(bufio.NewReaderSize(r, headSize))
	if err != nil {
		return nil, err
	}
	br = in.decode(br)
	head, err := br.Peek(headSize)
	if err != nil && err != io.EOF && len(head) == 0 {
		in.close()
		switch {
		case errors.Is(err, io.ErrUnexpectedEOF):
			err = fmt.Errorf("the %s data end before any text", in.compression)
		case in.compression != "none":
			err = fmt.Errorf("begins like a %s file and is none: %w", in.compression, err)
		}
		return nil, err
	}
	in.head, in.r = head, br
	return in, nil
}

// maxWindow bounds what a zstd frame may ask of memory; it is the window of
// the format's long mode.
const maxWindow = 128 << 20

// decompress recognises gzip (RFC 1952) and zstd (RFC 8878) by their magic
// numbers.
func (in *input) decompress(br *bufio.Reader) (*bufio.Reader, error) {
	in.compression, in.close = "none", func() error { return nil }
	magic, err := br.Peek(4)
	if err != nil && err != io.EOF {
		return nil, err
	}
	switch {
	case bytes.HasPrefix(magic, []byte{0x1f, 0x8b}):
		z, err := gzip.NewReader(br)
		if err != nil {
			return nil, fmt.Errorf("begins like a gzip file and is none: %w", err)
		}
		z.Multistream(false)
		in.compression, in.close = "gzip", z.Close
		return bufio.NewReaderSize(&gzipMembers{z, br}, headSize), nil
	case bytes.HasPrefix(magic, []byte{0x28, 0xb5, 0x2f, 0xfd}), skippable(magic):
		z, err := zstd.NewReader(br, zstd.WithDecoderMaxWindow(maxWindow), zstd.WithDecoderLowmem(true))
		if err != nil {
			return nil, err
		}
		in.compression, in.close = "zstd", func() error { z.Close(); return nil }
		return bufio.NewReaderSize(z, headSize), nil
	}
	return br, nil
}

// skippable tells the magic number of a frame that zstd leaves out.
func skippable(magic []byte) bool {
	return len(magic) == 4 && magic[0]&0xf0 == 0x50 && bytes.Equal(magic[1:], []byte{0x2a, 0x4d, 0x18})
}

// gzipMembers reads the members of a gzip file one after another, up to what is
// none: padding, or whatever a transfer left behind it.
type gzipMembers struct {
	z    *gzip.Reader
	from *bufio.Reader
}

func (g *gzipMembers) Read(p []byte) (int, error) {
	for {
		n, err := g.z.Read(p)
		if err != io.EOF || n > 0 {
			if err == io.EOF {
				err = nil
			}
			return n, err
		}
		if magic, _ := g.from.Peek(2); !bytes.Equal(magic, []byte{0x1f, 0x8b}) {
			return 0, io.EOF
		}
		if err := g.z.Reset(g.from); err != nil {
			return 0, err
		}
		g.z.Multistream(false)
	}
}

// decode recognises UTF-16 by its byte-order mark, or by a zero in every other
// byte, and takes a mark off UTF-8.
func (in *input) decode(br *bufio.Reader) *bufio.Reader {
	in.encoding = "utf-8"
	start, _ := br.Peek(256)
	order, mark := unicode.LittleEndian, unicode.IgnoreBOM
	switch {
	case bytes.HasPrefix(start, []byte{0xff, 0xfe}):
		mark = unicode.ExpectBOM
	case bytes.HasPrefix(start, []byte{0xfe, 0xff}):
		order, mark = unicode.BigEndian, unicode.ExpectBOM
	case zerosAt(start, 1):
	case zerosAt(start, 0):
		order = unicode.BigEndian
	default:
		if bytes.HasPrefix(start, []byte{0xef, 0xbb, 0xbf}) {
			br.Discard(3)
		}
		return br
	}
	in.encoding = "utf-16le"
	if order == unicode.BigEndian {
		in.encoding = "utf-16be"
	}
	return bufio.NewReaderSize(transform.NewReader(&pairs{r: br}, unicode.UTF16(order, mark).NewDecoder()), headSize)
}

// pairs reads whole pairs of bytes: half a character at the end of a file that
// was cut off is left out.
type pairs struct {
	r    io.Reader
	half []byte
}

func (p *pairs) Read(to []byte) (int, error) {
	if len(to) < 2 {
		return 0, io.ErrShortBuffer
	}
	for {
		n := copy(to, p.half)
		m, err := p.r.Read(to[n:])
		n += m
		p.half = append(p.half[:0], to[n-n%2:n]...)
		if n -= n % 2; n > 0 || err != nil {
			return n, err
		}
	}
}

// zerosAt tells whether text is zero in every other byte from the given one
// on, and nowhere else.
func zerosAt(text []byte, from int) bool {
	for i, c := range text {
		if (c == 0) != (i%2 == from) {
			return false
		}
	}
	return len(text) >= 4
}
