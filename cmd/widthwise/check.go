package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"widthwise/decode/diagnose"
	"widthwise/report"
)

type checkOptions struct {
	*options
	pictures
	json bool
}

func (a *app) checkCommand() *cobra.Command {
	o := &checkOptions{}
	cmd := &cobra.Command{
		Use:   "check CAPTURE...",
		Short: "decode captures and judge them",
		Long: "Decodes captures and judges their channels: servo and pulse-position signals, and every channel named\n" +
			"by --channel or a limits file, which then fails if its wire is dead. The exit status is 0 in order,\n" +
			"1 something failed, 2 usage or unreadable, 3 undecided.",
		Example: "  widthwise check tug.csv\n  widthwise check --channel winch --period 22ms tug.vcd.gz\n  widthwise check --quiet lab/*.csv",
		Args:    someCaptures,
	}
	o.options = commonFlags(cmd)
	group(cmd, printingGroup, o.flags)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		all, err := a.captures(o.options, args)
		if err != nil {
			return err
		}
		return a.check(cmd.Context(), o, all)
	}
	return cmd
}

func (o *checkOptions) flags(f *pflag.FlagSet) {
	f.BoolVar(&o.json, "json", false, "one JSON document over all captures")
	o.pictures.flags(f)
}

// someCaptures refuses a command line without a capture.
func someCaptures(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return usageError("%s: no capture given; %s, - for standard input", cmd.Name(), useLine(cmd))
	}
	return nil
}

// check judges each capture and tells of it before the next one is read.
func (a *app) check(ctx context.Context, o *checkOptions, all *batch) error {
	if o.json && o.alone() {
		return usageError("--html -: with --json there is one document too many for standard output; --html FILE")
	}
	style := a.style(o.layout, o.color)
	document := report.NewCheck()
	first := true
	for c, err := range all.each(ctx) {
		if err != nil {
			document.Unreadable()
			continue
		}
		a.ended(exitOf(c.judgement.Outcome))
		told := report.NewCapture(c.header, c.analysis, c.judgement, diagnose.Explain(c.analysis, c.judgement), c.labels)
		document.Add(told)
		if err := o.add(told, c); err != nil {
			return err
		}
		switch {
		case o.json || o.alone():
		case o.quiet:
			err = told.WriteVerdict(a.out, style)
		default:
			if !first && style.Terminal {
				fmt.Fprintln(a.out)
			}
			first = false
			err = told.WriteText(a.out, style)
		}
		if err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := o.write(a.out, document); err != nil {
		return err
	}
	if o.json {
		return report.WriteJSON(a.out, document)
	}
	return nil
}
