package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// Printable shows what could steer a terminal, or turn its text around, as an
// escape; names of channels come from other people's files.
func Printable(s string) string { return Escaped(s, hidden) }

// Escaped shows the letters that cannot be shown as they are as escapes.
func Escaped(s string, hidden func(rune) bool) string {
	if strings.IndexFunc(s, hidden) < 0 {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if hidden(r) {
			quoted := strconv.QuoteRuneToASCII(r)
			b.WriteString(quoted[1 : len(quoted)-1])
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}

func hidden(r rune) bool { return r != ' ' && !unicode.IsPrint(r) }

// Shown is a channel's name with its label.
func (c *Channel) Shown() string { return named(c.Name, c.Label) }

func named(name, label string) string {
	if label == "" {
		return Printable(name)
	}
	return Printable(name) + " (" + Printable(label) + ")"
}

// Argument names the channel as a shell takes it: by its column where its name
// cannot be typed.
func (c *Channel) Argument() string {
	if c.column > 0 && Printable(c.Name) != c.Name {
		return fmt.Sprintf("'#%d'", c.column)
	}
	return Argument(c.Name)
}

// Argument is a name as a shell takes it.
func Argument(name string) string {
	plain := func(r rune) bool {
		return strings.ContainsRune("_-./", r) || unicode.IsLetter(r) || unicode.IsDigit(r)
	}
	if name != "" && strings.IndexFunc(name, func(r rune) bool { return !plain(r) }) < 0 {
		return name
	}
	return "'" + strings.ReplaceAll(Printable(name), "'", `'\''`) + "'"
}

// Decimals are those of a single width in microseconds: those of the time step,
// at most three, none for a step of 1 us.
func Decimals(resolution Number) int {
	if resolution.Missing() || resolution <= 0 {
		return 1
	}
	return min(max(int(math.Ceil(-math.Log10(float64(resolution))-1e-9)), 0), 3)
}

// Fixed writes n with digits decimals, and "-" where there is none.
func Fixed(n Number, digits int) string {
	if n.Missing() {
		return "-"
	}
	text := strconv.FormatFloat(float64(n), 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

// Step is a time step with the sample rate it stands for.
func Step(us Number) string {
	if us.Missing() || us <= 0 {
		return "not known"
	}
	rate, unit := 1e6/float64(us), "Hz"
	for _, larger := range []string{"kHz", "MHz", "GHz"} {
		if rate >= 999.5 {
			rate, unit = rate/1000, larger
		}
	}
	if us >= 1e4 {
		return fmt.Sprintf("%.4g ms (%.4g %s)", float64(us)/1000, rate, unit)
	}
	return fmt.Sprintf("%.4g us (%.4g %s)", float64(us), rate, unit)
}

// Lasting is a duration with a unit that suits it.
func Lasting(t Seconds) string {
	switch d := decode.Time(t); {
	case d >= 10*decode.Second:
		return d.Seconds(0) + " s"
	case d >= decode.Second:
		return d.Seconds(1) + " s"
	case d >= decode.Millisecond:
		return d.Seconds(3) + " s"
	default:
		return strings.TrimSuffix(d.Micros(0), ".") + " us"
	}
}

// JudgedChannels are the channels that were judged, without their slots.
func (c *Capture) JudgedChannels() []*Channel {
	return slices.DeleteFunc(slices.Clone(c.Channels), func(ch *Channel) bool { return !ch.Judged })
}

// HowManyJudged is "2 of 3 channels judged".
func (c *Capture) HowManyJudged() string {
	return fmt.Sprintf("%d of %s judged", len(c.JudgedChannels()), phrase.Count(len(c.Channels), "channel"))
}

// Warnings counts the events that warn.
func (c *Capture) Warnings() (n int) {
	for _, e := range c.Events {
		if e.Severity == string(decode.Warn) {
			n++
		}
	}
	return n
}

// Undecided says why a capture could not be decided; "" where it was.
func (c *Capture) Undecided() string {
	if decode.Outcome(c.Verdict) != decode.Undecided {
		return ""
	}
	var open []string
	for _, ch := range c.Channels {
		if ch.Verdict == Word(decode.Undecided) {
			open = append(open, fmt.Sprintf("%s (%s)", ch.Shown(), phrase.Count(ch.Frames, "frame")))
		}
	}
	switch {
	case len(c.Channels) == 0:
		return "The capture has no channel that is read by itself; widthwise inspect lists what it holds."
	case len(open) == 0 && len(c.JudgedChannels()) > 0:
		return "Something that was not judged keeps time with what was: see the notes, and name it with --channel."
	case len(open) == 0:
		return "Nothing was judged: no channel carries servo or pulse-position pulses."
	}
	return "Too little was seen to pass: " + phrase.And(open) + "."
}

// Hidden is [decode.MayRepeat] in short; "" where that is excluded.
func (c *Capture) Hidden() string {
	if !c.MayRepeat {
		return ""
	}
	return "A receiver may repeat its last value on a lost link, and only a moving stick shows it: sweep one slowly for a minute, drive disconnected or propeller off."
}

// KindOf describes a channel that is not judged with what was measured on it.
func (c *Channel) KindOf(resolution Number) string {
	digits := Decimals(resolution)
	switch decode.Signal(c.Signal) {
	case decode.Silent:
		if c.Level != "" {
			return "silent, stays " + string(c.Level)
		}
		return "silent"
	case decode.Duty:
		if !c.RateHz.Missing() {
			low, high := Fixed(c.DutyLow*100, 1), Fixed(c.DutyHigh*100, 1)
			if low != high {
				high = low + " to " + high
			}
			return fmt.Sprintf("duty, %s Hz, %s %% active", Fixed(c.RateHz, 1), high)
		}
	case decode.Serial:
		if !c.BitTime.Missing() {
			return "serial, bit of " + Fixed(c.BitTime, max(digits, 1)) + " us"
		}
	case decode.Servo, decode.Irregular:
		if c.Width != nil {
			return fmt.Sprintf("%s, %s, %s to %s us", c.Signal, phrase.Count(c.Pulses, "pulse"), Fixed(c.Width.Min, digits), Fixed(c.Width.Max, digits))
		}
	}
	return c.Signal
}
