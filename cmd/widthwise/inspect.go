package main

import (
	"context"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"widthwise/report"
	"widthwise/report/text"
)

func (a *app) inspectCommand() *cobra.Command {
	o := checkOptions{}
	cmd := &cobra.Command{
		Use:   "inspect CAPTURE...",
		Short: "what is in a file",
		Long: "Shows what is in a capture: format, the dialect that was found and what else it could have been, the time\n" +
			"step and how it was found, the span, and for each channel its kind of signal, pulses, width and period.",
		Example: "  widthwise inspect tug.csv\n  widthwise inspect --json tug.vcd",
		Args:    someCaptures,
	}
	o.options = commonFlags(cmd, "period", "loss-after", "limits")
	group(cmd, printingGroup, func(f *pflag.FlagSet) {
		f.BoolVar(&o.json, "json", false, "one JSON document over all captures")
	})
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.inspect(cmd.Context(), o, args) }
	return cmd
}

func (a *app) inspect(ctx context.Context, o checkOptions, names []string) error {
	all, err := a.captures(o.options, names)
	if err != nil {
		return err
	}
	style := a.style(o.color)
	document, shown := report.NewInspect(), 0
	for c, err := range all.each(ctx) {
		if err != nil {
			document.Unreadable(c.name, oneLine(bareReason(c.name, err)))
			continue
		}
		told := report.NewInspection(c.header, c.analysis, c.rateStated && c.rateUsed(), c.labels)
		told.Reword(dashed)
		document.Captures = append(document.Captures, told)
		if o.json || o.quiet {
			continue
		}
		p := text.NewSheet(style)
		if shown++; shown > 1 {
			p.Line("")
		}
		text.Inspect(p, told)
		if _, err := p.WriteTo(a.out); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil || !o.json {
		return err
	}
	return report.WriteJSON(a.out, document)
}
