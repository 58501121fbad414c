package main

import (
	"context"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"widthwise/report"
)

func (a *app) pulsesCommand() *cobra.Command {
	glitches := false
	cmd := &cobra.Command{
		Use:   "pulses CAPTURE",
		Short: "one CSV row for each accepted pulse",
		Long: "Prints one CSV row for each accepted pulse of the judged channels, or of those named by --channel, in\n" +
			"order of time: channel, start_s, width_us, interval_us since the channel's pulse before, and a note with\n" +
			"the kinds of the findings that touch it.",
		Example: "  widthwise pulses tug.csv > pulses.csv\n  widthwise pulses --channel rudder --glitches tug.vcd",
		Args:    oneCapture,
	}
	o := commonFlags(cmd, "label", "color")
	group(cmd, printingGroup, func(f *pflag.FlagSet) {
		f.BoolVar(&glitches, "glitches", false, "also the rejected runts and spikes, with note glitch")
	})
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.pulses(cmd.Context(), o, args[0], glitches)
	}
	return cmd
}

// oneCapture wants exactly one.
func oneCapture(cmd *cobra.Command, args []string) error {
	if len(args) > 1 {
		return usageError("%s: %d captures given; one, such as %s", cmd.Name(), len(args), args[0])
	}
	return someCaptures(cmd, args)
}

func (a *app) pulses(ctx context.Context, o *options, name string, glitches bool) error {
	rules, err := newRules(o)
	if err != nil {
		return err
	}
	c, err := a.measure(ctx, name, o, rules, a.openCapture)
	if err != nil || o.quiet {
		return err
	}
	return report.WritePulses(a.out, c.judgement.Rows(glitches))
}
