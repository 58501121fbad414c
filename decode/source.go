// Package decode turns the level changes of a capture into pulses, frames,
// figures and findings.
//
// It works in three steps. [Decode] passes once over a [Source] and keeps the
// pulses of every channel in a [Recording]. [Recording.Analyse] measures them:
// kind of signal, frame period, dropped frames, losses, jitter. [Analysis.Judge]
// holds the figures against [Limits] and yields findings and verdicts. The
// second and third step need no file and can be repeated.
//
// Times are whole picoseconds. Sums are exact integers, so that an answer
// depends neither on the length of a capture nor on the number of cores.
package decode

import "strconv"

// Time is an instant or a duration in whole picoseconds (signed, +-106 days).
// Instants count from the capture's own zero, which need not be its start.
type Time int64

// Durations in picoseconds.
const (
	Picosecond  Time = 1
	Nanosecond       = 1000 * Picosecond
	Microsecond      = 1000 * Nanosecond
	Millisecond      = 1000 * Microsecond
	Second           = 1000 * Millisecond
)

// Seconds returns t in seconds with exactly digits decimals (0 to 12), rounded
// half away from zero. It never passes through a float.
func (t Time) Seconds(digits int) string { return t.decimal(12, digits) }

// Micros returns t in microseconds with exactly digits decimals (0 to 6).
func (t Time) Micros(digits int) string { return t.decimal(6, digits) }

// decimal writes t / 10^shift with digits decimals.
func (t Time) decimal(shift, digits int) string {
	sign, n := "", uint64(t)
	if t < 0 {
		sign, n = "-", -uint64(t)
	}
	for cut := shift - digits; cut > 0; cut-- {
		if cut == 1 {
			n += 5
		}
		n /= 10
	}
	s := strconv.FormatUint(n, 10)
	for len(s) <= digits {
		s = "0" + s
	}
	if n == 0 {
		sign = ""
	}
	if digits == 0 {
		return sign + s
	}
	return sign + s[:len(s)-digits] + "." + s[len(s)-digits:]
}

// Level is the state of a channel.
type Level uint8

// Levels. Unknown covers x, z, a dump switched off and rows that were skipped.
const (
	Unknown Level = iota
	Low
	High
)

// Other returns the opposite of Low or High, and Unknown for Unknown.
func (l Level) Other() Level {
	switch l {
	case Low:
		return High
	case High:
		return Low
	}
	return Unknown
}

// String returns "low", "high" or "unknown".
func (l Level) String() string { return [...]string{"unknown", "low", "high"}[l] }

// Run is a stretch of level changes of one channel within a block: First from
// At[0] on, then alternating between Low and High at each further instant. Of
// an Unknown run only At[0] counts; the next run says what follows. A run that
// opens with the level the channel already has restates it, which is no edge.
// Instants never go back; equal ones make a level of no duration.
type Run struct {
	Channel int
	First   Level
	At      []Time
}

// Count stands for edges of one channel that were counted and not listed.
type Count struct {
	Channel int
	Tally   *Tally
}

// Facts are what has to be known of a capture's times while it is read. They
// are the same in every block, however the capture is cut into blocks.
type Facts struct {
	// Start is the first instant the capture speaks of.
	Start Time
	// Unit is the finest step in which the stamps at the capture's head are
	// written; 0 if unknown.
	Unit Time
}

// Block is a piece of a capture, all channels side by side. Nothing in later
// blocks lies before Until, nothing in this one lies after it. A block and its
// slices belong to the source and are valid until the next call of Next.
// A channel may have several runs in a block, in order of time.
type Block struct {
	Facts  Facts
	Until  Time
	Runs   []Run
	Counts []Count
}

// Need says how much of a channel is wanted. It is a hint: results do not
// depend on whether a source heeds it.
type Need uint8

const (
	// Edges: every edge, always.
	Edges Need = iota
	// CountsWhenBusy: edges, but a source may hand over a Count for edges that
	// alone make their second a busy one (see [Tally.Busy]). A Count never
	// reaches over a whole second, counted from the capture's start.
	CountsWhenBusy
	// Nothing: the channel may be left out.
	Nothing
)

// Channel is one signal of a source.
type Channel struct {
	// Name is unique within the source: a column header, a dump's reference
	// name, or its dotted path where the name alone is ambiguous.
	Name string
	// Named is set where the user asked for this channel by name.
	Named bool
	// Witness is set where the user asked for others only: the channel is read
	// for what it says about time and about them, and neither judged nor shown.
	Witness bool
}

// Origin tells how the times of a source came about.
type Origin struct {
	// Start and End are the first and the last instant the capture speaks of.
	Start, End Time
	// Step is the sampling interval in picoseconds of an evenly sampled
	// capture, (last - first) / (rows - 1), or stated by the user; 0 where the
	// capture lists changes only.
	Step float64
	// Unit is the finest step in which the stamps are written; 0 if unknown.
	Unit Time
	// UnitAtEnd is larger than Unit where stamps lose digits as they grow.
	UnitAtEnd Time
	// ChangesOnly is set where nothing is written while nothing changes.
	ChangesOnly bool
	// EndStated is set where the capture states its end, apart from its last
	// change. A sampled capture always does.
	EndStated bool
	// Rows is the number of samples, rows or time markers.
	Rows int64
	// Uneven lists what was wrong with the spacing of a sampled capture's
	// stamps: repeated stamps and steps off the usual one.
	Uneven Uneven
	// Text is the first stamp as written where times are kept relative to it.
	Text string
	// Warnings are on what is missing of the file, or lies behind its end:
	// whoever uses the figures has to know.
	Warnings []Remark
	// Notes are on what the reader assumed or left out.
	Notes []Remark
}

// Uneven counts samples whose stamp repeats or is off the usual step.
type Uneven struct {
	Count      int64
	Start, End Time // first and last of them
	Largest    Time // largest step
}

// Source is a capture as it is read: blocks in order of time.
type Source interface {
	// Channels returns the channels in file order; Run.Channel indexes it.
	Channels() []Channel
	// Want tells before the first Next what a channel needs.
	Want(channel int, n Need)
	// Next returns the next block, or io.EOF after the last.
	Next() (*Block, error)
	// Origin tells how times came about. It is asked only after Next has
	// returned io.EOF; what has to be known earlier comes with each block.
	Origin() Origin
	Close() error
}
