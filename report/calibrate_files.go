package report

import (
	"bufio"
	"fmt"
	"io"
	"iter"
	"strconv"
	"strings"
	"unicode"

	"widthwise/decode"
	"widthwise/decode/calibrate"
	"widthwise/decode/phrase"
)

// WriteTOML writes the constants as a file that option constants reads.
func (c *CalibrateCapture) WriteTOML(w io.Writer) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "# Constants measured on %s, in microseconds.\n", comment(c.File))
	for _, ch := range c.Channels {
		fmt.Fprintf(b, "\n[channel.%s]\n", tomlKey(ch.Name))
		for _, k := range []struct {
			key   string
			value Number
		}{{"low_us", ch.Low}, {"neutral_us", ch.Neutral}, {"high_us", ch.High}, {"deadband_us", ch.Deadband}, {"end_margin_us", ch.EndMargin}} {
			if k.value.Missing() {
				fmt.Fprintf(b, "# %s was not found\n", k.key)
			} else {
				fmt.Fprintf(b, "%s = %s\n", k.key, decimal(k.value))
			}
		}
		if ch.Reversed != nil {
			fmt.Fprintf(b, "reversed = %t\n", *ch.Reversed)
		}
		fmt.Fprintf(b, "loss_after = \"%sms\"\n", (decode.Time(ch.LossAfter) / 1000).Micros(0))
		for _, m := range ch.Missing {
			fmt.Fprintf(b, "# %s\n", comment(m))
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// decimal writes a width to the nearest nanosecond, without empty decimals.
func decimal(n Number) string {
	return phrase.Trim(strconv.FormatFloat(float64(n), 'f', 3, 64))
}

// tomlKey quotes a name where TOML asks for it.
func tomlKey(name string) string {
	bare := func(r rune) bool {
		return r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r) || r == '_' || r == '-')
	}
	if name != "" && strings.IndexFunc(name, func(r rune) bool { return !bare(r) }) < 0 {
		return name
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range name {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case hidden(r):
			fmt.Fprintf(&b, "\\U%08X", r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// comment keeps other people's words from ending a comment, in TOML or in C.
func comment(s string) string {
	return strings.NewReplacer("*/", "* /", "??", "? ?", "/*", "/ *", "\\", "/").Replace(Printable(s))
}

// WriteHeader writes the constants as a C header of definitions. Two channels
// whose names become one are refused.
func (c *CalibrateCapture) WriteHeader(w io.Writer) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "/* Constants measured on %s, to the nearest microsecond. */\n#ifndef WIDTHWISE_CONSTANTS_H\n#define WIDTHWISE_CONSTANTS_H\n", comment(c.File))
	taken := map[string]string{}
	for _, ch := range c.Channels {
		name := macro(ch.Name)
		if other, ok := taken[name]; ok {
			return fmt.Errorf("%s and %s: both would be %s in C; option channel chooses one of them", Printable(other), Printable(ch.Name), name)
		}
		taken[name] = ch.Name
		fmt.Fprintf(b, "\n/* %s */\n", comment(ch.Shown()))
		for _, k := range []struct {
			suffix string
			value  Number
		}{{"LOW_US", ch.Low}, {"NEUTRAL_US", ch.Neutral}, {"HIGH_US", ch.High}, {"DEADBAND_US", ch.Deadband}, {"END_MARGIN_US", ch.EndMargin}} {
			if k.value.Missing() {
				fmt.Fprintf(b, "/* %s_%s was not found */\n", name, k.suffix)
			} else {
				fmt.Fprintf(b, "#define %s_%s %s\n", name, k.suffix, Fixed(k.value, 0))
			}
		}
		fmt.Fprintf(b, "#define %s_LOSS_AFTER_MS %s\n", name, (decode.Time(ch.LossAfter) / 1000).Micros(0))
		for _, m := range ch.Missing {
			fmt.Fprintf(b, "/* %s */\n", comment(m))
		}
	}
	b.WriteString("\n#endif\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// macro makes a name that C takes.
func macro(name string) string {
	var b strings.Builder
	for i, r := range name {
		switch {
		case r >= '0' && r <= '9' && i == 0:
			b.WriteString("CH_")
			b.WriteRune(r)
		case r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r)):
			b.WriteRune(unicode.ToUpper(r))
		default:
			b.WriteByte('_')
		}
	}
	return b.String()
}

// CommandRow is a command of a channel.
type CommandRow struct {
	Channel string
	calibrate.Command
}

// WriteCommands writes one CSV row for each command: channel, start_s with 12
// decimals, width_us with 6, command. A stop after a loss has no width.
func WriteCommands(w io.Writer, rows iter.Seq[CommandRow]) error {
	out := bufio.NewWriterSize(w, 64<<10)
	if _, err := out.WriteString("channel,start_s,width_us,command\n"); err != nil {
		return err
	}
	var line []byte
	for row := range rows {
		line = append(append(line[:0], csvField(row.Channel)...), ',')
		line = append(appendDecimal(line, row.Start, 1_000_000_000_000), ',')
		if !row.Stop {
			line = appendDecimal(line, row.Width, 1_000_000)
		}
		line = strconv.AppendInt(append(line, ','), row.Value, 10)
		if _, err := out.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return out.Flush()
}
