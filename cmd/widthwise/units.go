package main

import (
	"errors"
	"fmt"
	"math/big"
	"strings"

	"widthwise/decode"
	"widthwise/formats"
)

// unit is a suffix and how many base units it stands for.
type unit struct {
	suffix string
	base   int64
}

// quantity is a kind of number people write with a unit. Longer suffixes come
// before those they end in.
type quantity struct {
	name  string
	units []unit
	show  []string // the units offered to who wrote none
}

var (
	durations = quantity{"a duration", []unit{ // picoseconds
		{"ms", 1e9}, {"us", 1e6}, {"µs", 1e6}, {"μs", 1e6}, {"ns", 1e3}, {"ps", 1}, {"s", 1e12},
	}, []string{"s", "ms", "us", "ns"}}
	rates = quantity{"a rate", []unit{ // hertz
		{"GHz", 1e9}, {"MHz", 1e6}, {"kHz", 1e3}, {"KHz", 1e3}, {"Hz", 1},
	}, []string{"Hz", "kHz", "MHz", "GHz"}}
	volts = quantity{"a voltage", []unit{ // microvolts
		{"mV", 1e3}, {"uV", 1}, {"µV", 1}, {"μV", 1}, {"V", 1e6},
	}, []string{"V", "mV"}}
)

// parse reads a decimal number and a unit exactly, in base units.
func (q quantity) parse(text string) (*big.Rat, error) {
	text = strings.TrimSpace(text)
	for _, u := range q.units {
		number, ok := strings.CutSuffix(text, u.suffix)
		if number = strings.TrimSpace(number); !ok || !plainDecimal(number) {
			continue
		}
		value, _ := new(big.Rat).SetString(number)
		return value.Mul(value, new(big.Rat).SetInt64(u.base)), nil
	}
	if !plainDecimal(text) {
		return nil, fmt.Errorf("not %s; a number and a unit, such as %s", q.name, "22"+q.show[min(1, len(q.show)-1)])
	}
	each := make([]string, len(q.show))
	for i, suffix := range q.show {
		each[i] = text + suffix
	}
	last := len(each) - 1
	return nil, fmt.Errorf("%s needs a unit; %s or %s", q.name, strings.Join(each[:last], ", "), each[last])
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

var errTooLarge = errors.New("too large; times reach to 106 days")

// parseDuration returns picoseconds; finer than 1 ps is rounded.
func parseDuration(text string) (decode.Time, error) {
	r, err := durations.parse(text)
	if err != nil {
		return 0, err
	}
	n, err := rounded(r)
	return decode.Time(n), err
}

func parsePositiveDuration(text string) (decode.Time, error) {
	t, err := parseDuration(text)
	if err == nil && t <= 0 {
		err = errors.New("not above zero; a length of time, such as 22ms")
	}
	return t, err
}

func parseRate(text string) (formats.Rate, error) {
	r, err := rates.parse(text)
	switch {
	case err != nil:
		return formats.Rate{}, err
	case r.Sign() <= 0:
		return formats.Rate{}, errors.New("not above zero; a rate, such as 10MHz")
	case !r.Num().IsInt64() || !r.Denom().IsInt64() || r.Num().Int64() > 1e15:
		return formats.Rate{}, errors.New("out of reach; at most 1000000GHz, with a few decimals")
	}
	return formats.Rate{Num: r.Num().Int64(), Den: r.Denom().Int64()}, nil
}

// parseVolts returns microvolts.
func parseVolts(text string) (int64, error) {
	r, err := volts.parse(text)
	if err != nil {
		return 0, err
	}
	if n, err := rounded(r); err == nil {
		return n, nil
	}
	return 0, errors.New("too large; a voltage, such as 1.65V")
}

// rounded rounds half away from zero.
func rounded(r *big.Rat) (int64, error) {
	twice := new(big.Int).Lsh(r.Num(), 1)
	if r.Sign() < 0 {
		twice.Sub(twice, r.Denom())
	} else {
		twice.Add(twice, r.Denom())
	}
	n := twice.Quo(twice, new(big.Int).Lsh(r.Denom(), 1))
	if !n.IsInt64() {
		return 0, errTooLarge
	}
	return n.Int64(), nil
}
