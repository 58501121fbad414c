package formats

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/table"
	"widthwise/formats/internal/vcd"
	"widthwise/formats/scenario"
)

// Reader reads one capture. It is a [decode.Source].
type Reader struct {
	source
	in    *capture.Input
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
		return nil, &ParseError{File: name, Err: capture.Bare(err)}
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
	in, err := capture.NewInput(r, name)
	if err != nil {
		return nil, err
	}
	s, err := chooseFormat(in)(in, o)
	if err != nil {
		in.Close()
		return nil, err
	}
	return &Reader{source: s, in: in, close: in.Close}, nil
}

// chooseFormat tells formats apart by content; what is neither a dump nor a
// scenario is a table. A TOML file is a scenario, if a damaged one.
func chooseFormat(in *capture.Input) func(*capture.Input, Options) (source, error) {
	switch {
	case vcd.Looks(in.Head):
		return vcd.Open
	case scenario.Looks(in.Head), strings.EqualFold(filepath.Ext(in.Name), ".toml"):
		return openScenario
	}
	return table.Open
}

// Origin tells how the times of the capture came about, and what is missing of
// the file.
func (r *Reader) Origin() decode.Origin {
	o := r.source.Origin()
	o.Warnings = append(slices.Clone(r.in.Warnings), o.Warnings...)
	return o
}

// Close releases what reading took.
func (r *Reader) Close() error { return errors.Join(r.source.Close(), r.close()) }

// maxScenario is the longest scenario text.
const maxScenario = 4 << 20

func openScenario(in *capture.Input, o Options) (source, error) {
	text, err := io.ReadAll(io.LimitReader(in.R, maxScenario+1))
	if err != nil {
		return nil, &ParseError{File: in.Name, Err: err}
	}
	if len(text) > maxScenario {
		return nil, &ParseError{File: in.Name, Err: errors.New("the scenario is longer than 4 MiB"), Fix: "use repeat and chance for faults that recur"}
	}
	s, err := scenario.Parse(in.Name, text)
	if err != nil {
		return nil, err
	}
	src, err := s.Open(o)
	if err != nil {
		return nil, err
	}
	h := src.Header()
	h.File, h.Compression, h.Encoding = in.Name, in.Compression, in.Encoding
	return src, nil
}
