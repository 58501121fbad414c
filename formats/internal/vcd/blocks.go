package vcd

import (
	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// block collects the edges of all channels in the order of the file and
// sorts them into runs when the block is full.
type block struct {
	states []channelState
	known  []int32 // channels that may be at a known level, each once
	runs   []run
	edges  []edge
	base   int64 // runs of earlier blocks
	// starting is set up to the second instant of the dump: the values at the
	// first one are levels to start from, of which the last holds, and so are
	// those before it, which made the first so many runs.
	starting bool
	before   int64
	times    []decode.Time
	out      decode.Block
}

// channelState is where a channel stands.
type channelState struct {
	level  decode.Level
	muted  bool  // not wanted
	listed bool  // is in known
	run    int64 // its last run, counted over all blocks; -1 before the first
	// What held before the level became unknown, and when it did.
	before    decode.Level
	beforeRun int64
	since     decode.Time
}

// run is a run as it grows.
type run struct {
	channel int32
	first   decode.Level
	dropped bool
	edges   int32
}

type edge struct {
	at  decode.Time
	run int32
}

func newBlock(channels int) *block {
	b := &block{states: make([]channelState, channels), starting: true}
	for i := range b.states {
		b.states[i].run = -1
	}
	return b
}

// set gives a channel a level. Instants of a channel never go back.
func (b *block) set(channel int32, at decode.Time, level decode.Level) {
	c := &b.states[channel]
	if level == c.level || c.muted {
		return
	}
	if level != decode.Unknown && !c.listed {
		c.listed = true
		b.known = append(b.known, channel)
	}
	switch {
	case b.starting && c.run >= b.before:
		b.runs[c.run].first = level
	case b.starting && c.run < 0:
		b.open(channel, at, level)
	case level == decode.Unknown:
		c.before, c.beforeRun, c.since = c.level, c.run, at
		b.open(channel, at, level)
	case c.run < b.base:
		b.open(channel, at, level)
	case c.level == decode.Unknown && c.before != decode.Unknown && c.since == at:
		// An unknown level of no duration is none.
		b.runs[c.run-b.base].dropped = true
		c.level, c.run = c.before, c.beforeRun
		b.set(channel, at, level)
		return
	case c.level == decode.Unknown:
		b.open(channel, at, level)
	default:
		b.add(c.run, at)
	}
	c.level = level
}

// pulse lets a channel occur: high and low again at one instant.
func (b *block) pulse(channel int32, at decode.Time) {
	c := &b.states[channel]
	if c.muted {
		return
	}
	b.set(channel, at, decode.Low)
	if c.run < b.base {
		b.open(channel, at, decode.Low)
	}
	b.add(c.run, at)
	b.add(c.run, at)
}

// blind makes every channel unknown.
func (b *block) blind(at decode.Time) {
	for _, channel := range b.known {
		b.states[channel].listed = false
		b.set(channel, at, decode.Unknown)
	}
	b.known = b.known[:0]
}

func (b *block) open(channel int32, at decode.Time, level decode.Level) {
	c := &b.states[channel]
	c.run = b.base + int64(len(b.runs))
	b.runs = append(b.runs, run{channel: channel, first: level})
	b.add(c.run, at)
}

func (b *block) add(run int64, at decode.Time) {
	i := int32(run - b.base)
	b.runs[i].edges++
	b.edges = append(b.edges, edge{at, i})
}

// date gives the levels so far, which came before the first time stamp, its
// instant. What it changes is then an edge.
func (b *block) date(at decode.Time) {
	for i := range b.edges {
		b.edges[i].at = at
	}
	b.before = int64(len(b.runs))
}

// finish hands the block out and begins the next one.
func (b *block) finish(until decode.Time) *decode.Block {
	b.times = slices.Grow(b.times[:0], len(b.edges))[:len(b.edges)]
	b.out = decode.Block{Until: until, Runs: slices.Grow(b.out.Runs[:0], len(b.runs))}
	next := 0
	for i := range b.runs {
		r := &b.runs[i]
		at := b.times[next : next+int(r.edges) : next+int(r.edges)]
		next += int(r.edges)
		if !r.dropped {
			b.out.Runs = append(b.out.Runs, decode.Run{Channel: int(r.channel), First: r.first, At: at})
		}
		r.edges = int32(next) - r.edges // from here on where its next edge goes
	}
	for _, e := range b.edges {
		r := &b.runs[e.run]
		b.times[r.edges] = e.at
		r.edges++
	}
	b.base += int64(len(b.runs))
	b.runs, b.edges = b.runs[:0], b.edges[:0]
	return &b.out
}
