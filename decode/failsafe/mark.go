package failsafe

import "widthwise/decode"

// bounce is how near edges of a mark are one: a contact bounces for less. Common
// practice, no source.
const bounce = 100 * decode.Millisecond

// Watched is a source that passes a capture on and notes when one of its
// channels, which marks a switch, changes its level.
type Watched struct {
	decode.Source
	channel int
	level   decode.Level
	edges   []decode.Time
	last    decode.Time
}

// Watch notes the edges of a channel while s is read.
func Watch(s decode.Source, channel int) *Watched { return &Watched{Source: s, channel: channel} }

// Want asks for every edge of the mark, whatever the reader of the capture wants.
func (w *Watched) Want(channel int, n decode.Need) {
	if channel == w.channel {
		n = decode.Edges
	}
	w.Source.Want(channel, n)
}

// Next passes a block on.
func (w *Watched) Next() (*decode.Block, error) {
	b, err := w.Source.Next()
	if err != nil {
		return b, err
	}
	for _, r := range b.Runs {
		if r.Channel != w.channel {
			continue
		}
		level := r.First
		for _, at := range r.At {
			w.change(level, at)
			level = level.Other()
		}
	}
	return b, nil
}

func (w *Watched) change(to decode.Level, at decode.Time) {
	if from := w.level; from != decode.Unknown && to != decode.Unknown && from != to {
		if len(w.edges) == 0 || at-w.last >= bounce {
			w.edges = append(w.edges, at)
		}
		w.last = at
	}
	w.level = to
}

// Edges returns when the mark changed; what bounces within 100 ms is one.
func (w *Watched) Edges() []decode.Time { return w.edges }
