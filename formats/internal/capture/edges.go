package capture

import "widthwise/decode"

// Edges gathers the runs of a block. Its buffers are used again for the next.
type Edges struct {
	level []decode.Level  // of each channel, as of its last edge
	at    [][]decode.Time // of each channel, the instants of this block
	fresh []bool          // the channel has no run in this block yet
	runs  []pendingRun
	end   []int // of each channel, scratch for Take
	block decode.Block
}

// pendingRun is a run whose instants are still growing.
type pendingRun struct {
	channel  int
	first    decode.Level
	from, to int
}

// NewEdges has room for so many channels, whose levels are not known yet.
func NewEdges(channels int) *Edges {
	return &Edges{level: make([]decode.Level, channels), at: make([][]decode.Time, channels), fresh: make([]bool, channels), end: make([]int, channels)}
}

// Level returns the level that a channel has now.
func (e *Edges) Level(channel int) decode.Level { return e.level[channel] }

// Leave notes the level that a channel has come to by edges that are told elsewhere.
func (e *Edges) Leave(channel int, l decode.Level) { e.level[channel] = l }

// Empty says that the block has no edge so far.
func (e *Edges) Empty() bool { return len(e.runs) == 0 }

// Reset begins a block.
func (e *Edges) Reset() {
	e.runs = e.runs[:0]
	for i := range e.at {
		e.at[i] = e.at[i][:0]
		e.fresh[i] = true
	}
}

// Set gives channel the level l from t on. A level it already has is no edge.
func (e *Edges) Set(channel int, l decode.Level, t decode.Time) {
	was := e.level[channel]
	if l == was {
		return
	}
	e.level[channel] = l
	if e.fresh[channel] || l == decode.Unknown || was == decode.Unknown {
		e.fresh[channel] = false
		e.runs = append(e.runs, pendingRun{channel: channel, first: l, from: len(e.at[channel])})
	}
	e.at[channel] = append(e.at[channel], t)
}

// Take returns the block gathered so far.
func (e *Edges) Take(facts decode.Facts, until decode.Time) *decode.Block {
	// A run ends where the channel's next one begins.
	for i := range e.end {
		e.end[i] = len(e.at[i])
	}
	for i := len(e.runs) - 1; i >= 0; i-- {
		r := &e.runs[i]
		r.to, e.end[r.channel] = e.end[r.channel], r.from
	}
	e.block = decode.Block{Facts: facts, Until: until, Runs: e.block.Runs[:0]}
	for _, r := range e.runs {
		e.block.Runs = append(e.block.Runs, decode.Run{Channel: r.channel, First: r.first, At: e.at[r.channel][r.from:r.to]})
	}
	return &e.block
}
