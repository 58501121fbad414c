package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/calibrate"
	"widthwise/decode/phrase"
	"widthwise/decode/places"
	"widthwise/report"
	"widthwise/report/text"
)

const mappingGroup = "the firmware"

type calibrateOptions struct {
	*options
	first              firstWays
	full               int64
	fromEdge           bool
	mix                []string
	constants          string
	commands           string
	toml, header, json bool
}

// firstWays says which way sticks were moved first: all of them, or by channel.
type firstWays struct {
	all     places.Arrival
	channel map[string]places.Arrival
}

func (f *firstWays) flag(set *pflag.FlagSet) {
	set.Func("first", "`up|down` which way the stick was moved first, or NAME=up for one channel; repeatable", func(s string) error {
		name, word := "", s
		if i := strings.LastIndexByte(s, '='); i >= 0 {
			name, word = s[:i], s[i+1:]
		}
		way, ok := map[string]places.Arrival{"up": places.Upward, "down": places.Downward}[word]
		switch {
		case !ok || name == "" && word != s:
			return errors.New("not a way; up, down, NAME=up or NAME=down")
		case name == "":
			f.all = way
		default:
			if f.channel == nil {
				f.channel = map[string]places.Arrival{}
			}
			f.channel[name] = way
		}
		return nil
	})
}

// of finds the way of each channel of a capture.
func (f *firstWays) of(c *capture) (func(string) places.Arrival, error) {
	own := map[string]places.Arrival{}
	names := maps.Keys(f.channel)
	slices.Sort(names)
	for _, name := range names {
		n, ok := c.names[name]
		if !ok {
			return nil, usageError("--first %s: no channel by that name%s; inspect lists them", name, nearest(name, c.channelNames()))
		}
		own[n] = f.channel[name]
	}
	return func(name string) places.Arrival {
		if w, ok := own[name]; ok {
			return w
		}
		return f.all
	}, nil
}

func (a *app) calibrateCommand() *cobra.Command {
	o := &calibrateOptions{full: 1000}
	cmd := &cobra.Command{
		Use:   "calibrate CAPTURE...",
		Short: "from a sweep of the sticks: the constants a firmware needs, and the proof that they work",
		Long: "Finds from a sweep of the sticks - neutral, one end, neutral, the other end, each held for two seconds,\n" +
			"three times over - where each stick rests and turns back, and replays the capture through a firmware's\n" +
			"mapping with these constants. Before every trial: propeller off or drive disconnected, the machine\n" +
			"restrained, a second person at the power switch.\n" +
			"The exit status is 0, 2 usage or unreadable, 3 where a constant of a channel named by --channel, or any\n" +
			"constant at all, could not be found.",
		Example: "  widthwise calibrate --first up sweep.csv\n  widthwise calibrate --header --channel throttle sweep.csv > constants.h\n" +
			"  widthwise calibrate --constants firmware.toml --command 255 --commands out.csv sweep.csv",
		Args: someCaptures,
	}
	o.options = commonFlags(cmd)
	group(cmd, mappingGroup, o.flags)
	group(cmd, printingGroup, func(f *pflag.FlagSet) {
		f.BoolVar(&o.toml, "toml", false, "the constants as a file that --constants reads")
		f.BoolVar(&o.header, "header", false, "the constants as a C header")
		f.BoolVar(&o.json, "json", false, "one JSON document over all captures")
	})
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := o.check(cmd.Flags(), args); err != nil {
			return err
		}
		return a.calibrate(cmd.Context(), o, args)
	}
	return cmd
}

func (o *calibrateOptions) flags(f *pflag.FlagSet) {
	o.first.flag(f)
	f.Func("command", "`FULL` the command at full stick, such as 255; 1000 if left out", func(s string) error {
		var n int64
		if _, err := fmt.Sscanf(s+"\n", "%d\n", &n); err != nil || n < 1 || n > 1_000_000 {
			return errors.New("not a full scale; a whole number from 1 to 1000000")
		}
		o.full = n
		return nil
	})
	f.BoolVar(&o.fromEdge, "from-edge", false, "commands begin at the deadband's edge, without a jump there")
	f.Func("mix", "`A,B` what a drive with two motors gets: A + B and A - B", func(s string) error {
		o.mix = strings.Split(s, ",")
		if len(o.mix) != 2 || o.mix[0] == "" || o.mix[1] == "" || o.mix[0] == o.mix[1] {
			return errors.New("not two channels; A,B, such as throttle,rudder")
		}
		return nil
	})
	f.StringVar(&o.constants, "constants", "", "`FILE` replay these constants instead of those found")
	f.StringVar(&o.commands, "commands", "", "`FILE.csv` write every command: channel,start_s,width_us,command")
}

// check looks at flags that depend on each other.
func (o *calibrateOptions) check(set *pflag.FlagSet, args []string) error {
	var forms, mapping []string
	for _, name := range []string{"toml", "header", "json"} {
		if set.Changed(name) {
			forms = append(forms, "--"+name)
		}
	}
	for _, name := range []string{"command", "from-edge", "mix"} {
		if set.Changed(name) {
			mapping = append(mapping, "--"+name)
		}
	}
	form, mapped := phrase.And(forms), phrase.And(mapping)
	file, several := o.toml || o.header, len(args) > 1
	return firstRefusal(
		refusal{len(forms) > 1, form + ": each is an output of its own; one of them"},
		refusal{several && file, fmt.Sprintf("%s: constants of one capture make one file, and %d are given; one capture", form, len(args))},
		refusal{several && o.commands != "", fmt.Sprintf("--commands: the commands of one capture make one file, and %d are given; one capture", len(args))},
		refusal{o.constants != "" && file, form + ": writes the constants found, and --constants gives others; one of them"},
		refusal{!isTable(o.commands), "--commands " + o.commands + ": a table; a name in .csv"},
		refusal{o.commands == "-" && len(forms) > 0, "--commands -: with " + form + " there are two outputs for standard output; a file for one of them"},
		refusal{file && mapped != "" && o.commands == "", mapped + ": says nothing of constants; leave it out with " + form + ", or add --commands FILE.csv"},
	)
}

// isTable accepts no name, standard output, and names of tables.
func isTable(name string) bool {
	return name == "" || name == "-" || strings.HasSuffix(strings.ToLower(name), ".csv")
}

func (a *app) calibrate(ctx context.Context, o *calibrateOptions, args []string) error {
	given, err := readConstants(o.constants)
	if err != nil {
		return err
	}
	all, err := a.captures(o.options, args, append(earlier(o.commands), o.constants)...)
	if err != nil {
		return err
	}
	if err := spare(append(all.names(), o.limits, o.constants), o.commands); err != nil {
		return err
	}
	document := report.NewCalibrate()
	var found []*report.CalibrateCapture
	err = all.ask(ctx, document.Unreadable, func(c *capture) error {
		told, err := a.constantsOf(o, c, given)
		if err != nil {
			return err
		}
		told.Reword(dashed)
		document.Add(told)
		found = append(found, told)
		return nil
	})
	if err != nil {
		return err
	}
	switch {
	case o.toml || o.header:
		return o.writeConstants(a.out, found)
	case o.commands == "-" && !o.json:
		return nil
	}
	return show(a, o.options, o.json, document, nil, text.Calibrate)
}

// writeConstants writes the file that was asked for.
func (o *calibrateOptions) writeConstants(w io.Writer, found []*report.CalibrateCapture) error {
	for _, told := range found {
		write := told.WriteTOML
		if o.header {
			write = told.WriteHeader
		}
		if err := buffered(w, write); err != nil {
			return err
		}
	}
	return nil
}

// replayed is a channel with what a firmware would have commanded.
type replayed struct {
	*decode.ChannelAnalysis
	commands iter.Seq[calibrate.Command]
}

// constantsOf finds the constants of one capture's judged channels and replays
// it through them.
func (a *app) constantsOf(o *calibrateOptions, c *capture, given *constantsFile) (*report.CalibrateCapture, error) {
	first, err := o.first.of(c)
	if err != nil {
		return nil, err
	}
	told := report.NewCalibrateCapture(c.header, c.analysis)
	m := calibrate.Mapping{Full: o.full, FromEdge: o.fromEdge}
	var all []replayed
	found, lacking := false, false
	for _, ch := range c.judged() {
		channel := calibrate.Of(c.analysis, ch, first(ch.Name))
		k, stated := given.of(ch.Name, channel.Constants)
		var proof *calibrate.Proof
		if k.Complete() {
			p := channel.Prove(k, c.analysis.End, m)
			proof = &p
			all = append(all, replayed{ch, k.Replay(ch.Pulses(), c.analysis.End, m)})
		}
		told.Add(channel, c.labels[ch.Name], k, stated, proof)
		row := told.Channels[len(told.Channels)-1]
		found = found || !row.Empty()
		lacking = lacking || ch.Named && !row.Complete()
	}
	if err := given.unused(c); err != nil {
		return nil, err
	}
	if err := o.mixed(c, told, all); err != nil {
		return nil, err
	}
	if !found || lacking {
		a.ended(exitUndecided)
	}
	return told, writeOut(o.commands, a.out, func(w io.Writer) error { return report.WriteCommands(w, inTime(all)) })
}

// judged lists the channels that commands may come from: servo channels and
// slots of a stream.
func (c *capture) judged() []*decode.ChannelAnalysis {
	var out []*decode.ChannelAnalysis
	for i, ch := range c.analysis.Channels {
		switch {
		case !c.judgement.Channels[i].Judged || ch.Name == c.marked:
		case ch.Signal == decode.PulsePosition:
			out = append(out, ch.Slots...)
		default:
			out = append(out, ch)
		}
	}
	return out
}

func (o *calibrateOptions) mixed(c *capture, told *report.CalibrateCapture, all []replayed) error {
	if len(o.mix) == 0 {
		return nil
	}
	var of [2]replayed
	for i, name := range o.mix {
		k := slices.IndexFunc(all, func(r replayed) bool { return r.Name == c.names[name] })
		if k < 0 {
			return usageError("--mix %s: %s has no command here; two judged channels whose ends are known", strings.Join(o.mix, ","), name)
		}
		of[i] = all[k]
	}
	period := decode.Time(of[1].Period.Nominal * float64(decode.Microsecond))
	sum, difference, _ := calibrate.Mix(of[0].commands, of[1].commands, period, o.full)
	told.Mixed(of[0].Name, of[1].Name, sum, difference)
	return nil
}

// inTime merges the commands of all channels, ties in channel order.
func inTime(all []replayed) iter.Seq[report.CommandRow] {
	return func(yield func(report.CommandRow) bool) {
		type feed struct {
			name string
			next func() (calibrate.Command, bool)
			now  calibrate.Command
			more bool
		}
		var feeds []*feed
		for _, r := range all {
			next, stop := iter.Pull(r.commands)
			defer stop()
			f := &feed{name: r.Name, next: next}
			f.now, f.more = next()
			feeds = append(feeds, f)
		}
		for {
			var first *feed
			for _, f := range feeds {
				if f.more && (first == nil || f.now.Start < first.now.Start) {
					first = f
				}
			}
			if first == nil || !yield(report.CommandRow{Channel: first.name, Command: first.now}) {
				return
			}
			first.now, first.more = first.next()
		}
	}
}
