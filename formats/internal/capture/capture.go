// Package capture is the ground that the readers of all formats stand on: what
// a user asks of them, what they tell of a file before its samples, errors with
// their place, which channels are meant, and the bytes of a file unpacked and
// decoded to UTF-8.
package capture

import (
	"fmt"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// Options steer how a capture is read. The zero value finds everything out.
type Options struct {
	// Select lists the channels to hand out: a name, a dotted path, a bit
	// "bus[3]", a pattern with * and ?, or "#3" for the third column of a
	// table, all columns counted from 1. Empty: all. One that matches nothing is a *UsageError.
	Select []string
	// Witnesses hands out the channels that are not selected as well, marked as
	// witnesses. The time base is that of all of them in either case.
	Witnesses bool
	// Also lists names that are added to the rest, such as those a limits file names
	// (a bit of a vector, say), and marks them as named. One that matches nothing is a *UsageError.
	Also []string
	// IfThere lists names that are added and marked likewise where there is
	// such a channel; one that matches nothing is passed over.
	IfThere []string
	// Rate in hertz states the sample rate of a table without a time column.
	// As a rational: numerator and denominator; 0 states nothing.
	Rate exact.Rate
	// TimeUnit states the unit of a table's time column: s, ms, us, ns; "" finds it.
	TimeUnit string
	// Threshold and Hysteresis in microvolts for analog columns; nil finds them.
	Threshold, Hysteresis *int64
	// SkipBadRows leaves damaged rows out and counts them.
	SkipBadRows bool
	// Dialect overrides parts of a table's dialect; zero fields find it out.
	Dialect Dialect
}

// Nanovolts turns a stated voltage into the unit readings are kept in.
func Nanovolts(microvolts *int64) *int64 {
	if microvolts == nil {
		return nil
	}
	v := *microvolts * 1000
	return &v
}

// Dialect is how a table spells its rows. Zero fields mean: find out.
type Dialect struct {
	Delimiter rune // ',', ';', '\t', '|', ' ' for runs of spaces
	Decimal   rune // '.' or ','
}

// Variable is one thing a capture declares, whether or not it becomes a channel.
type Variable struct {
	Name     string   // the channel's name, or the one it would have
	Path     string   // dotted scope path of a dump, "" elsewhere
	Kind     string   // "digital", "analog", "vector", "real", "text", "time", ...
	Width    int      // bits
	Column   int      // of a table, counted from 1; 0 elsewhere
	Aliases  []string // further names of the same signal
	Selected bool     // is among Channels
}

// Header is what is known before the samples are read.
type Header struct {
	File         string
	Format       string   // "csv", "vcd" or "scenario"
	Compression  string   // "none", "gzip" or "zstd"
	Encoding     string   // "utf-8", "utf-16le", "utf-16be" or "iso-8859-1"
	Dialect      string   // the decision in one line
	Alternatives []string // what else it could have been, best first
	Variables    []Variable
}

// ParseError is damage in a capture with its place. Line and Column count from
// 1 (columns in bytes, of the decompressed text); a Line of 0 is the file as a
// whole, a Column of 0 the line as a whole, which is told as its first.
type ParseError struct {
	File         string
	Line, Column int64
	Err          error  // what is wrong
	Fix          string // what would be right
}

// Readable is what would be right where reading or unpacking itself fails.
const Readable = "a file that can be read, and unpacked, to its end"

// Error returns "FILE:LINE:COLUMN: what is wrong; what would be right".
func (e *ParseError) Error() string {
	s := e.File
	if e.Line > 0 {
		s += fmt.Sprintf(":%d:%d", e.Line, max(e.Column, 1))
	}
	s += ": " + e.Err.Error()
	if e.Fix != "" {
		s += "; " + e.Fix
	}
	return s
}

func (e *ParseError) Unwrap() error { return e.Err }

// UsageError is a request the capture cannot meet, such as a channel that it
// does not have.
type UsageError struct {
	Message string
	Channel string // that was asked for in vain; "" where the request is another
}

func (e *UsageError) Error() string { return e.Message }

// Source is what each format implements: a decode.Source with a header.
type Source interface {
	decode.Source
	Header() *Header
}
