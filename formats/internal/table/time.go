package table

import (
	"bytes"
	"fmt"
	"math/big"
	"strings"
	"time"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// farFromZero is the stamp from which on times are kept relative to the first.
const farFromZero = 1e6 * int64(decode.Second)

// clockKind says what a table's stamps are.
type clockKind uint8

const (
	noClock clockKind = iota
	decimalClock
	dateClock   // ISO 8601 dates or times of day
	sampleClock // sample numbers, n / rate
	rowClock    // no column: row n at n / rate
)

// clock turns stamps into picoseconds.
type clock struct {
	kind  clockKind
	mark  byte // decimal mark
	shift int  // the unit is 10^shift ps: 12 for seconds
	// quantities is set where each stamp brings its own unit.
	quantities bool
	// A sample takes p/q ps.
	p, q uint64

	started bool
	far     bool // times are relative to base
	base    exact.Wide
	first   string // the first stamp, where far
	last    exact.Wide
	lastDay exact.Wide // what midnights have added to times of day
}

// withRate makes c count samples.
func (c *clock) withRate(r exact.Rate) bool {
	if r.Num <= 0 || r.Den <= 0 {
		return false
	}
	step := big.NewRat(r.Den, r.Num)
	step.Mul(step, big.NewRat(int64(decode.Second), 1)) // in lowest terms
	c.p, c.q = step.Num().Uint64(), step.Denom().Uint64()
	return step.Num().IsUint64()
}

// step is the time of one sample in picoseconds, 0 without a rate.
func (c *clock) step() float64 {
	if c.q == 0 {
		return 0
	}
	return float64(c.p) / float64(c.q)
}

// read returns the instant of a stamp and how many decimals of a second it is
// written with, less than 0 for stamps coarser than a second.
func (c *clock) read(text []byte) (t decode.Time, decimals int, err error) {
	if c.kind == decimalClock && !c.far && c.started && !c.quantities {
		if m, d, ok := exact.QuickNumber(text, c.mark); ok && c.shift >= d {
			if v, ok := exact.Times(m, exact.PowersOfTen[c.shift-d]); ok {
				return decode.Time(v), 12 - c.shift + d, nil
			}
		}
	}
	return c.readSlowly(bytes.TrimSpace(text))
}

func (c *clock) readSlowly(text []byte) (t decode.Time, decimals int, err error) {
	var at exact.Wide
	switch c.kind {
	case sampleClock:
		n, ok := exact.ScaledNumber(text, c.mark, 0)
		if !ok {
			return 0, 0, fmt.Errorf("%s is not a sample number", quote(text))
		}
		return c.sample(n)
	case dateClock:
		at, decimals, err = c.date(text)
	default:
		at, decimals, err = c.decimal(text)
	}
	if err != nil {
		return 0, 0, err
	}
	if !c.started {
		c.started = true
		v, ok := at.Narrow()
		if c.kind == dateClock || !ok || v > farFromZero || v < -farFromZero {
			c.far, c.base, c.first = true, at, string(text)
		}
	}
	v, ok := at.Minus(c.base).Narrow()
	if !ok {
		return 0, 0, fmt.Errorf("the stamp %s is too far from the first", quote(text))
	}
	return decode.Time(v), decimals, nil
}

// sample returns the instant of sample n.
func (c *clock) sample(n int64) (t decode.Time, decimals int, err error) {
	v, ok := exact.Ratio(n, c.p, c.q)
	if !ok {
		return 0, 0, fmt.Errorf("sample %d lies more than 106 days from zero", n)
	}
	return decode.Time(v), 12, nil
}

func (c *clock) decimal(text []byte) (at exact.Wide, decimals int, err error) {
	shift := c.shift
	x, plain := exact.ReadNumber(text, c.mark)
	if !plain {
		// A stamp may bring its own unit: 12.5 us.
		number, unit := cutUnit(text)
		own, known := timeUnits[unit]
		var ok bool
		if x, ok = exact.ReadNumber(number, c.mark); !ok || !known {
			return at, 0, fmt.Errorf("%s is not a time", quote(text))
		}
		shift = own
	}
	switch {
	case !plain && !c.quantities:
		return at, 0, fmt.Errorf("the time %s brings a unit, and the others do not", quote(text))
	case plain && c.quantities && !x.IsZero():
		return at, 0, fmt.Errorf("the time %s has no unit, and the others do", quote(text))
	}
	at, ok := x.Scaled(shift)
	if !ok {
		return at, 0, fmt.Errorf("the time %s is absurd", quote(text))
	}
	return at, decimalsOf(12-shift+x.Decimals, at), nil
}

// decimalsOf is the number of decimals of a second a stamp is written with.
// More than twelve are the tail of a binary number written in full: then those
// that are not zero count.
func decimalsOf(written int, at exact.Wide) int {
	v, ok := at.Narrow()
	if written <= 12 || !ok {
		return written
	}
	n := 12
	for ; n > 0 && v%10 == 0; n-- {
		v /= 10
	}
	return n
}

// cutUnit parts a number from the letters behind it.
func cutUnit(text []byte) (number []byte, unit string) {
	i := len(text)
	for i > 0 && (text[i-1] > '9' || text[i-1] == ' ') {
		i--
	}
	return text[:i], unitName(string(text[i:]))
}

// date reads an ISO 8601 date and time, or a time of day, in picoseconds since
// 1970 or midnight. A time of day that falls back by more than half a day has
// passed midnight.
func (c *clock) date(text []byte) (at exact.Wide, decimals int, err error) {
	seconds, fraction, isDate, ok := readDate(text)
	if !ok {
		return at, 0, fmt.Errorf("%s is not a date and time", quote(text))
	}
	x, _ := exact.ReadNumber(append([]byte("0."), fraction...), '.')
	part, _ := x.Scaled(12)
	at = exact.Product(seconds, uint64(decode.Second)).Plus(part)
	if !isDate {
		day := exact.Wide{Lo: 86400 * uint64(decode.Second)}
		at = at.Plus(c.lastDay)
		if v, ok := c.last.Minus(at).Narrow(); c.started && ok && v > 43200*int64(decode.Second) {
			at, c.lastDay = at.Plus(day), c.lastDay.Plus(day)
		}
		c.last = at
	}
	return at, len(fraction), nil
}

// How dates and offsets from UTC are written (ISO 8601, and the day first).
var (
	dayLayouts    = []string{"2006-01-02", "2006/01/02", "02.01.2006"}
	offsetLayouts = []string{"-07:00", "-0700", "-07"}
)

// readDate reads a day, T or a space, hh:mm:ss, a fraction, and Z or an offset;
// or the time of day alone. Seconds count from 1970 or from midnight.
func readDate(text []byte) (seconds int64, fraction []byte, isDate, ok bool) {
	at := bytes.IndexByte(text, ':') - 2
	if at < 0 || len(text) < at+8 {
		return 0, nil, false, false // a day alone is no instant
	}
	clock, err := time.Parse("15:04:05", string(text[at:at+8]))
	if err != nil {
		return 0, nil, false, false
	}
	seconds = int64(clock.Hour()*3600 + clock.Minute()*60 + clock.Second())
	rest := text[at+8:]
	if len(rest) > 1 && (rest[0] == '.' || rest[0] == ',') {
		n := len(rest) - len(bytes.TrimLeft(rest[1:], "0123456789"))
		fraction, rest = rest[1:n], rest[n:]
	}
	offset, ok := readOffset(string(bytes.TrimSpace(rest)))
	if isDate = at > 0; isDate && ok {
		var day time.Time
		day, ok = parseAny(dayLayouts, strings.TrimRight(string(text[:at]), "Tt "))
		ok = ok && bytes.IndexByte([]byte("Tt "), text[at-1]) >= 0
		seconds += day.Unix()
	}
	return seconds - offset, fraction, isDate, ok
}

// readOffset reads Z, +hh:mm, +hhmm, +hh or nothing, in seconds.
func readOffset(text string) (seconds int64, ok bool) {
	if text == "" || text == "Z" || text == "z" {
		return 0, true
	}
	t, ok := parseAny(offsetLayouts, text)
	_, east := t.Zone()
	return int64(east), ok
}

func parseAny(layouts []string, text string) (time.Time, bool) {
	for _, layout := range layouts {
		if t, err := time.Parse(layout, text); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// quote shows a cell in a message, shortened.
func quote(text []byte) string {
	if len(text) > 40 {
		return fmt.Sprintf("%q...", text[:40])
	}
	return fmt.Sprintf("%q", text)
}
