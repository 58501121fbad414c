package main

import (
	"context"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
	"widthwise/report/text"
)

type checkOptions struct {
	*options
	pictures
	json, rows, full bool
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
	f.BoolVar(&o.full, "full", false, "also each figure with its uncertainty, each finding, what was not seen, all cautions")
	f.BoolVar(&o.rows, "rows", false, "for scripts: one table parted by tabs over all captures, a line for each channel")
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
	if err := o.fits(); err != nil {
		return err
	}
	if err := spare(append(all.names(), o.limits), o.html, o.picture); err != nil {
		return err
	}
	document := report.NewCheck()
	teller := o.teller(a, all)
	if err := teller.head(); err != nil {
		return err
	}
	for c, err := range all.each(ctx) {
		var told *report.Capture
		if err != nil {
			told = report.Unreadable(c.name, oneLine(bareReason(c.name, err)))
			o.still.AddUnread(told)
		} else {
			a.ended(exitOf(c.judgement.Outcome))
			told = c.report()
			if err := o.add(told, c); err != nil {
				return err
			}
		}
		document.Add(told)
		if err := teller.tell(told, c.analysis); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := teller.foot(); err != nil {
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

// fits refuses what cannot go to standard output together.
func (o *checkOptions) fits() error {
	var asked []string
	for _, form := range []struct {
		flag string
		set  bool
	}{{"--json", o.json}, {"--rows", o.rows}, {"--full", o.full}, {"--quiet", o.quiet}, {"--html -", o.alone()}} {
		if form.set {
			asked = append(asked, form.flag)
		}
	}
	if len(asked) > 1 {
		return usageError("%s: each wants standard output for itself; one of them", phrase.And(asked))
	}
	return nil
}

// teller writes captures to standard output as they come: before the first,
// each, and after the last.
type teller struct {
	head, foot func() error
	tell       func(*report.Capture, *decode.Analysis) error
}

func (o *checkOptions) teller(a *app, all *batch) teller {
	nothing := func() error { return nil }
	style := a.style(o.color)
	switch {
	case o.json || o.alone():
		return teller{nothing, nothing, func(*report.Capture, *decode.Analysis) error { return nil }}
	case o.quiet:
		return teller{nothing, nothing, func(c *report.Capture, _ *decode.Analysis) error { return text.Quiet(a.out, c) }}
	case o.rows:
		return teller{func() error { return text.RowsHead(a.out) }, nothing, func(c *report.Capture, _ *decode.Analysis) error { return text.Rows(a.out, c) }}
	case len(all.files) > 1 && !o.full:
		lines := text.NewSeveral(style, all.names())
		return teller{func() error { return lines.Head(a.out) }, func() error { return lines.Foot(a.out) },
			func(c *report.Capture, _ *decode.Analysis) error { return lines.Capture(a.out, c) }}
	}
	return teller{nothing, nothing, func(c *report.Capture, measured *decode.Analysis) error {
		p := text.NewSheet(style)
		if c.Err != "" {
			return nil // told on standard error
		}
		text.Check(p, c, measured, o.full)
		if len(all.files) > 1 {
			p.Line("")
		}
		_, err := p.WriteTo(a.out)
		return err
	}}
}
