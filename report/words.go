package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"widthwise/decode"
)

// safe shows what could steer a terminal, or turn its text around, as an
// escape; names of channels come from other people's files.
func safe(s string) string {
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

// Printable is a text from a capture or a file as a terminal may show it.
func Printable(s string) string { return safe(s) }

func hidden(r rune) bool { return r != ' ' && !unicode.IsPrint(r) }

// shown is a channel's name with its label.
func (c *Channel) shown() string {
	if c.Label == "" {
		return safe(c.Name)
	}
	return safe(c.Name) + " (" + safe(c.Label) + ")"
}

// argument names the channel as a shell takes it: by its column where its name
// cannot be typed.
func (c *Channel) argument() string {
	if c.column > 0 && safe(c.Name) != c.Name {
		return fmt.Sprintf("'#%d'", c.column)
	}
	return argument(c.Name)
}

func argument(name string) string {
	plain := func(r rune) bool {
		return strings.ContainsRune("_-./", r) || unicode.IsLetter(r) || unicode.IsDigit(r)
	}
	if name != "" && strings.IndexFunc(name, func(r rune) bool { return !plain(r) }) < 0 {
		return name
	}
	return "'" + strings.ReplaceAll(safe(name), "'", `'\''`) + "'"
}

// scale is how many decimals a capture supports.
type scale struct {
	resolution float64 // microseconds, NaN where unknown
}

// decimals of a single width in microseconds: those of the time step, at most
// three, none for a step of 1 us.
func (s scale) decimals() int {
	if math.IsNaN(s.resolution) || s.resolution <= 0 {
		return 1
	}
	return min(max(int(math.Ceil(-math.Log10(s.resolution)-1e-9)), 0), 3)
}

// width of one pulse, or of a percentile.
func (s scale) width(n Number) string { return fixed(n, s.decimals()) }

// spread is a figure pooled over many pulses: one digit more than the step.
func (s scale) spread(n Number) string { return fixed(n, min(max(s.decimals()+1, 1), 3)) }

// mean in microseconds with the digits its interval leaves, and the interval,
// rounded up to one digit.
func (s scale) mean(n, u95 Number, divisor float64) string {
	n, u95 = n/Number(divisor), u95/Number(divisor)
	if u95.missing() || u95 <= 0 {
		return fixed(n, min(s.decimals()+decimalsOf(divisor), 4))
	}
	digits := min(max(int(math.Ceil(-math.Log10(float64(u95)))), 0), 6)
	unit := math.Pow10(-digits)
	return fixed(n, digits) + " ± " + fixed(Number(max(math.Ceil(float64(u95)/unit-1e-6), 1)*unit), digits)
}

func decimalsOf(divisor float64) int { return int(math.Round(math.Log10(divisor))) }

// fixed writes n with digits decimals, and "-" where there is none.
func fixed(n Number, digits int) string {
	if n.missing() {
		return "-"
	}
	text := strconv.FormatFloat(float64(n), 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

// step is a time step with the sample rate it stands for.
func step(us Number) string {
	if us.missing() || us <= 0 {
		return "not known"
	}
	rate, unit := 1e6/float64(us), "Hz"
	for _, larger := range []string{"kHz", "MHz", "GHz"} {
		if rate >= 999.5 {
			rate, unit = rate/1000, larger
		}
	}
	return fmt.Sprintf("%.4g us (%.4g %s)", float64(us), rate, unit)
}

// instant in seconds with milliseconds, as finely as a hand finds a place.
func instant(t Seconds) string { return decode.Time(t).Seconds(3) }

// duration with a unit that suits it.
func duration(t Seconds) string {
	switch d := decode.Time(t); {
	case d >= 100*decode.Second:
		return d.Seconds(0) + " s"
	case d >= decode.Second:
		return d.Seconds(1) + " s"
	default:
		return strings.TrimSuffix(d.Micros(0), ".") + " us"
	}
}

// count is "1 channel", "3 channels".
func count(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.FormatInt(n, 10) + " " + noun + "s"
}

// series is "a", "a and b", "a, b and c".
func series(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// kindOf describes a channel that is not judged with what was measured on it.
func (c *Channel) kindOf(s scale) string {
	switch decode.Signal(c.Signal) {
	case decode.Silent:
		if c.Level != "" {
			return "silent, stays " + string(c.Level)
		}
		return "silent"
	case decode.Duty:
		if !c.RateHz.missing() {
			return fmt.Sprintf("duty, %s Hz, %s to %s %% active", fixed(c.RateHz, 1), fixed(c.DutyLow*100, 1), fixed(c.DutyHigh*100, 1))
		}
	case decode.Serial:
		if !c.BitTime.missing() {
			return "serial, bit of " + fixed(c.BitTime, max(s.decimals(), 1)) + " us"
		}
	case decode.Servo, decode.Irregular:
		if c.Width != nil {
			return fmt.Sprintf("%s, %s, %s to %s us", c.Signal, count(c.Pulses, "pulse"), s.width(c.Width.Min), s.width(c.Width.Max))
		}
	}
	return c.Signal
}

const safety = "Passing says that this capture is in order, not that the machine is safe. Before power: wheels off the ground, " +
	"weapon locked, restrained or its drive disconnected, the power switch or link within reach, eye protection on, " +
	"lithium packs charged attended. Try the failsafe again after every change of radio, receiver, memory or trim. " +
	"The event's rules, its inspectors, the makers' instructions and local codes decide."
