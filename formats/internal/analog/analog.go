// Package analog turns readings into levels: the threshold lies half-way
// between the two states of a channel, found once it leaves the first, and
// edges lie where it is crossed.
package analog

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// How far a channel is looked ahead, from where it first leaves its first state,
// to find its states.
const (
	lookAheadTime = 100 * decode.Millisecond
	// lookAheadText is the same in bytes of text.
	lookAheadText = 4 << 20
	quietKept     = 4096 // readings kept of the first state
)

// A channel that never swings is high from here on, in nanovolts (common
// practice, no source).
const flatHigh = 1e9

// Most is what readings must lie below, in nanovolts, so that sums and products
// of them stay within 64 bits.
const Most = 4e17

// Sink takes the levels of channels.
type Sink interface {
	// Set gives a channel a level from an instant on. One that it has already is
	// no edge.
	Set(channel int, l decode.Level, at decode.Time)
	// Level is the one that was set last.
	Level(channel int) decode.Level
}

// Reading is what a channel reads from an instant on.
type Reading struct {
	At, Before decode.Time // its stamp and that of the row before
	// Place is where the reading stands in what readings are weighed by: rows of
	// samples, picoseconds where a reading holds until the next.
	Place   int64
	Text    int64 // bytes of text so far
	Value   int64 // nanovolts
	Unknown bool
}

// Settings say what is known of a channel beforehand.
type Settings struct {
	Channel int
	Name    string
	Volts   bool // the readings are volts, and told as such
	// Holds is set where a reading holds until the next one; else the channel
	// goes from one reading to the next in a straight line.
	Holds bool
	// Uneven is set where readings may stand far apart because nothing changed
	// between them: a channel that is in the other state with the next one went
	// there at its stamp.
	Uneven  bool
	ZeroOne bool // the readings are the levels 0 and 1
	// Threshold and Band, the hysteresis, are in nanovolts where they are stated.
	Threshold, Band *int64
}

// sample is a stretch with the same reading.
type sample struct {
	first, last decode.Time // stamps of its first and last row
	value       int64
	place       int64 // of its first row
	weight      int64 // once it has ended
	unknown     bool
}

// stage says how far the states of a channel are known.
type stage uint8

const (
	quiet    stage = iota // in its first state, as far as can be told
	swinging              // it left that state: readings are gathered
	twoValue              // it has two values only: digital
	graded                // its threshold is fixed
)

// Channel turns the readings of one channel into levels.
type Channel struct {
	Settings
	sink  Sink
	stage stage

	kept     []sample     // gathered so far, the current one last
	told     int          // how many of them have been told
	low, top int64        // extremes of the first state
	left     Reading      // the one that left it
	fixed    bool         // the threshold stands
	guessed  decode.Level // what the first state was told to be before it stood; else Unknown

	mid, upper, lower int64
	value             int64 // of the reading before
	known             bool  // value is
	crossing          decode.Time
	pending           bool        // crossing waits for the far limit
	floor             decode.Time // no edge may lie before: those blocks are gone

	states  [2]int64    // low and high, known once the threshold stands
	third   string      // a third value of a digital channel, as first seen
	outside int64       // readings far outside both states
	outAt   decode.Time // the first of them
}

// New returns a channel that sets its levels in sink.
func New(s Settings, sink Sink) *Channel {
	c := &Channel{Settings: s, sink: sink, floor: math.MinInt64}
	if s.ZeroOne {
		c.stage = twoValue
		c.fix(0, 1e9)
	}
	return c
}

// Same tells whether a reading repeats the one before.
func (c *Channel) Same(value int64, unknown bool) bool {
	switch c.stage {
	case twoValue:
		l := decode.Unknown
		if !unknown {
			l = c.levelOf(value)
		}
		return l == c.sink.Level(c.Channel)
	case graded:
		return c.known == !unknown && c.value == value
	}
	n := len(c.kept)
	return n > 0 && c.kept[n-1].value == value && c.kept[n-1].unknown == unknown
}

// IsZeroOne tells whether the channel is digital for good, 0 low and 1 high.
func (c *Channel) IsZeroOne() bool {
	return c.stage == twoValue && c.states == [2]int64{0, 1e9} && c.levelOf(0) == decode.Low && c.levelOf(1e9) == decode.High
}

// Rests tells whether a reading leaves the channel in its first state, of which
// the level has been told.
func (c *Channel) Rests(value int64) bool {
	return c.stage == quiet && c.guessed != decode.Unknown && c.Same(value, false)
}

// Add takes in a reading. One that repeats the one before changes nothing, not
// even when the states are looked for, so that it may be left out.
func (c *Channel) Add(r Reading) {
	if c.stage != twoValue && c.Same(r.Value, r.Unknown) {
		return
	}
	switch c.stage {
	case graded:
		c.cross(r)
	case twoValue:
		c.digital(r)
	default:
		c.gather(r)
	}
	if c.due(r.At, r.Text) {
		c.decide(r.At, r.Place+1)
	}
}

// Date gives what was read before the first stamp its instant.
func (c *Channel) Date(at decode.Time, place int64) {
	for i := range c.kept {
		c.kept[i].first, c.kept[i].last, c.kept[i].place = at, at, place
	}
}

// gather keeps a reading until the states are known.
func (c *Channel) gather(r Reading) {
	c.end(r)
	if c.stage == quiet && c.told >= 2*quietKept {
		c.kept = append(c.kept[:0], c.kept[len(c.kept)-quietKept:]...)
		c.told = len(c.kept)
	}
	c.kept = append(c.kept, sample{first: r.At, last: r.At, value: r.Value, place: r.Place, unknown: r.Unknown})
	if !r.Unknown {
		c.widen(r)
	}
	if c.stage == quiet && c.guessed != decode.Unknown {
		c.tellFlat()
	}
}

// end ends the reading before r.
func (c *Channel) end(r Reading) {
	n := len(c.kept)
	if n == 0 {
		return
	}
	current := &c.kept[n-1]
	current.last, current.weight = r.Before, r.Place-current.place
	if c.Holds && current.first == r.At && c.told < n {
		c.kept = c.kept[:n-1] // a reading of no duration is none
		c.known = c.known && n > 1
	}
}

// widen makes a known reading part of the first state, or tells that the channel
// has left that: further beyond it than it is wide.
func (c *Channel) widen(r Reading) {
	spread := c.top - c.low
	switch {
	case !c.known:
		c.known, c.low, c.top = true, r.Value, r.Value
	case c.stage != quiet:
	case r.Value > c.top+spread || r.Value < c.low-spread:
		c.stage, c.left = swinging, r
	default:
		c.low, c.top = min(c.low, r.Value), max(c.top, r.Value)
	}
}

// due tells whether enough was looked at since the channel left its state.
func (c *Channel) due(at decode.Time, text int64) bool {
	return c.stage == swinging && (at-c.left.At >= lookAheadTime || text-c.left.Text >= lookAheadText)
}

// decide finds the states among what was gathered up to a place and replays it.
// Without two states the channel goes on waiting.
func (c *Channel) decide(last decode.Time, place int64) {
	if len(c.kept) == 0 || c.fixed {
		return
	}
	current := c.kept[len(c.kept)-1]
	end := &c.kept[len(c.kept)-1]
	end.last, end.weight = last, place-current.place
	if !c.findStates() {
		c.stage = quiet
		for _, s := range c.kept {
			if !s.unknown {
				c.low, c.top = min(c.low, s.value), max(c.top, s.value)
			}
		}
		*end = current
		if c.guessed != decode.Unknown {
			c.tellFlat()
		}
		return
	}
	c.replay()
}

// replay turns what was gathered into levels, what has been told already aside.
func (c *Channel) replay() {
	kept := c.kept
	c.kept, c.known = nil, false
	if i := slices.IndexFunc(kept, func(s sample) bool { return !s.unknown }); c.guessed != decode.Unknown && c.levelOf(kept[i].value) != c.guessed {
		c.sink.Set(c.Channel, decode.Unknown, max(c.floor, kept[0].first)) // blocks before are gone
	}
	before := kept[0].first
	for i, s := range kept {
		switch {
		case i < c.told:
			c.value, c.known = s.value, !s.unknown
		case c.stage == twoValue:
			c.digital(Reading{At: s.first, Value: s.value, Unknown: s.unknown})
		default:
			c.cross(Reading{At: s.first, Before: before, Value: s.value, Unknown: s.unknown})
		}
		before = s.last
	}
}

func (c *Channel) levelOf(value int64) decode.Level {
	if value >= c.mid {
		return decode.High
	}
	return decode.Low
}

// findStates finds two states among what was gathered and fixes the threshold;
// false where there are none.
func (c *Channel) findStates() bool {
	values := make([]int64, 0, 3)
	for _, s := range c.kept {
		if !s.unknown && len(values) < 3 && !slices.Contains(values, s.value) {
			values = append(values, s.value)
		}
	}
	if len(values) < 2 && c.Threshold == nil {
		return false
	}
	if len(values) == 2 && !(c.Holds && c.Band != nil) {
		slices.Sort(values)
		c.stage = twoValue
		c.fix(values[0], values[1])
		return true
	}
	low, high, ok := states(c.kept, c.Uneven)
	if !ok && c.Threshold == nil {
		return false
	}
	c.stage = graded
	c.fix(low, high)
	return true
}

// fix sets the threshold half-way between two states and the hysteresis to a
// tenth of their distance, unless they are stated.
func (c *Channel) fix(low, high int64) {
	c.fixed, c.states = true, [2]int64{low, high}
	c.mid = low + c.swing()/2
	if c.stage == twoValue { // the higher value is high, however close
		c.mid = low + (c.swing()+1)/2
	}
	if c.Threshold != nil && !c.ZeroOne {
		c.mid = *c.Threshold
	}
	band := c.swing() / 10
	if c.Band != nil {
		band = *c.Band
	}
	c.upper, c.lower = c.mid+band/2, c.mid-band/2
}

// swing is how far apart the states are.
func (c *Channel) swing() int64 { return c.states[1] - c.states[0] }

// digital takes in a reading of a channel that has two values.
func (c *Channel) digital(r Reading) {
	if r.Unknown {
		c.sink.Set(c.Channel, decode.Unknown, r.At)
		return
	}
	if c.third == "" && r.Value != c.states[0] && r.Value != c.states[1] {
		c.third = fmt.Sprintf("%s at %s s", c.reading(r.Value), r.At.Seconds(6))
	}
	c.sink.Set(c.Channel, c.levelOf(r.Value), max(r.At, c.floor))
}

// cross takes in a reading of a graded channel: the level changes where the
// threshold is crossed, the last time before the far limit of the hysteresis is
// passed.
func (c *Channel) cross(r Reading) {
	if r.Unknown {
		c.sink.Set(c.Channel, decode.Unknown, r.At)
		c.known, c.pending = false, false
		return
	}
	if r.Value > c.mid+2*c.swing() || r.Value < c.mid-2*c.swing() {
		if c.outside++; c.outside == 1 {
			c.outAt = r.At
		}
	}
	last, state := c.value, c.sink.Level(c.Channel)
	c.value = r.Value
	if !c.known || state == decode.Unknown {
		c.known = true
		c.sink.Set(c.Channel, c.levelOf(r.Value), max(r.At, c.floor))
		return
	}
	was, is := c.beyond(last, state), c.beyond(r.Value, state)
	switch {
	case is && !was:
		c.pending, c.crossing = true, c.crossedAt(r, last)
	case !is:
		c.pending = false
	}
	if c.pending && (state == decode.Low && r.Value >= c.upper || state == decode.High && r.Value <= c.lower) {
		c.pending = false
		c.sink.Set(c.Channel, state.Other(), max(c.crossing, c.floor))
	}
}

// beyond tells whether a reading has come to the threshold from a state. One
// that holds is still high there.
func (c *Channel) beyond(value int64, state decode.Level) bool {
	if state == decode.Low {
		return value >= c.mid
	}
	return value < c.mid || value == c.mid && !c.Holds
}

// crossedAt is the instant at which the threshold is crossed between the
// reading before and this one.
func (c *Channel) crossedAt(r Reading, last int64) decode.Time {
	if c.Holds || c.Uneven && inEither(last, c.states) && inEither(r.Value, c.states) {
		return r.At
	}
	return between(r.Before, r.At, last, r.Value, c.mid)
}

// between interpolates: the instant at which the line from (t1, v1) to (t2,
// v2) passes level, rounded half-even (IEEE Std 181, reference level instant).
func between(t1, t2 decode.Time, v1, v2, level int64) decode.Time {
	part, whole := uint64(level-v1), uint64(v2-v1)
	if v2 < v1 {
		part, whole = uint64(v1-level), uint64(v1-v2)
	}
	after, ok := exact.Ratio(int64(t2-t1), part, whole)
	if !ok {
		return t2
	}
	return t1 + decode.Time(after)
}

// settleFlat tells the level of a channel that has not swung yet: by the
// stated threshold, or by one that was found elsewhere.
func (c *Channel) settleFlat(elsewhere *int64) {
	level := int64(flatHigh)
	if elsewhere != nil {
		level = *elsewhere
	}
	if c.Threshold != nil {
		level = *c.Threshold
	}
	if i := slices.IndexFunc(c.kept, func(s sample) bool { return !s.unknown }); i >= 0 {
		c.guessed = decode.Low
		if c.kept[i].value >= level {
			c.guessed = decode.High
		}
	}
	c.tellFlat()
}

// tellFlat tells the level of what was gathered in the first state, once.
func (c *Channel) tellFlat() {
	for _, s := range c.kept[c.told:] {
		l := c.guessed
		if s.unknown {
			l = decode.Unknown
		}
		c.sink.Set(c.Channel, l, max(s.first, c.floor))
	}
	c.told = len(c.kept)
}
