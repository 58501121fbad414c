package main

import (
	"context"
	"errors"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"widthwise/decode"
	"widthwise/decode/compare"
	"widthwise/decode/phrase"
	"widthwise/decode/places"
	"widthwise/report"
	"widthwise/report/text"
)

const comparisonGroup = "the comparison"

type compareOptions struct {
	*options
	first firstWays
	match []pair
	clock float64
	json  bool
}

func (a *app) compareCommand() *cobra.Command {
	o := &compareOptions{clock: 50}
	cmd := &cobra.Command{
		Use:   "compare BEFORE AFTER",
		Short: "what changed from one capture to another, how surely, and whether it matters",
		Long: "Holds two captures side by side, as before and after a radio was swapped: period, neutral, ends,\n" +
			"direction, jitter, drops and losses, each difference with its 95 % interval, and what to change in the\n" +
			"firmware. The exit status is 0 nothing that matters changed, 1 something did, 2 usage or unreadable,\n" +
			"3 undecided.",
		Example: "  widthwise compare old-radio.csv new-radio.csv\n  widthwise compare --match D0:throttle --clock-ppm 0 before.csv after.vcd",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usageError("compare: %s given; two, BEFORE and AFTER", phrase.Count(len(args), "capture"))
			}
			return readOnce(args)
		},
	}
	o.options = commonFlags(cmd)
	group(cmd, comparisonGroup, o.flags)
	group(cmd, printingGroup, func(f *pflag.FlagSet) { f.BoolVar(&o.json, "json", false, "one JSON document") })
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.compare(cmd.Context(), o, args[0], args[1]) }
	return cmd
}

func (o *compareOptions) flags(f *pflag.FlagSet) {
	f.Func("match", "`BEFORE:AFTER` two channels that belong together; repeatable", func(s string) error {
		if before, _ := pair(s).first(); before == "" {
			return errors.New("not two channels; BEFORE:AFTER, such as D0:throttle")
		}
		o.match = append(o.match, pair(s))
		return nil
	})
	f.Func("clock-ppm", "`N` how many millionths either recorder's clock may be off; 50 if left out, 0 for one recorder", func(s string) error {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || !(v >= 0 && v <= 10000) {
			return errors.New("not a number of millionths; 0 to 10000")
		}
		o.clock = v
		return nil
	})
	o.first.flag(f)
}

func (a *app) compare(ctx context.Context, o *compareOptions, before, after string) error {
	rules, err := newRules(o.options)
	if err != nil {
		return err
	}
	var sides [2]*compare.Side
	var captures [2]*capture
	var problems [2]string
	files := [2]string{before, after}
	for i, name := range files {
		own := *o.options
		own.labels = nil // a label may be of either capture
		c, err := a.measure(ctx, name, &own, rules, a.openCapture)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			a.complain(err)
			problems[i] = oneLine(bareReason(name, err))
			continue
		}
		captures[i] = c
		sides[i] = &compare.Side{Name: name, Analysis: c.analysis, Channels: c.judged(), Labels: map[string]string{}}
	}
	if problems != [2]string{} {
		return a.uncompared(o, files, problems, captures)
	}
	if err := o.label(captures, sides); err != nil {
		return err
	}
	s := compare.Settings{ClockPPM: o.clock}
	for _, m := range o.match {
		s.Match = append(s.Match, m.match(captures[0].names, captures[1].names))
	}
	found, err := compare.Captures(sides[0], sides[1], s)
	if err != nil {
		return usageError("--match: %v; inspect lists them", err)
	}
	told := report.NewCompare(captures[0].side(), captures[1].side(), found)
	told.Reword(dashed)
	a.ended(exitOf(decode.Outcome(told.Verdict)))
	return show(a, o.options, o.json, told, text.CompareQuiet, text.Compare)
}

func (c *capture) side() report.Side { return report.Side{Header: c.header, Analysis: c.analysis} }

// uncompared tells scripts what of two captures could be read.
func (a *app) uncompared(o *compareOptions, files, problems [2]string, captures [2]*capture) error {
	if !o.json {
		return nil
	}
	var sides [2]report.Side
	for i, c := range captures {
		if c != nil {
			sides[i] = c.side()
		}
	}
	return report.WriteJSON(a.out, report.NewUncompared(files, problems, sides))
}

// label puts labels and first ways on the side that has the channel; one that
// neither has is refused.
func (o *compareOptions) label(captures [2]*capture, sides [2]*compare.Side) error {
	for _, l := range o.labels {
		before := l.label(captures[0].names, sides[0].Labels)
		if after := l.label(captures[1].names, sides[1].Labels); !before && !after {
			name, _ := l.first()
			return usageError("--label %s: neither capture has a channel %q; inspect lists them", l, name)
		}
	}
	for name := range o.first.channel {
		_, before := captures[0].names[name]
		if _, after := captures[1].names[name]; !before && !after {
			return usageError("--first %s: neither capture has a channel by that name; inspect lists them", name)
		}
	}
	for i, c := range captures {
		sides[i].First = func(channel string) places.Arrival {
			for name, way := range o.first.channel {
				if c.names[name] == channel {
					return way
				}
			}
			return o.first.all
		}
	}
	return nil
}
