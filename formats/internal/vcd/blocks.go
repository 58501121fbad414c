package vcd

import (
	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// block collects the edges of all channels in the order of the file and
// sorts them into runs when the block is full.
type block struct {
	wires []wire
	known []int32 // channels that may be at a known level, each once
	runs  []run
	edges []edge
	base  int64 // runs of earlier blocks
	// starting is set up to the second instant of the dump: the values at the
	// first one are levels to start from, of which the last holds, and so are
	// those before it, which made the first so many runs.
	starting bool
	before   int64
	times    []decode.Time
	out      decode.Block
}

// wire is where a channel stands.
type wire struct {
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
	b := &block{wires: make([]wire, channels), starting: true}
	for i := range b.wires {
		b.wires[i].run = -1
	}
	return b
}

// set gives a channel a level. Instants of a channel never go back.
func (b *block) set(channel int32, at decode.Time, level decode.Level) {
	w := &b.wires[channel]
	if level == w.level || w.muted {
		return
	}
	if level != decode.Unknown && !w.listed {
		w.listed = true
		b.known = append(b.known, channel)
	}
	switch {
	case b.starting && w.run >= b.before:
		b.runs[w.run].first = level
	case b.starting && w.run < 0:
		b.open(channel, at, level)
	case level == decode.Unknown:
		w.before, w.beforeRun, w.since = w.level, w.run, at
		b.open(channel, at, level)
	case w.level == decode.Unknown && w.run >= b.base && w.before != decode.Unknown && w.since == at:
		// An unknown level of no duration is none.
		b.runs[w.run-b.base].dropped = true
		w.level, w.run = w.before, w.beforeRun
		b.set(channel, at, level)
		return
	case w.level == decode.Unknown || w.run < b.base:
		b.open(channel, at, level)
	default:
		b.add(w.run, at)
	}
	w.level = level
}

// pulse lets a channel occur: high and low again at one instant.
func (b *block) pulse(channel int32, at decode.Time) {
	w := &b.wires[channel]
	if w.muted {
		return
	}
	b.set(channel, at, decode.Low)
	if w.run < b.base {
		b.open(channel, at, decode.Low)
	}
	b.add(w.run, at)
	b.add(w.run, at)
}

// blind makes every channel unknown.
func (b *block) blind(at decode.Time) {
	for _, channel := range b.known {
		b.wires[channel].listed = false
		b.set(channel, at, decode.Unknown)
	}
	b.known = b.known[:0]
}

func (b *block) open(channel int32, at decode.Time, level decode.Level) {
	w := &b.wires[channel]
	w.run = b.base + int64(len(b.runs))
	b.runs = append(b.runs, run{channel: channel, first: level})
	b.add(w.run, at)
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
