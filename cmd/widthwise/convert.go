package main

import (
	"context"
	"errors"
	"io"
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
	reader, closeFile, err := a.openCapture(in, o.options, rules)
	if err != nil {
		return placed(in, err)
	}
	defer closeFile()
	defer reader.Close()
	var source decode.Source = cancelled{ctx, reader}
	if o.from != nil || o.to != nil {
		source = decode.Between(source, o.from, o.to)
	}
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
