package main

import (
	"errors"
	"fmt"
	"regexp"
	"unicode"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/formats"
)

// options is what the common flags ask for.
type options struct {
	read      formats.Options
	from, to  *decode.Time
	active    decode.Level
	period    decode.Time
	lossAfter decode.Time
	limits    string // name of a limits file
	labels    []pair // a further word for a channel each
	mark      string // a channel whose edges mark the switch of the transmitter
	quiet     bool
	color     string
	progress  string
}

// flagGroup is a heading of the help page; the group of a flag is an
// annotation on it.
const flagGroup = "widthwise-group"

const (
	readingGroup  = "reading the capture"
	judgingGroup  = "what is expected"
	printingGroup = "printing"
)

// group adds flags under a heading of the help page.
func group(cmd *cobra.Command, heading string, define func(*pflag.FlagSet), without ...string) {
	set := pflag.NewFlagSet("", pflag.ContinueOnError)
	define(set)
	set.VisitAll(func(f *pflag.Flag) {
		if slices.Contains(without, f.Name) {
			return
		}
		f.Annotations = map[string][]string{flagGroup: {heading}}
		cmd.Flags().AddFlag(f)
	})
}

// commonFlags gives cmd the flags that commands share, without those that do
// not act on it.
func commonFlags(cmd *cobra.Command, without ...string) *options {
	o := &options{color: "auto", progress: "auto"}
	group := func(cmd *cobra.Command, heading string, define func(*pflag.FlagSet)) {
		group(cmd, heading, define, without...)
	}
	group(cmd, readingGroup, o.readingFlags)
	group(cmd, judgingGroup, o.judgingFlags)
	group(cmd, printingGroup, func(f *pflag.FlagSet) {
		f.BoolVarP(&o.quiet, "quiet", "q", false, "print verdict, file and reason alone, parted by tabs, or nothing where there is no verdict")
		f.Func("color", "`WHEN` auto, always or never; NO_COLOR is honoured", choice(&o.color, "auto", "always", "never"))
		f.Func("progress", "`WHEN` auto, or never: a bar for large files on a terminal", choice(&o.progress, "auto", "never"))
	})
	for flag, words := range map[string][]string{
		"color": {"auto", "always", "never"}, "progress": {"auto", "never"}, "time-unit": {"s", "ms", "us", "ns"},
		"delimiter": {"comma", "semicolon", "tab", "pipe", "space"}, "decimal": {"point", "comma"}, "active": {"high", "low"},
	} {
		completes(cmd, flag, words...)
	}
	completesChannels(cmd)
	if cmd.Flags().Lookup("limits") != nil {
		cmd.MarkFlagFilename("limits", "toml")
	}
	cmd.SetFlagErrorFunc(flagError)
	cmd.PreRunE = func(cmd *cobra.Command, _ []string) error { return o.check(cmd.Flags()) }
	return o
}

func (o *options) readingFlags(f *pflag.FlagSet) {
	f.Func("channel", "`NAME` a channel to read and to judge: its name, a path, a bit bus[3], a pattern with * and ?, or #3 for the third column of a table; repeatable", func(s string) error {
		if s == "" {
			return errors.New("empty; a name, a path, a bit bus[3], a pattern with * and ?, or #3")
		}
		o.read.Select = append(o.read.Select, s)
		return nil
	})
	f.Func("label", "`NAME:TEXT` a further word for a channel; repeatable", func(s string) error {
		if name, _ := pair(s).first(); name == "" {
			return errors.New("not a label; NAME:TEXT, such as col2:rudder")
		}
		o.labels = append(o.labels, pair(s))
		return nil
	})
	f.Func("rate", "`RATE` of the samples, such as 10MHz, for a table without a time column", into(&o.read.Rate, formats.ParseRate))
	f.Func("time-unit", "`s|ms|us|ns` the unit of the time column", choice(&o.read.TimeUnit, "s", "ms", "us", "ns"))
	f.Func("threshold", "`VOLTS` where an analog column changes level, such as 1.65V", pointerInto(&o.read.Threshold, formats.ParseVolts))
	f.Func("hysteresis", "`VOLTS` how far it has to go for that, such as 0.2V", pointerInto(&o.read.Hysteresis, parsePositiveVolts))
	f.Func("delimiter", "`WORD` what separates the columns of a table: comma, semicolon, tab, pipe or space", into(&o.read.Dialect.Delimiter, parseDelimiter))
	f.Func("decimal", "`point|comma` the decimal mark of a table", into(&o.read.Dialect.Decimal, parseDecimalMark))
	f.BoolVar(&o.read.SkipBadRows, "skip-bad-rows", false, "leave damaged rows out and count them")
	f.Func("from", "`TIME` begin here, such as 1.5s", pointerInto(&o.from, formats.ParseDuration))
	f.Func("to", "`TIME` end here", pointerInto(&o.to, formats.ParseDuration))
}

func (o *options) judgingFlags(f *pflag.FlagSet) {
	f.Func("active", "`high|low` the level of a pulse", into(&o.active, parseLevel))
	f.Func("period", "`TIME` the right time from frame to frame, such as 22ms", into(&o.period, parsePositiveDuration))
	f.Func("loss-after", "`TIME` this long without a pulse is a loss, such as 110ms", into(&o.lossAfter, parsePositiveDuration))
	f.StringVar(&o.limits, "limits", "", "`FILE` what the capture has to keep to; widthwise help limits prints one")
}

// flagError puts an error of a flag in our words: "--FLAG VALUE: what is wrong;
// what would be right".
func flagError(cmd *cobra.Command, err error) error {
	var value *pflag.InvalidValueError
	var unknown *pflag.NotExistError
	var needs *pflag.ValueRequiredError
	switch {
	case errors.As(err, &value) && value.GetFlag().Value.Type() == "bool":
		return usageError("--%s=%s: not yes or no; true, false or the flag alone", value.GetFlag().Name, value.GetValue())
	case errors.As(err, &value):
		return usageError("--%s %s: %v", value.GetFlag().Name, value.GetValue(), value.Unwrap())
	case errors.As(err, &unknown):
		return unknownFlag(cmd, unknown)
	case errors.As(err, &needs):
		return usageError("--%s: a value is missing; --help shows what it takes", needs.GetSpecifiedName())
	}
	return err
}

// unknownFlag says whether a flag belongs to another command, or which one was
// meant.
func unknownFlag(cmd *cobra.Command, err *pflag.NotExistError) error {
	dashes, name := "--", err.GetSpecifiedName()
	if err.GetSpecifiedShortnames() != "" {
		dashes = "-"
	}
	for _, other := range cmd.Root().Commands() {
		if dashes == "--" && other.Flags().Lookup(name) != nil {
			return usageError("--%s: does nothing in %s; %s --help lists the flags that do", name, cmd.Name(), cmd.CommandPath())
		}
	}
	var known []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) { known = append(known, "--"+f.Name) })
	return usageError("%s%s: no such flag%s; %s --help lists the flags", dashes, name, nearest("--"+name, known), cmd.CommandPath())
}

// Frame periods that can be meant. The shortest in use is 1.8 ms, narrow pulses at
// 560 Hz (from memory); the longest is common practice, no source.
const (
	shortestFrame = decode.Millisecond
	longestFrame  = decode.Second
)

// check looks at flags that depend on each other.
func (o *options) check(*pflag.FlagSet) error {
	switch {
	case o.from != nil && o.to != nil && *o.from >= *o.to:
		return usageError("--to %s: not after --from %s; a later instant", spelled(*o.to), spelled(*o.from))
	case o.period > 0 && (o.period < shortestFrame || o.period > longestFrame):
		return usageError("--period %s: frames come 1 ms to 1 s apart; a period such as 22ms", spelled(o.period))
	case o.lossAfter > 0 && o.lossAfter < shortestFrame:
		return usageError("--loss-after %s: shorter than any frame, so every frame would be a loss; several periods, such as 110ms", spelled(o.lossAfter))
	case o.period > 0 && o.lossAfter > 0 && o.lossAfter <= o.period:
		return usageError("--loss-after %s: no longer than --period %s, so every frame would be a loss; several periods", spelled(o.lossAfter), spelled(o.period))
	}
	return nil
}

// refusal is a combination of flags that makes no sense, and what to say of it.
type refusal struct {
	holds bool
	says  string
}

// firstRefusal is an error where one of them holds.
func firstRefusal(all ...refusal) error {
	for _, r := range all {
		if r.holds {
			return usageError("%s", r.says)
		}
	}
	return nil
}

// spelled writes a time with a unit that suits it and without empty decimals.
func spelled(t decode.Time) string {
	text, unit := t.Seconds(12), "s"
	switch {
	case t == 0:
	case t > -decode.Millisecond && t < decode.Millisecond:
		text, unit = t.Micros(6), "us"
	case t > -decode.Second && t < decode.Second:
		text, unit = (1000 * t).Seconds(9), "ms"
	}
	return phrase.Trim(text) + unit
}

var option = regexp.MustCompile(`\boption ([a-z]+(?:-[a-z]+)*)`)

// dashed spells what a library calls "option rate" as the flag it is here.
func dashed(sentence string) string { return option.ReplaceAllString(sentence, "--$1") }

// into stores what parse makes of a flag's text.
func into[T any](at *T, parse func(string) (T, error)) func(string) error {
	return func(s string) error {
		v, err := parse(s)
		if err == nil {
			*at = v
		}
		return err
	}
}

func pointerInto[T any](at **T, parse func(string) (T, error)) func(string) error {
	return func(s string) error {
		v, err := parse(s)
		if err == nil {
			*at = &v
		}
		return err
	}
}

// choice accepts one of a few words and names them all when it refuses.
func choice(at *string, words ...string) func(string) error {
	return func(s string) error {
		if !slices.Contains(words, s) {
			return fmt.Errorf("not one of the choices; %s", phrase.Or(words))
		}
		*at = s
		return nil
	}
}

var parseLevel = named(map[string]decode.Level{"high": decode.High, "low": decode.Low}, "not a level; high or low")

var parseDelimiter = named(map[string]rune{
	"comma": ',', ",": ',', "semicolon": ';', ";": ';', "tab": '\t', "\t": '\t', "pipe": '|', "|": '|', "space": ' ', " ": ' ',
}, "not a delimiter; comma, semicolon, tab, pipe or space")

var parseDecimalMark = named(map[string]rune{"point": '.', ".": '.', "comma": ',', ",": ','}, "not a decimal mark; point or comma")

// named reads the name of a value; refusal tells which there are.
func named[T any](values map[string]T, refusal string) func(string) (T, error) {
	return func(s string) (v T, err error) {
		v, ok := values[s]
		if !ok {
			err = errors.New(refusal)
		}
		return v, err
	}
}

func printable(r rune) bool { return r == ' ' || unicode.IsPrint(r) }
