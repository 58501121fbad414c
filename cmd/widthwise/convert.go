package main

import (
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/formats"
	"widthwise/formats/scenario"
)

type convertOptions struct {
	*options
	as      string // csv or vcd
	samples formats.Rate
	truth   string // file for what a scenario puts on its channels
}

func (a *app) convertCommand() *cobra.Command {
	o := convertOptions{}
	cmd := &cobra.Command{
		Use:   "convert IN OUT",
		Short: "any capture to CSV or VCD, exact in edges",
		Long: "Writes a capture as a table (one row a change, unknown levels x, or one row a sample with --samples) or as\n" +
			"a value change dump with a timescale of 1 ps. Times are not shifted. A scenario becomes a capture.\n" +
			"OUT ends in .csv or .vcd, or is - for standard output together with --as. --truth writes what a scenario\n" +
			"puts on its channels apart, for an exercise whose solution stays with the teacher.",
		Example: "  widthwise convert tug.toml tug.csv --samples 10MHz\n  widthwise convert tug.csv tug.vcd",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usageError("convert: %s given; two, IN and OUT", phrase.Count(len(args), "name"))
			}
			return nil
		},
	}
	o.options = commonFlags(cmd, "label", "active", "period", "loss-after", "limits", "color")
	group(cmd, printingGroup, func(f *pflag.FlagSet) {
		f.Func("as", "`csv|vcd` where the name of OUT does not say it", choice(&o.as, "csv", "vcd"))
		f.Func("samples", "`RATE` a row for each sample, such as 10MHz; otherwise a row for each change", into(&o.samples, formats.ParseRate))
		f.StringVar(&o.truth, "truth", "", "`FILE` what a scenario puts on its channels, as JSON")
	})
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.convert(cmd.Context(), o, args[0], args[1]) }
	return cmd
}

func (a *app) convert(ctx context.Context, o convertOptions, in, out string) error {
	as, err := o.target(in, out)
	if err != nil {
		return err
	}
	rules, err := newRules(o.options)
	if err != nil {
		return err
	}
	if err := a.fits(ctx, o, rules, in, out); err != nil {
		return err
	}
	reader, source, closeAll, err := a.source(ctx, o, rules, in)
	if err != nil {
		return err
	}
	defer closeAll()
	made, err := o.scenario(in, reader.Header().Format)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error {
		if as == "vcd" {
			return formats.WriteVCD(w, source)
		}
		return formats.WriteCSV(w, source, formats.WriteOptions{Samples: o.samples})
	}
	if out == "-" {
		err = buffered(a.out, write)
	} else {
		err = writeFile(out, write)
	}
	if unfit := (*formats.UsageError)(nil); errors.As(err, &unfit) {
		return placed(in, err)
	}
	if err != nil {
		return err
	}
	a.warnings(in, decode.Texts(reader.Origin().Warnings))
	if made == nil {
		return nil
	}
	return writeFile(o.truth, made.WriteTruth)
}

// source opens what is to be converted.
func (a *app) source(ctx context.Context, o convertOptions, r *rules, in string) (*formats.Reader, decode.Source, func(), error) {
	reader, closeFile, err := a.openCapture(in, o.options, r)
	if err != nil {
		return nil, nil, nil, placed(in, err)
	}
	var source decode.Source = cancelled{ctx, reader}
	if o.from != nil || o.to != nil {
		source = decode.Between(source, o.from, o.to)
	}
	return reader, source, func() { reader.Close(); closeFile() }, nil
}

// fits refuses more samples than the disk has room for, before the first of them
// is written. How long a capture is shows at its end only, so a file is read twice; a
// pipe cannot be.
func (a *app) fits(ctx context.Context, o convertOptions, r *rules, in, out string) error {
	if info, err := os.Stat(in); o.samples.Num == 0 || in == "-" || out == "-" || err == nil && !info.Mode().IsRegular() {
		return nil
	}
	free, known := room(filepath.Dir(out))
	if info, err := os.Stat(out); !known || err == nil && !info.Mode().IsRegular() {
		return nil
	}
	_, source, closeAll, err := a.source(ctx, o, r, in)
	if err != nil {
		return err
	}
	defer closeAll()
	length, err := lengthOf(source)
	if err != nil {
		return placed(in, err)
	}
	hertz := float64(o.samples.Num) / float64(o.samples.Den)
	rows := float64(length) / float64(decode.Second) * hertz
	row := 3 + math.Ceil(math.Log10(max(1, hertz))) + 2*float64(len(source.Channels())) // at least
	if rows*row < free {
		return nil
	}
	return usageError("--samples %s: %.1f billion rows in %s s take some %.1f GB, and %.1f GB are free in %s; a lower rate, or a row for each change without --samples",
		o.samples.Hertz(), rows/1e9, length.Seconds(1), rows*row/1e9, free/1e9, filepath.Dir(out))
}

// lengthOf reads a source to its end.
func lengthOf(s decode.Source) (decode.Time, error) {
	for i := range s.Channels() {
		s.Want(i, decode.Nothing)
	}
	for {
		if _, err := s.Next(); errors.Is(err, io.EOF) {
			return s.Origin().End - s.Origin().Start, nil
		} else if err != nil {
			return 0, err
		}
	}
}

// target finds the format to write and refuses what cannot be meant.
func (o convertOptions) target(in, out string) (string, error) {
	as := o.as
	if as == "" {
		as = strings.TrimPrefix(strings.ToLower(filepath.Ext(out)), ".")
	}
	switch {
	case as != "csv" && as != "vcd" && out == "-":
		return "", usageError("-: standard output has no name to tell the format by; --as csv or --as vcd")
	case as != "csv" && as != "vcd":
		return "", usageError("%s: no format by that name; a name in .csv or .vcd, or --as csv or --as vcd", out)
	case as == "vcd" && o.samples.Num != 0:
		return "", usageError("--samples: a value change dump has no samples; OUT in .csv, or no --samples")
	}
	return as, spare([]string{in}, out, o.truth)
}

// scenario reads the scenario whose truth is asked for; nil where none is.
func (o convertOptions) scenario(in, format string) (*scenario.Scenario, error) {
	switch {
	case o.truth == "":
		return nil, nil
	case format != "scenario" || in == "-":
		return nil, usageError("--truth %s: %s is no scenario file; only what was made up has a known truth", o.truth, in)
	}
	text, err := os.ReadFile(in)
	if err != nil {
		return nil, bare(in, err)
	}
	if !scenario.Looks(text) {
		return nil, usageError("--truth %s: %s is compressed; a plain scenario file", o.truth, in)
	}
	return scenario.Parse(in, text)
}

// cancelled ends a source when the run is interrupted.
type cancelled struct {
	ctx context.Context
	decode.Source
}

func (c cancelled) Next() (*decode.Block, error) {
	if err := c.ctx.Err(); err != nil {
		return nil, err
	}
	return c.Source.Next()
}
