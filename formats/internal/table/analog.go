package table

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/analog"
	"widthwise/formats/internal/capture"
)

// How far an analog channel is looked ahead, from where it first leaves its
// first state, to find its state levels.
const (
	lookAheadTime = 100 * decode.Millisecond
	lookAheadText = 4 << 20 // bytes of text
	quietKept     = 4096    // samples kept of the first state
)

// sample is a stretch of rows with the same reading in nanovolts.
type sample struct {
	first, last decode.Time // stamps of its first and last row
	value       int64
	rows        int64
	unknown     bool
}

// stage says how far the levels of an analog channel are known.
type stage uint8

const (
	quiet    stage = iota // in its first state, as far as can be told
	swinging              // it left that state: samples are gathered
	twoValue              // it has two values only: digital
	graded                // its threshold is fixed
)

// analogChannel turns readings into levels.
type analogChannel struct {
	channel int
	name    string
	volts   bool // the column says so
	edges   *edges
	stated  *int64 // threshold in nanovolts
	band    *int64 // hysteresis in nanovolts

	stage    stage
	kept     []sample // gathered so far, the current one last
	low, top int64    // extremes of the first state
	leftAt   decode.Time
	leftText int64
	fixed    bool         // the threshold stands
	guessed  decode.Level // what the first state was told to be before it stood; else Unknown
	told     decode.Time  // up to which sample it was
	mid      int64
	upper    int64
	lower    int64
	value    int64       // of the row before
	known    bool        // value is
	crossing decode.Time // last crossing of mid towards the other state
	pending  bool        // crossing waits for the far limit
	floor    decode.Time // no edge may lie before: those blocks are gone
	values   [2]int64    // of a digital channel
	third    string      // a third value of a digital channel, as first seen
	outside  int64       // readings far outside both states
	outAt    decode.Time
	swing    int64
}

func newAnalogChannel(channel int, name string, c column, o capture.Options) *analogChannel {
	a := &analogChannel{channel: channel, name: name, volts: hasVoltUnit(c.unit), floor: math.MinInt64, told: math.MinInt64}
	if c.zeroOne {
		a.stage, a.fixed, a.values = twoValue, true, [2]int64{0, 1e9}
		a.swing, a.mid = 1e9, 1e9/2
		return a
	}
	if o.Threshold != nil {
		v := *o.Threshold * 1000
		a.stated = &v
	}
	if o.Hysteresis != nil {
		v := *o.Hysteresis * 1000
		a.band = &v
	}
	return a
}

// same tells whether a reading repeats that of the row before.
func (a *analogChannel) same(value int64, unknown bool) bool {
	switch a.stage {
	case twoValue:
		l := decode.Unknown
		if !unknown {
			l = a.levelOf(value)
		}
		return l == a.edges.level[a.channel]
	case graded:
		return a.known == !unknown && a.value == value
	}
	n := len(a.kept)
	return n > 0 && a.kept[n-1].value == value && a.kept[n-1].unknown == unknown
}

// add takes in the reading of a row: its stamp, the stamp of the row before,
// and how much text was read up to it. Rows that repeat a reading need not be
// added, but then rows counts them.
func (a *analogChannel) add(t, before decode.Time, row int64, value int64, unknown bool, text int64) {
	switch a.stage {
	case graded:
		a.cross(t, before, value, unknown)
	case twoValue:
		a.digital(t, value, unknown)
	default:
		a.gather(t, before, row, value, unknown, text)
	}
}

// gather keeps a reading until the levels are known. The rows field of the
// current sample holds the number of its first row until the next comes.
func (a *analogChannel) gather(t, before decode.Time, row, value int64, unknown bool, text int64) {
	if n := len(a.kept); n > 0 {
		current := &a.kept[n-1]
		if current.value == value && current.unknown == unknown {
			return
		}
		current.last, current.rows = before, row-current.rows
	}
	if a.stage == quiet && a.guessed != decode.Unknown && len(a.kept) >= 2*quietKept {
		a.kept = append(a.kept[:0], a.kept[len(a.kept)-quietKept:]...) // the rest has been told
	}
	a.kept = append(a.kept, sample{first: t, last: t, value: value, rows: row, unknown: unknown})
	switch spread := a.top - a.low; {
	case unknown:
	case !a.known:
		a.known, a.low, a.top = true, value, value
	case a.stage == quiet && (value > a.top+spread || value < a.low-spread):
		a.stage, a.leftAt, a.leftText = swinging, t, text
	case a.stage == quiet:
		a.low, a.top = min(a.low, value), max(a.top, value)
	}
	if a.stage == quiet && a.guessed != decode.Unknown {
		a.tellFlat(a.kept[len(a.kept)-1])
	}
}

// due tells whether enough was looked at since the channel left its state.
func (a *analogChannel) due(t decode.Time, text int64) bool {
	return a.stage == swinging && (t-a.leftAt >= lookAheadTime || text-a.leftText >= lookAheadText)
}

// decide finds the levels from what was gathered, up to row (the next one),
// and replays it. Without two states the channel goes on waiting.
func (a *analogChannel) decide(last decode.Time, row int64) {
	if len(a.kept) == 0 {
		return
	}
	current := a.kept[len(a.kept)-1]
	a.kept[len(a.kept)-1].last, a.kept[len(a.kept)-1].rows = last, row-current.rows
	if !a.findLevels() {
		a.stage = quiet
		for _, s := range a.kept {
			if !s.unknown {
				a.low, a.top = min(a.low, s.value), max(a.top, s.value)
			}
			if a.guessed != decode.Unknown {
				a.tellFlat(s)
			}
		}
		a.kept[len(a.kept)-1] = current
		return
	}
	kept := a.kept
	a.kept, a.fixed, a.known = nil, true, false
	before := kept[0].first
	if a.guessed != decode.Unknown {
		a.correctGuess(kept)
	}
	for _, s := range kept {
		switch {
		case a.guessed != decode.Unknown && s.first <= a.told:
			a.value, a.known = s.value, !s.unknown
		case a.stage == twoValue:
			a.digital(s.first, s.value, s.unknown)
		default:
			a.cross(s.first, before, s.value, s.unknown)
		}
		before = s.last
	}
}

// correctGuess opens an unknown stretch where the first state turns out to be
// the other one than was told.
func (a *analogChannel) correctGuess(kept []sample) {
	i := slices.IndexFunc(kept, func(s sample) bool { return !s.unknown })
	if i >= 0 && a.levelOf(kept[i].value) != a.guessed {
		a.edges.set(a.channel, decode.Unknown, max(a.leftAt, a.floor))
	}
}

func (a *analogChannel) levelOf(value int64) decode.Level {
	if value >= a.mid {
		return decode.High
	}
	return decode.Low
}

// findLevels finds the two states among the samples kept and fixes the
// threshold; false where there are none.
func (a *analogChannel) findLevels() bool {
	values := make([]int64, 0, 3)
	for _, s := range a.kept {
		if !s.unknown && len(values) < 3 && !slices.Contains(values, s.value) {
			values = append(values, s.value)
		}
	}
	if len(values) < 2 && a.stated == nil {
		return false
	}
	if len(values) == 2 {
		slices.Sort(values)
		a.stage, a.values = twoValue, [2]int64{values[0], values[1]}
		a.fix(values[0], values[1])
		return true
	}
	low, high, ok := a.states()
	if !ok && a.stated == nil {
		return false
	}
	a.stage = graded
	a.fix(low, high)
	return true
}

// fix sets the threshold half-way between two states and the hysteresis to a
// tenth of their distance, unless they are stated.
func (a *analogChannel) fix(low, high int64) {
	a.swing = high - low
	a.mid = low + a.swing/2
	if a.stage == twoValue { // the higher value is high, however close
		a.mid = low + (a.swing+1)/2
	}
	if a.stated != nil {
		a.mid = *a.stated
	}
	band := a.swing / 10
	if a.band != nil {
		band = *a.band
	}
	a.upper, a.lower = a.mid+band/2, a.mid-band/2
}

// states finds the state levels: the modes of both halves of a histogram of
// the readings (IEEE 181), as means of the readings about the mode.
func (a *analogChannel) states() (low, high int64, ok bool) {
	bottom, top, rows := int64(math.MaxInt64), int64(math.MinInt64), int64(0)
	for _, s := range a.kept {
		if !s.unknown {
			bottom, top = min(bottom, s.value), max(top, s.value)
			rows += s.rows
		}
	}
	if top <= bottom {
		return bottom, bottom, false
	}
	width := float64(top-bottom) / analog.Bins
	bin := func(v int64) int { return min(int(float64(v-bottom)/width), analog.Bins-1) }
	var count, sum [analog.Bins]float64
	for _, s := range a.kept {
		if !s.unknown {
			b := bin(s.value)
			count[b] += float64(s.rows)
			sum[b] += float64(s.rows) * float64(s.value-bottom)
		}
	}
	low = bottom + int64(math.Round(analog.Mode(count[:analog.Bins/2], sum[:analog.Bins/2])))
	high = bottom + int64(math.Round(analog.Mode(count[analog.Bins/2:], sum[analog.Bins/2:])))
	swing := high - low
	// Noise about one level has its two modes side by side, or crosses
	// between them at every other sample.
	ok = swing >= analog.LeastSwing && float64(swing) >= 0.4*float64(top-bottom) && 4*a.crossings(low, high) <= rows
	return low, high, ok
}

// crossings counts the changes of state among the samples kept.
func (a *analogChannel) crossings(low, high int64) (n int64) {
	mid, band := low+(high-low)/2, (high-low)/20
	state := decode.Unknown
	for _, s := range a.kept {
		switch {
		case s.unknown:
		case s.value >= mid+band && state != decode.High:
			state = decode.High
			n++
		case s.value <= mid-band && state != decode.Low:
			state = decode.Low
			n++
		}
	}
	return n
}

// digital takes in a reading of a channel that has two values.
func (a *analogChannel) digital(t decode.Time, value int64, unknown bool) {
	if unknown {
		a.edges.set(a.channel, decode.Unknown, t)
		return
	}
	if a.third == "" && value != a.values[0] && value != a.values[1] {
		a.third = fmt.Sprintf("%s at %s s", a.reading(value), t.Seconds(6))
	}
	a.edges.set(a.channel, a.levelOf(value), max(t, a.floor))
}

// cross takes in a reading of an analog channel: the level changes where the
// line from the reading before crosses the threshold, the last time before the
// far limit of the hysteresis is passed.
func (a *analogChannel) cross(t, before decode.Time, value int64, unknown bool) {
	if unknown {
		a.edges.set(a.channel, decode.Unknown, t)
		a.known, a.pending = false, false
		return
	}
	if value > a.mid+2*a.swing || value < a.mid-2*a.swing {
		if a.outside++; a.outside == 1 {
			a.outAt = t
		}
	}
	last, state := a.value, a.edges.level[a.channel]
	a.value = value
	if !a.known || state == decode.Unknown {
		a.known = true
		a.edges.set(a.channel, a.levelOf(value), max(t, a.floor))
		return
	}
	switch {
	case state == decode.Low && last < a.mid && value >= a.mid,
		state == decode.High && last > a.mid && value <= a.mid:
		a.pending, a.crossing = true, analog.Between(before, t, last, value, a.mid)
	case state == decode.Low && value < a.mid, state == decode.High && value > a.mid:
		a.pending = false
	}
	if a.pending && (state == decode.Low && value >= a.upper || state == decode.High && value <= a.lower) {
		a.pending = false
		a.edges.set(a.channel, state.Other(), max(a.crossing, a.floor))
	}
}

// settleFlat tells the level of a channel that has not swung yet: by the
// stated threshold, or by one that was found elsewhere.
func (a *analogChannel) settleFlat(elsewhere *int64) {
	level := int64(analog.FlatHigh)
	if elsewhere != nil {
		level = *elsewhere
	}
	if a.stated != nil {
		level = *a.stated
	}
	for _, s := range a.kept {
		if !s.unknown && a.guessed == decode.Unknown {
			a.guessed = decode.Low
			if s.value >= level {
				a.guessed = decode.High
			}
		}
		a.tellFlat(s)
	}
}

// tellFlat tells the level of a sample of the first state, once.
func (a *analogChannel) tellFlat(s sample) {
	if s.first <= a.told {
		return
	}
	a.told = s.first
	l := a.guessed
	if s.unknown {
		l = decode.Unknown
	}
	a.edges.set(a.channel, l, max(s.first, a.floor))
}

// notes are the sentences on how the channel was read.
func (a *analogChannel) notes() (notes []string) {
	switch {
	case a.stage == graded:
		notes = append(notes, fmt.Sprintf("Channel %s is analog: threshold %s, hysteresis %s; --threshold and --hysteresis state others.",
			a.name, a.reading(a.mid), a.reading(a.upper-a.lower)))
		if a.outside >= 10 {
			notes = append(notes, fmt.Sprintf("The levels of channel %s shift at %s s; its threshold was found before that.", a.name, a.outAt.Seconds(6)))
		}
	case a.third != "":
		notes = append(notes, fmt.Sprintf("Channel %s is read as digital, and holds a third value, %s.", a.name, a.third))
	case !a.fixed && a.known && a.top > a.low:
		notes = append(notes, fmt.Sprintf("Channel %s stays between %s and %s: taken as one level, %s; --threshold states another.",
			a.name, a.reading(a.low), a.reading(a.top), a.guessed))
	}
	return notes
}

// volts writes nanovolts.
func volts(v int64) string {
	return strconv.FormatFloat(float64(v)/1e9, 'g', 5, 64) + " V"
}

// reading writes a reading with its unit, if the column says one.
func (a *analogChannel) reading(v int64) string {
	if a.volts {
		return volts(v)
	}
	return strings.TrimSuffix(volts(v), " V")
}
