// Package exact reads what people and recorders write as decimals - numbers,
// durations, rates, volts - into integers, without a float between.
package exact

import (
	"errors"
	"fmt"
	"math/big"
	"strconv"
	"strings"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// Rate is a frequency in hertz as a fraction. The zero value is no rate.
type Rate struct{ Num, Den int64 }

// Hertz writes a rate for a message.
func (r Rate) Hertz() string {
	f := float64(r.Num) / float64(r.Den)
	for _, u := range []struct {
		size float64
		name string
	}{{1e9, "GHz"}, {1e6, "MHz"}, {1e3, "kHz"}} {
		if f >= u.size {
			return strconv.FormatFloat(f/u.size, 'g', 7, 64) + " " + u.name
		}
	}
	return strconv.FormatFloat(f, 'g', 7, 64) + " Hz"
}

// quantity is a kind of number that people write with a unit.
type quantity struct {
	name  string
	units map[string]int64 // how many of the base unit each is
	usual []string         // the units offered to who wrote none
}

var (
	durations = quantity{"a duration", map[string]int64{ // picoseconds
		"ps": 1, "ns": 1e3, "us": 1e6, "\u00b5s": 1e6, "\u03bcs": 1e6, "ms": 1e9, "s": 1e12, "min": 60e12, "h": 3600e12,
	}, []string{"s", "ms", "us", "ns"}}
	rates = quantity{"a rate", map[string]int64{ // hertz
		"Hz": 1, "kHz": 1e3, "KHz": 1e3, "MHz": 1e6, "GHz": 1e9,
	}, []string{"Hz", "kHz", "MHz", "GHz"}}
	voltages = quantity{"a voltage", map[string]int64{ // microvolts
		"uV": 1, "\u00b5V": 1, "\u03bcV": 1, "mV": 1e3, "V": 1e6,
	}, []string{"V", "mV"}}
)

// Longest bounds every time of a scenario, so that sums of a few stay within 64
// bits.
const Longest = 50 * 24 * 3600 * decode.Second

// ParseDuration reads a decimal number with a unit of ps, ns, us, ms, s, min or
// h. Digits finer than a picosecond round half to even.
func ParseDuration(text string) (decode.Time, error) {
	r, err := durations.parse(text)
	if err != nil {
		return 0, err
	}
	t, ok := rounded(r)
	if !ok {
		return 0, errors.New("too large; times reach to 106 days")
	}
	return decode.Time(t), nil
}

// ParseRate reads a decimal number with a unit of Hz, kHz, MHz or GHz, above
// zero and up to 100 GHz.
func ParseRate(text string) (Rate, error) {
	r, err := rates.parse(text)
	switch {
	case err != nil:
		return Rate{}, err
	case r.Sign() <= 0:
		return Rate{}, errors.New("not above zero; a rate, such as 10MHz")
	case r.Cmp(big.NewRat(100e9, 1)) > 0 || r.Denom().Cmp(big.NewInt(1e6)) > 0:
		return Rate{}, errors.New("out of reach; at most 100GHz, to 1 uHz")
	}
	return Rate{Num: r.Num().Int64(), Den: r.Denom().Int64()}, nil
}

// ParseVolts reads a decimal number with a unit of V, mV or uV, in microvolts.
// Finer digits round half to even.
func ParseVolts(text string) (int64, error) {
	r, err := voltages.parse(text)
	if err != nil {
		return 0, err
	}
	v, ok := rounded(r)
	if !ok {
		return 0, errors.New("too large; a voltage, such as 1.65V")
	}
	return v, nil
}

// parse reads a plain decimal number and a unit exactly, in base units.
func (q quantity) parse(text string) (*big.Rat, error) {
	s := strings.TrimSpace(text)
	cut := len(s) - len(strings.TrimLeft(s, "+-0123456789."))
	number, unit := s[:cut], strings.TrimSpace(s[cut:])
	if !plainDecimal(number) {
		return nil, fmt.Errorf("not %s; a number and a unit, such as %s", q.name, "22"+q.usual[min(1, len(q.usual)-1)])
	}
	scale, known := q.units[unit]
	if !known {
		what := q.name + " needs a unit"
		if unit != "" {
			what = fmt.Sprintf("%q is no unit of %s", Shorten(unit), q.name)
		}
		return nil, fmt.Errorf("%s; %s", what, q.offer(number))
	}
	r, _ := new(big.Rat).SetString(number)
	return r.Mul(r, big.NewRat(scale, 1)), nil
}

// offer is a number with each of the usual units.
func (q quantity) offer(number string) string {
	each := make([]string, len(q.usual))
	for i, unit := range q.usual {
		each[i] = number + unit
	}
	return phrase.Or(each)
}

// plainDecimal is a sign, digits, a point: no exponent, so that no short text
// stands for a number of a million digits.
func plainDecimal(s string) bool {
	if s != "" && strings.ContainsRune("+-", rune(s[0])) {
		s = s[1:]
	}
	whole, fraction, _ := strings.Cut(s, ".")
	return len(s) <= 40 && whole+fraction != "" && strings.Trim(whole+fraction, "0123456789") == ""
}

// rounded returns r as the nearest integer, half to even, if it fits.
func rounded(r *big.Rat) (int64, bool) {
	floor, rest := new(big.Int).DivMod(r.Num(), r.Denom(), new(big.Int))
	if half := rest.Lsh(rest, 1).Cmp(r.Denom()); half > 0 || half == 0 && floor.Bit(0) == 1 {
		floor.Add(floor, big.NewInt(1))
	}
	return floor.Int64(), floor.IsInt64()
}

// Shorten cuts a text that a message quotes.
func Shorten(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}
