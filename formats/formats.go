// Package formats reads captures - generic CSV tables, value change dumps and
// scenarios - as sources for package decode, and writes them back.
package formats

import (
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// How a capture is read, and what is known of it before its samples are.
type (
	// Options steer how a capture is read. The zero value finds everything out.
	Options = capture.Options
	// Rate is a frequency in hertz as a fraction. The zero value is no rate.
	Rate = exact.Rate
	// Dialect is how a table spells its rows. Zero fields mean: find out.
	Dialect = capture.Dialect
	// Header is what is known before the samples are read.
	Header = capture.Header
	// Variable is one thing a capture declares, whether or not it becomes a channel.
	Variable = capture.Variable
)

// What cannot be read is a *ParseError, what the options ask in vain a *UsageError.
type (
	// ParseError is damage in a capture with its place.
	ParseError = capture.ParseError
	// UsageError is a request the capture cannot meet, such as a channel that it
	// does not have.
	UsageError = capture.UsageError
)

// source is what each format implements.
type source = capture.Source
