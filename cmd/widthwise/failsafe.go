package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/failsafe"
	"widthwise/formats"
	"widthwise/report"
	"widthwise/report/text"
)

const trialGroup = "the trial"

type failsafeOptions struct {
	*options
	off, on *decode.Time
	safe    []safeState
	idle    *[2]decode.Time
	within  decode.Time
	json    bool
}

// safeState is what a channel may end in, as stated.
type safeState struct {
	name  string
	state failsafe.Safe
}

func (a *app) failsafeCommand() *cobra.Command {
	o := &failsafeOptions{}
	cmd := &cobra.Command{
		Use:   "failsafe CAPTURE...",
		Short: "what each channel does when the transmitter is switched off, and whether that is safe",
		Long: "Tells from a capture in which the transmitter is switched off what each channel does - stops, goes to a\n" +
			"preset, holds or drifts -, how fast, and whether that is safe for what hangs on it. Before every trial:\n" +
			"propeller off or drive disconnected, the machine restrained, a second person at the power switch.\n" +
			"Holding can never be proven safe: move the stick away from its safe place before the switch. Slots of a\n" +
			"stream are told one by one. The exit status is 0 safe, 1 something is not, 2 usage or unreadable,\n" +
			"3 undecided.",
		Example: "  widthwise failsafe --off-at 12.5s --safe throttle=1000us --safe winch=stop tug.csv\n" +
			"  widthwise failsafe --off-mark switch --idle 0s..4s --within 1.5s tug.vcd",
		Args: someCaptures,
	}
	o.options = commonFlags(cmd)
	group(cmd, trialGroup, o.flags)
	group(cmd, printingGroup, func(f *pflag.FlagSet) {
		f.BoolVar(&o.json, "json", false, "one JSON document over all captures")
	})
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := o.check(); err != nil {
			return err
		}
		return a.failsafe(cmd.Context(), o, args)
	}
	return cmd
}

func (o *failsafeOptions) flags(f *pflag.FlagSet) {
	f.Func("off-at", "`TIME` the transmitter was switched off, such as 12.5s", pointerInto(&o.off, formats.ParseDuration))
	f.Func("on-at", "`TIME` it was switched on again", pointerInto(&o.on, formats.ParseDuration))
	f.StringVar(&o.mark, "off-mark", "", "`CHANNEL` a spare line whose first edge marks switching off, and whose second switching on; further pairs are further trials")
	f.Func("safe", "`NAME=1000us|stop` where a channel may end; repeatable, also for one channel", func(s string) error {
		v, err := parseSafe(s)
		o.safe = append(o.safe, v)
		return err
	})
	f.Func("idle", "`T..T` a stretch in which every channel rests where it is safe, such as 0s..4s", pointerInto(&o.idle, parseStretch))
	f.Func("within", "`TIME` the longest it may take, such as 1.5s", into(&o.within, parsePositiveDuration))
}

// parseSafe reads NAME=1000us or NAME=stop; a name may hold an equals sign.
func parseSafe(s string) (safeState, error) {
	wrong := errors.New("not a safe state; NAME=1000us or NAME=stop")
	i := strings.LastIndexByte(s, '=')
	if i < 1 {
		return safeState{}, wrong
	}
	out := safeState{s[:i], failsafe.Safe{From: failsafe.Flag, Width: math.NaN(), Stop: true}}
	if s[i+1:] == "stop" {
		return out, nil
	}
	if _, err := strconv.ParseFloat(s[i+1:], 64); err == nil {
		return out, errors.New("a width needs a unit; NAME=" + s[i+1:] + "us, or NAME=stop")
	}
	width, err := formats.ParseDuration(s[i+1:])
	switch {
	case err != nil:
		return out, wrong
	case width < 300*decode.Microsecond || width > 3000*decode.Microsecond:
		return out, errors.New("no pulse is that long; 300us to 3000us, or stop")
	}
	out.state.Width, out.state.Stop = float64(width)/float64(decode.Microsecond), false
	return out, nil
}

// parseStretch reads T..T.
func parseStretch(s string) ([2]decode.Time, error) {
	from, to, ok := strings.Cut(s, "..")
	if !ok {
		return [2]decode.Time{}, errors.New("not a stretch of time; T..T, such as 0s..4s")
	}
	var out [2]decode.Time
	for i, text := range []string{from, to} {
		t, err := formats.ParseDuration(text)
		if err != nil {
			return out, err
		}
		out[i] = t
	}
	if out[0] >= out[1] {
		return out, errors.New("ends before it begins; T..T, such as 0s..4s")
	}
	return out, nil
}

// check looks at flags that depend on each other.
func (o *failsafeOptions) check() error {
	stated := o.off != nil || o.mark != ""
	return firstRefusal(
		refusal{o.off != nil && o.mark != "", "--off-at and --off-mark: both say when the transmitter was switched off; one of them"},
		refusal{o.on != nil && !stated, "--on-at: without a switch-off; --off-at or --off-mark beside it"},
		refusal{o.on != nil && o.off != nil && *o.on <= *o.off, "--on-at " + instant(o.on) + ": not after --off-at " + instant(o.off) + "; a later instant"},
		refusal{o.within > 0 && len(o.safe) == 0 && o.idle == nil, "--within: nothing says what is safe; --safe NAME=1000us, --safe NAME=stop or --idle T..T beside it"},
		refusal{o.idleWhileOff(), "--idle: the transmitter is off in it; a stretch before --off-at " + instant(o.off)},
	)
}

func (o *failsafeOptions) idleWhileOff() bool {
	return o.idle != nil && o.off != nil && o.idle[1] > *o.off && (o.on == nil || o.idle[0] < *o.on)
}

// instant writes a time that may not be stated.
func instant(t *decode.Time) string {
	if t == nil {
		return ""
	}
	return spelled(*t)
}

func (a *app) failsafe(ctx context.Context, o *failsafeOptions, args []string) error {
	all, err := a.captures(o.options, args)
	if err != nil {
		return err
	}
	document := report.NewFailsafe()
	err = all.ask(ctx, document.Unreadable, func(c *capture) error {
		trials, err := o.examine(c)
		for _, told := range trials {
			told.Reword(dashed)
			a.ended(exitOf(decode.Outcome(told.Verdict)))
			document.Add(told)
		}
		return err
	})
	if err != nil {
		return err
	}
	return show(a, o.options, o.json, document, text.FailsafeQuiet, text.Failsafe)
}

// examine puts the question to one capture, once for each trial that is marked.
func (o *failsafeOptions) examine(c *capture) ([]*report.FailsafeCapture, error) {
	q := failsafe.Question{Off: o.off, On: o.on, Idle: o.idle, Within: o.within, Marked: o.mark != "", Mark: c.mark, Safe: map[string][]failsafe.Safe{}}
	for _, s := range o.safe {
		name, ok := c.names[s.name]
		if !ok {
			return nil, usageError("--safe %s: no channel by that name%s; inspect lists them", s.name, nearest(s.name, c.channelNames()))
		}
		q.Safe[name] = append(q.Safe[name], s.state)
	}
	for _, t := range []struct {
		flag string
		at   *decode.Time
	}{{"--off-at", o.off}, {"--on-at", o.on}} {
		if t.at != nil && (*t.at < c.analysis.Start || *t.at > c.analysis.End) {
			why := ""
			if slices.ContainsFunc(c.analysis.Notes, func(r decode.Remark) bool { return r.Kind == decode.EndUnseen }) {
				why = ": it lists changes only and ends at its last one; export samples or a dump, or record a line that goes on"
			}
			return nil, usageError("%s %s: outside the capture, which runs from %s to %s%s", t.flag, spelled(*t.at), spelled(c.analysis.Start), spelled(c.analysis.End), why)
		}
	}
	judged := c.onTrial(q.Safe)
	var all []*report.FailsafeCapture
	for _, q := range q.Trials(c.analysis) {
		all = append(all, report.NewFailsafeCapture(c.header, c.analysis, failsafe.Examine(c.analysis, judged, q), c.labels))
	}
	return all, nil
}

// onTrial lists the channels that are looked at: those that are judged, and those
// whose safe state is stated, since whoever says what is safe asks for it. Of a
// stream its slots are; what is safe for all of them may be stated of the stream.
func (c *capture) onTrial(safe map[string][]failsafe.Safe) []*decode.ChannelAnalysis {
	var out []*decode.ChannelAnalysis
	for i, ch := range c.analysis.Channels {
		if ch.Name == c.marked || !c.judgement.Channels[i].Judged && safe[ch.Name] == nil {
			continue
		}
		if len(ch.Slots) == 0 { // a stream of which none is known stays, and is undecided
			out = append(out, ch)
			continue
		}
		for _, s := range ch.Slots {
			if safe[s.Name] == nil {
				safe[s.Name] = safe[ch.Name]
			}
			out = append(out, s)
		}
	}
	return out
}

// channelNames are the names of the capture's channels.
func (c *capture) channelNames() []string {
	var names []string
	for _, ch := range c.analysis.Channels {
		names = append(names, ch.Name)
		for _, s := range ch.Slots {
			names = append(names, s.Name)
		}
	}
	return names
}

// markChannel finds the channel that marks the switch: by any of its names, or
// by its column.
func (c *capture) markChannel(name string, channels []decode.Channel) (int, error) {
	own, ok := c.names[name]
	for _, v := range c.header.Variables {
		if name == fmt.Sprintf("#%d", v.Column) && v.Column > 0 {
			own, ok = v.Name, true
		}
	}
	i := slices.IndexFunc(channels, func(ch decode.Channel) bool { return ch.Name == own })
	if !ok || i < 0 {
		return 0, usageError("--off-mark %s: no channel by that name; inspect lists them", name)
	}
	c.marked = own
	return i, nil
}
