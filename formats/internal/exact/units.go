package exact

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"

	"widthwise/decode"
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

// durationUnits in picoseconds.
var durationUnits = map[string]int64{
	"ps": 1, "ns": 1e3, "us": 1e6, "µs": 1e6, "μs": 1e6, "ms": 1e9, "s": 1e12, "min": 60e12, "h": 3600e12,
}

// rateUnits in hertz.
var rateUnits = map[string]int64{"Hz": 1, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}

// Longest bounds every stated time, so that sums of a few stay within 64 bits.
const Longest = 50 * 24 * 3600 * decode.Second

// ParseDuration reads a decimal number with a unit of ps, ns, us, ms, s, min or
// h, up to 50 days either way. Digits finer than a picosecond round half to even.
func ParseDuration(text string) (decode.Time, error) {
	r, err := quantity(text, durationUnits, `ns, us, ms or s, such as "22ms"`)
	if err != nil {
		return 0, err
	}
	if new(big.Rat).Abs(r).Cmp(big.NewRat(int64(Longest), 1)) > 0 {
		return 0, fmt.Errorf("%q is longer than 50 days", text)
	}
	return decode.Time(roundHalfEven(r)), nil
}

// ParseRate reads a decimal number with a unit of Hz, kHz, MHz or GHz, above
// zero and up to 100 GHz.
func ParseRate(text string) (Rate, error) {
	r, err := quantity(text, rateUnits, `Hz, kHz or MHz, such as "24MHz"`)
	if err != nil {
		return Rate{}, err
	}
	if r.Sign() <= 0 || r.Cmp(big.NewRat(100e9, 1)) > 0 || r.Denom().Cmp(big.NewInt(1e9)) > 0 {
		return Rate{}, fmt.Errorf("%q is not a rate above 0 and up to 100 GHz", text)
	}
	return Rate{Num: r.Num().Int64(), Den: r.Denom().Int64()}, nil
}

// quantity reads a plain decimal number followed by one of the units.
func quantity(text string, units map[string]int64, usual string) (*big.Rat, error) {
	s := strings.TrimSpace(text)
	cut := len(s) - len(strings.TrimLeft(s, "+-0123456789."))
	number, unit := s[:cut], strings.TrimSpace(s[cut:])
	r, ok := new(big.Rat), cut <= 40
	if ok {
		r, ok = r.SetString(number)
	}
	scale, known := units[unit]
	switch {
	case !ok:
		return nil, fmt.Errorf("%q is no number with a unit; write one with %s", Shorten(text), usual)
	case unit == "":
		return nil, fmt.Errorf("%q has no unit; add one of %s", Shorten(text), usual)
	case !known:
		return nil, fmt.Errorf("%q has the unknown unit %q; use %s", Shorten(text), Shorten(unit), usual)
	}
	return r.Mul(r, big.NewRat(scale, 1)), nil
}

// roundHalfEven returns r as the nearest integer. It must fit.
func roundHalfEven(r *big.Rat) int64 {
	twice := new(big.Int).Lsh(r.Num(), 1)
	q, m := new(big.Int).DivMod(twice, r.Denom(), new(big.Int))
	n := q.Int64() // floor(2r)
	half := n&1 == 1
	n >>= 1
	if half && (m.Sign() != 0 || n&1 == 1) {
		n++
	}
	return n
}

func Shorten(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}
