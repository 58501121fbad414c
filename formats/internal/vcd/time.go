package vcd

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// farAway is where stamps are so large that they are dates: they are kept
// relative to the first.
const farAway = 1_000_000 * decode.Second

var (
	errStampNumber = errors.New("not a whole number")
	errStampHuge   = errors.New("not below 2^63")
	errStampFar    = errors.New("more than 106 days from the capture's zero")
)

// clock turns the ticks of a dump into picoseconds: each is multiple of
// them, or one in every fraction where the timescale is finer.
type clock struct {
	scale    string // as it is told, "10 ns"
	multiple uint64
	fraction uint64 // 1, or 10 to 1000 below 1 ps
	origin   uint64 // the tick that is taken as zero
}

// units are the units of a timescale in picoseconds; fs is below.
var units = map[string]uint64{
	"s": uint64(decode.Second), "ms": uint64(decode.Millisecond), "us": uint64(decode.Microsecond),
	"ns": uint64(decode.Nanosecond), "ps": 1, "fs": 0,
}

// newClock reads a timescale such as "10ns".
func newClock(text string) (*clock, error) {
	unit := strings.TrimLeft(text, "0123456789")
	number := text[:len(text)-len(unit)]
	size, known := units[strings.ToLower(unit)]
	n, legal := map[string]uint64{"1": 1, "10": 10, "100": 100}[number]
	if !known || !legal {
		return nil, fmt.Errorf("the timescale %s is not one of the standard", shown(text))
	}
	c := &clock{scale: number + " " + strings.ToLower(unit), multiple: n * size, fraction: 1}
	if size == 0 {
		c.multiple, c.fraction = 1, 1000/n
	}
	return c, nil
}

// start makes tick the zero of all times if it is a date.
func (c *clock) start(tick uint64) (relative bool) {
	if at, err := c.time(tick); err == nil && at <= farAway {
		return false
	}
	c.origin = tick
	return true
}

// time returns the instant of a tick that is not before the origin; a fraction
// of a picosecond is rounded half to even.
func (c *clock) time(tick uint64) (decode.Time, error) {
	t, ok := exact.Ratio(int64(tick-c.origin), c.multiple, c.fraction)
	if !ok {
		return 0, errStampFar
	}
	return decode.Time(t), nil
}

// parseTick reads the digits of a time stamp.
func parseTick(digits []byte) (uint64, error) {
	if len(digits) == 0 {
		return 0, errStampNumber
	}
	var n uint64
	huge := false
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, errStampNumber
		}
		huge = huge || n > math.MaxInt64/10
		n = n*10 + uint64(c-'0')
	}
	if huge || n > math.MaxInt64 {
		return 0, errStampHuge
	}
	return n, nil
}
