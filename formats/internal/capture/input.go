package capture

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"unicode/utf16"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
)

// HeadSize is how much of a capture's text is looked at to find its format and
// dialect.
const HeadSize = 64 << 10

// Input is a capture's text on its way to a format: decompressed, UTF-8, no
// byte-order mark.
type Input struct {
	Name        string
	Head        []byte    // the first up to HeadSize bytes, still to come from R
	R           io.Reader // all of the text
	Compression string
	Encoding    string
	Close       func() error
	Plain       bool      // no fast paths
	Ahead       ahead.How // how they read ahead
	Settle      int       // how soon: after so many steps of a table, usually 1000, or bytes of a dump, usually 4096
	// Warnings are on what is missing of the file or was left out; complete once
	// R is at its end.
	Warnings []decode.Remark

	file io.ReaderAt // what the text can be read from at any place; nil for a stream
	from int64       // where in it the text begins
}

// Rest is the text from a byte on: an *io.SectionReader where that can be read
// at several places at once, else what has been read of it and what R has still
// to give, or the error R has ended with.
func (in *Input) Rest(at int64, read []byte, err error) io.Reader {
	if in.file != nil && err == nil {
		at += in.from
		return io.NewSectionReader(in.file, at, math.MaxInt64-at)
	}
	begin := bytes.NewReader(bytes.Clone(read))
	if err != nil {
		return io.MultiReader(begin, ended{err})
	}
	return io.MultiReader(begin, in.R)
}

// Room is how large a buffer the text is read with: the usual, or less where the
// head is all there is.
func (in *Input) Room(usual int) int {
	if n := len(in.Head); n > 0 && n < HeadSize {
		return min(usual, n+2) // one to find the end in, one for a mark behind it
	}
	return usual
}

// ended is a text that has ended with an error.
type ended struct{ err error }

func (e ended) Read([]byte) (int, error) { return 0, e.err }

// anyPlace keeps r as what can be read at any place, from where it stands, if
// that is so: pipes and devices are not such.
func (in *Input) anyPlace(r io.Reader) {
	if f, ok := r.(interface{ Stat() (os.FileInfo, error) }); ok {
		if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
			return
		}
	}
	s, ok := r.(interface {
		io.ReaderAt
		io.Seeker
	})
	if !ok {
		return
	}
	if at, err := s.Seek(0, io.SeekCurrent); err == nil {
		in.file, in.from = s, at
	}
}

func (in *Input) warn(kind decode.RemarkKind, format string, args ...any) {
	in.Warnings = append(in.Warnings, decode.Remarkf(kind, "", format, args...))
}

// Bare takes the operation and the name off an error of the operating system.
func Bare(err error) error {
	var at *os.PathError
	if errors.As(err, &at) {
		return at.Err
	}
	return err
}

// NewInput undoes compression and encoding. What fails is a *ParseError.
func NewInput(r io.Reader, name string) (*Input, error) {
	in := &Input{Name: name, Plain: plain}
	in.anyPlace(r)
	br, err := in.decompress(bufio.NewReaderSize(r, HeadSize))
	if err != nil {
		return nil, in.failed(err)
	}
	br = in.decode(br)
	head, err := br.Peek(HeadSize)
	if err != nil && err != io.EOF && len(head) == 0 {
		in.Close()
		switch {
		case errors.Is(err, io.ErrUnexpectedEOF):
			err = fmt.Errorf("the %s data end before any text", in.Compression)
		case in.Compression != "none":
			err = in.damaged(err)
		}
		return nil, in.failed(err)
	}
	if in.Compression != "none" || in.Encoding != "utf-8" {
		in.file = nil
	}
	in.Head, in.R = head, br
	return in, nil
}

// damaged says what is wrong with compressed data.
func (in *Input) damaged(err error) error {
	return fmt.Errorf("not a valid %s file: %s", in.Compression, strings.TrimPrefix(err.Error(), in.Compression+": "))
}

func (in *Input) failed(err error) error {
	return &ParseError{File: in.Name, Err: Bare(err), Fix: Readable}
}

// maxWindow bounds what a zstd frame may ask of memory; it is the window of
// the format's long mode.
const maxWindow = 128 << 20

// decompress recognises gzip (RFC 1952) and zstd (RFC 8878) by their magic
// numbers.
func (in *Input) decompress(br *bufio.Reader) (*bufio.Reader, error) {
	in.Compression, in.Close = "none", func() error { return nil }
	magic, err := br.Peek(4)
	if err != nil && err != io.EOF {
		return nil, err
	}
	switch {
	case bytes.HasPrefix(magic, []byte{0x1f, 0x8b}):
		z, err := gzip.NewReader(br)
		if err != nil {
			in.Compression = "gzip"
			return nil, in.damaged(err)
		}
		z.Multistream(false)
		in.Compression = "gzip"
		return bufio.NewReaderSize(&gzipMembers{z, br, in}, HeadSize), nil
	case bytes.HasPrefix(magic, []byte{0x28, 0xb5, 0x2f, 0xfd}), skippable(magic):
		z, err := zstd.NewReader(br, zstd.WithDecoderMaxWindow(maxWindow), zstd.WithDecoderLowmem(true))
		if err != nil {
			return nil, err
		}
		in.Compression, in.Close = "zstd", func() error { z.Close(); return nil }
		return bufio.NewReaderSize(&zstdFrames{z: z, in: in}, HeadSize), nil
	}
	return br, nil
}

// skippable tells the magic number of a frame that zstd leaves out.
func skippable(magic []byte) bool {
	return len(magic) == 4 && magic[0]&0xf0 == 0x50 && bytes.Equal(magic[1:], []byte{0x2a, 0x4d, 0x18})
}

// gzipMembers reads the members of a gzip file one after another. What comes
// behind them, other than zeros that fill a block, is left out with a warning.
type gzipMembers struct {
	z    *gzip.Reader
	from *bufio.Reader
	in   *Input
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
			return 0, g.rest()
		}
		if err := g.z.Reset(g.from); err != nil {
			return 0, err
		}
		g.z.Multistream(false)
	}
}

// rest reads what lies behind the last member.
func (g *gzipMembers) rest() error {
	size, zeros := int64(0), true
	for {
		piece, err := g.from.Peek(g.from.Buffered())
		if len(piece) == 0 {
			piece, err = g.from.Peek(1)
		}
		zeros = zeros && len(bytes.Trim(piece, "\x00")) == 0
		size += int64(len(piece))
		g.from.Discard(len(piece))
		if len(piece) == 0 {
			if !zeros {
				g.in.warn(decode.LeftOver, "%d bytes behind the gzip data are not part of them and were left out", size)
			}
			return err
		}
	}
}

// zstdFrames reads the frames of a zstd file. What comes behind them is left
// out with a warning.
type zstdFrames struct {
	z     *zstd.Decoder
	in    *Input
	ended bool
}

func (f *zstdFrames) Read(p []byte) (int, error) {
	if f.ended {
		return 0, io.EOF
	}
	n, err := f.z.Read(p)
	if f.ended = errors.Is(err, zstd.ErrMagicMismatch); f.ended {
		f.in.warn(decode.LeftOver, "bytes behind the zstd data are not part of them and were left out")
		err = io.EOF
	}
	return n, err
}

// decode recognises UTF-16 by its byte-order mark, or by a zero in every other
// byte, and takes a mark off UTF-8.
func (in *Input) decode(br *bufio.Reader) *bufio.Reader {
	in.Encoding = "utf-8"
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
			in.from += 3
		}
		return br
	}
	in.Encoding = "utf-16le"
	if order == unicode.BigEndian {
		in.Encoding = "utf-16be"
	}
	return bufio.NewReaderSize(transform.NewReader(&pairs{r: br, big: order == unicode.BigEndian, in: in}, unicode.UTF16(order, mark).NewDecoder()), HeadSize)
}

// pairs reads whole characters of UTF-16: half of one at the end of a file that
// was cut off is left out with a warning.
type pairs struct {
	r    io.Reader
	big  bool
	in   *Input
	half []byte // up to three bytes of a character
}

func (p *pairs) Read(to []byte) (int, error) {
	if len(to) < 8 {
		return 0, io.ErrShortBuffer
	}
	for {
		n := copy(to, p.half)
		m, err := p.r.Read(to[n:])
		n += m
		whole := n - n%2
		if whole >= 2 && p.leads(to[whole-2:whole]) {
			whole -= 2
		}
		p.half = append(p.half[:0], to[whole:n]...)
		if err == io.EOF && len(p.half) > 0 {
			p.in.warn(decode.CutOff, "cut off: the file ends inside a character, which was left out")
			p.half = p.half[:0]
		}
		if whole > 0 || err != nil {
			return whole, err
		}
	}
}

// leads tells whether a unit is the first of two that make one character
// (RFC 2781).
func (p *pairs) leads(unit []byte) bool {
	high := unit[1]
	if p.big {
		high = unit[0]
	}
	return utf16.IsSurrogate(rune(high)<<8) && high < 0xdc
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
