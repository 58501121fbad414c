package table

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/sourcetest"
)

// newReader opens a table whose text may be compressed.
func newReader(r io.Reader, name string, o capture.Options) (capture.Source, error) {
	in, err := capture.NewInput(r, name)
	if err != nil {
		return nil, err
	}
	return Open(in, o)
}

func openFile(name string, o capture.Options) (capture.Source, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	return newReader(bytes.NewReader(text), name, o)
}

// collect reads a source to its end or error.
func collect(s decode.Source) (names []string, edges [][]sourcetest.Change, err error) {
	for _, c := range s.Channels() {
		names = append(names, c.Name)
	}
	edges, err = sourcetest.Drain(s)
	return names, edges, err
}

// read decodes a table written in the test and returns its edges in words.
func read(t *testing.T, text string, o capture.Options) (edges string, origin decode.Origin, err error) {
	r, err := newReader(strings.NewReader(text), "tug.csv", o)
	if err != nil {
		return "", origin, err
	}
	defer r.Close()
	names, list, err := collect(r)
	var b strings.Builder
	for i, name := range names {
		fmt.Fprintf(&b, "%s:", name)
		for _, e := range list[i] {
			fmt.Fprintf(&b, " %s %s", e.Level, e.At.Micros(6))
		}
		b.WriteString("\n")
	}
	return b.String(), r.Origin(), err
}
