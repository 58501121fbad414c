// Package formats reads captures - generic CSV tables, value change dumps and
// scenarios - as sources for package decode, and writes them back.
package formats

import (
	"widthwise/decode"
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

// ParseDuration reads a decimal number with a unit of ps, ns, us, ms, s, min or
// h, such as "22ms". Digits finer than a picosecond round half to even.
func ParseDuration(text string) (decode.Time, error) { return exact.ParseDuration(text) }

// ParseRate reads a decimal number with a unit of Hz, kHz, MHz or GHz, above
// zero and up to 100 GHz.
func ParseRate(text string) (Rate, error) { return exact.ParseRate(text) }

// ParseVolts reads a decimal number with a unit of V, mV or uV, in microvolts.
func ParseVolts(text string) (int64, error) { return exact.ParseVolts(text) }
