package table

import "widthwise/decode"

// edges gathers the runs of a block. Its buffers are used again for the next.
type edges struct {
	level []decode.Level  // of each channel, as of its last edge
	at    [][]decode.Time // of each channel, the instants of this block
	fresh []bool          // the channel has no run in this block yet
	runs  []pendingRun
	end   []int // of each channel, scratch for take
	block decode.Block
}

// pendingRun is a run whose instants are still growing.
type pendingRun struct {
	channel  int
	first    decode.Level
	from, to int
}

// grow makes room for so many channels.
func (e *edges) grow(channels int) {
	e.level = make([]decode.Level, channels)
	e.at = make([][]decode.Time, channels)
	e.fresh = make([]bool, channels)
	e.end = make([]int, channels)
}

// Level returns the level that a channel has now.
func (e *edges) Level(channel int) decode.Level { return e.level[channel] }

// reset begins a block.
func (e *edges) reset() {
	e.runs = e.runs[:0]
	for i := range e.at {
		e.at[i] = e.at[i][:0]
		e.fresh[i] = true
	}
}

// Set gives channel the level l from t on. A level it already has is no edge.
func (e *edges) Set(channel int, l decode.Level, t decode.Time) {
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

// take returns the block gathered so far.
func (e *edges) take(until decode.Time) *decode.Block {
	// A run ends where the channel's next one begins.
	for i := range e.end {
		e.end[i] = len(e.at[i])
	}
	for i := len(e.runs) - 1; i >= 0; i-- {
		r := &e.runs[i]
		r.to, e.end[r.channel] = e.end[r.channel], r.from
	}
	e.block.Until = until
	e.block.Runs = e.block.Runs[:0]
	for _, r := range e.runs {
		e.block.Runs = append(e.block.Runs, decode.Run{Channel: r.channel, First: r.first, At: e.at[r.channel][r.from:r.to]})
	}
	return &e.block
}
