package main

import (
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats"
)

// parse reads common flags as a command does and returns what they ask for, or
// the line that is printed.
func parse(args ...string) (*options, string) {
	cmd := &cobra.Command{Use: "check"}
	o := commonFlags(cmd)
	err := cmd.ParseFlags(args)
	if err != nil {
		err = cmd.FlagErrorFunc()(cmd, err)
	} else {
		err = cmd.PreRunE(cmd, nil)
	}
	if err != nil {
		return o, wording(err)
	}
	return o, ""
}

func at[T any](v T) *T { return &v }

func TestFlagsToOptions(t *testing.T) {
	defaults := func(change func(*options)) *options {
		o := &options{color: "auto", progress: "auto"}
		change(o)
		return o
	}
	for _, c := range []struct {
		name string
		args []string
		want *options
	}{
		{"nothing", nil, defaults(func(*options) {})},
		{"channels", []string{"--channel", "rudder", "--channel", "bus[3]", "--channel=#2"},
			defaults(func(o *options) { o.read.Select = []string{"rudder", "bus[3]", "#2"} })},
		{"labels", []string{"--label", "col2:rudder", "--label", "bus[3:0]:tow: line"},
			defaults(func(o *options) { o.labels = []pair{"col2:rudder", "bus[3:0]:tow: line"} })},
		{"rate", []string{"--rate", "10MHz"}, defaults(func(o *options) { o.read.Rate = formats.Rate{Num: 10_000_000, Den: 1} })},
		{"fractional rate", []string{"--rate", "0.5 Hz"}, defaults(func(o *options) { o.read.Rate = formats.Rate{Num: 1, Den: 2} })},
		{"volts", []string{"--threshold", "1.65V", "--hysteresis", "200mV"},
			defaults(func(o *options) { o.read.Threshold, o.read.Hysteresis = at[int64](1_650_000), at[int64](200_000) })},
		{"threshold below ground", []string{"--threshold", "-0.5V"}, defaults(func(o *options) { o.read.Threshold = at[int64](-500_000) })},
		{"dialect", []string{"--delimiter", "semicolon", "--decimal", "comma", "--time-unit", "ms", "--skip-bad-rows"},
			defaults(func(o *options) {
				o.read.Dialect = formats.Dialect{Delimiter: ';', Decimal: ','}
				o.read.TimeUnit, o.read.SkipBadRows = "ms", true
			})},
		{"delimiter as it is", []string{"--delimiter", "|"}, defaults(func(o *options) { o.read.Dialect.Delimiter = '|' })},
		{"cut", []string{"--from", "-1.5s", "--to", "300us"},
			defaults(func(o *options) { o.from, o.to = at(-1500*decode.Millisecond), at(300*decode.Microsecond) })},
		{"times", []string{"--period", "22ms", "--loss-after", "0.11s"},
			defaults(func(o *options) { o.period, o.lossAfter = 22*decode.Millisecond, 110*decode.Millisecond })},
		{"finer than a picosecond", []string{"--from", "22.0000000005ns"}, defaults(func(o *options) { o.from = at[decode.Time](22_000) })},
		{"micro sign", []string{"--period", "22000µs"}, defaults(func(o *options) { o.period = 22 * decode.Millisecond })},
		{"active", []string{"--active", "low"}, defaults(func(o *options) { o.active = decode.Low })},
		{"printing", []string{"-q", "--color", "always", "--progress", "never", "--limits", "tug.toml"},
			defaults(func(o *options) { o.quiet, o.color, o.progress, o.limits = true, "always", "never", "tug.toml" })},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, refusal := parse(c.args...)
			require.Empty(t, refusal)
			assert.Equal(t, c.want, got)
		})
	}
}

func TestFlagRefusals(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--period", "22"}, "--period 22: a duration needs a unit; 22s, 22ms, 22us or 22ns"},
		{[]string{"--from", "0"}, "--from 0: a duration needs a unit; 0s, 0ms, 0us or 0ns"},
		{[]string{"--loss-after", "soon"}, "--loss-after soon: not a duration; a number and a unit, such as 22ms"},
		{[]string{"--loss-after", "ms"}, "--loss-after ms: not a duration; a number and a unit, such as 22ms"},
		{[]string{"--period", "22 moons"}, `--period 22 moons: "moons" is no unit of a duration; 22s, 22ms, 22us or 22ns`},
		{[]string{"--period", "1e9s"}, `--period 1e9s: "e9s" is no unit of a duration; 1s, 1ms, 1us or 1ns`},
		{[]string{"--period", "+-5s"}, "--period +-5s: not a duration; a number and a unit, such as 22ms"},
		{[]string{"--period", "1/3s"}, `--period 1/3s: "/3s" is no unit of a duration; 1s, 1ms, 1us or 1ns`},
		{[]string{"--period", "-22ms"}, "--period -22ms: not above zero; a length of time, such as 22ms"},
		{[]string{"--to", "99999999999s"}, "--to 99999999999s: too large; times reach to 106 days"},
		{[]string{"--rate", "10"}, "--rate 10: a rate needs a unit; 10Hz, 10kHz, 10MHz or 10GHz"},
		{[]string{"--rate", "0Hz"}, "--rate 0Hz: not above zero; a rate, such as 10MHz"},
		{[]string{"--rate", "0.000000000000000000000001Hz"}, "--rate 0.000000000000000000000001Hz: out of reach; at most 100GHz, to 1 uHz"},
		{[]string{"--threshold", "1.65"}, "--threshold 1.65: a voltage needs a unit; 1.65V or 1.65mV"},
		{[]string{"--hysteresis", "-1V"}, "--hysteresis -1V: below zero; a voltage, such as 0.2V"},
		{[]string{"--time-unit", "min"}, "--time-unit min: not one of the choices; s, ms, us or ns"},
		{[]string{"--active", "up"}, "--active up: not a level; high or low"},
		{[]string{"--color", "pink"}, "--color pink: not one of the choices; auto, always or never"},
		{[]string{"--progress", "always"}, "--progress always: not one of the choices; auto or never"},
		{[]string{"--delimiter", ":"}, "--delimiter :: not a delimiter; comma, semicolon, tab, pipe or space"},
		{[]string{"--decimal", ";"}, "--decimal ;: not a decimal mark; point or comma"},
		{[]string{"--label", "rudder"}, "--label rudder: not a label; NAME:TEXT, such as col2:rudder"},
		{[]string{"--label", "rudder:"}, "--label rudder:: not a label; NAME:TEXT, such as col2:rudder"},
		{[]string{"--channel", ""}, "--channel : empty; a name, a path, a bit bus[3], a pattern with * and ?, or #3"},
		{[]string{"--quiet=maybe"}, "--quiet=maybe: not yes or no; true, false or the flag alone"},
		{[]string{"--perod", "22ms"}, "--perod: no such flag, did you mean --period?; check --help lists the flags"},
		{[]string{"-x"}, "-x: no such flag; check --help lists the flags"},
		{[]string{"--period"}, "--period: a value is missing; --help shows what it takes"},
		{[]string{"--from", "2s", "--to", "2000ms"}, "--to 2s: not after --from 2s; a later instant"},
		{[]string{"--period", "22us"}, "--period 22us: frames come 1 ms to 1 s apart; a period such as 22ms"},
		{[]string{"--period", "22s"}, "--period 22s: frames come 1 ms to 1 s apart; a period such as 22ms"},
		{[]string{"--loss-after", "110us"}, "--loss-after 110us: shorter than any frame, so every frame would be a loss; several periods, such as 110ms"},
		{[]string{"--period", "22ms", "--loss-after", "22ms"}, "--loss-after 22ms: no longer than --period 22ms, so every frame would be a loss; several periods"},
	} {
		t.Run(c.want, func(t *testing.T) {
			_, got := parse(c.args...)
			assert.Equal(t, c.want, got)
		})
	}
}

// A time written out in seconds reads back as itself.
func FuzzDuration(f *testing.F) {
	for _, s := range []string{"22ms", "-1.5s", "0ps", ".5us", "5.ns", "1e3s", "99999999999999999999999999999999999999s", "s", "+ 1s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := formats.ParseDuration(s)
		if err != nil {
			return
		}
		back, err := formats.ParseDuration(spelled(v))
		require.NoError(t, err, s)
		require.Equal(t, v, back, s)
	})
}

func TestDashed(t *testing.T) {
	assert.Equal(t, "--time-unit states it", dashed("option time-unit states it"))
	assert.Equal(t, "with --to; if not", dashed("with option to; if not"))
	assert.Equal(t, "an optional wire, adoption of ways", dashed("an optional wire, adoption of ways"))
}
