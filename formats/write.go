package formats

import (
	"io"

	"widthwise/decode"
)

// WriteOptions steer how a capture is written.
type WriteOptions struct {
	// Samples writes a row for each sample at this rate; the zero value writes
	// a row for each change.
	Samples Rate
}

// WriteCSV writes s as a table: a time column in seconds and one column for
// each channel, levels 0, 1 and x. It streams blocks and does not close s.
func WriteCSV(w io.Writer, s decode.Source, o WriteOptions) error { return nil }

// WriteVCD writes s as a value change dump with a timescale of 1 ps.
func WriteVCD(w io.Writer, s decode.Source) error { return nil }
