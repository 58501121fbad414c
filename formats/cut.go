package formats

import (
	"io"

	"widthwise/decode"
)

// Between is the part of s from an instant until before another; nil is the
// capture's own start or end. It starts with the levels that hold there.
func Between(s decode.Source, from, to *decode.Time) decode.Source {
	return &cutSource{Source: s, from: from, to: to, levels: make([]decode.Level, len(s.Channels()))}
}

type cutSource struct {
	decode.Source
	from, to *decode.Time
	levels   []decode.Level // before the part begins
	begun    bool
	ended    bool
	out      decode.Block
}

// Want asks for every edge: what is only counted cannot be cut.
func (c *cutSource) Want(channel int, n decode.Need) {
	if n == decode.CountsWhenBusy {
		n = decode.Edges
	}
	c.Source.Want(channel, n)
}

func (c *cutSource) Next() (*decode.Block, error) {
	for !c.ended {
		b, err := c.Source.Next()
		if err != nil {
			return nil, err
		}
		c.out.Runs = c.out.Runs[:0]
		c.out.Until = b.Until
		begins := !c.begun && (c.from == nil || b.Until >= *c.from)
		if begins {
			c.begun = true
			c.opening(b)
		}
		for _, r := range b.Runs {
			c.cut(r)
		}
		if c.to != nil && b.Until >= *c.to {
			c.ended, c.out.Until = true, *c.to
		}
		if c.begun {
			return &c.out, nil
		}
	}
	return nil, io.EOF
}

// opening states the level that each channel has where the part begins.
func (c *cutSource) opening(b *decode.Block) {
	if c.from == nil {
		return
	}
	for _, r := range b.Runs {
		for _, at := range r.At {
			if at > *c.from {
				break
			}
			c.levels[r.Channel] = r.First
			if r.First != decode.Unknown {
				r.First = r.First.Other()
			}
		}
	}
	for channel, level := range c.levels {
		c.out.Runs = append(c.out.Runs, decode.Run{Channel: channel, First: level, At: []decode.Time{*c.from}})
	}
}

// cut passes on what of a run lies in the part and remembers what lies before.
func (c *cutSource) cut(r decode.Run) {
	for len(r.At) > 0 && c.from != nil && r.At[0] <= *c.from {
		c.levels[r.Channel] = r.First
		r.First, r.At = r.First.Other(), r.At[1:]
		if r.First == decode.Unknown {
			return
		}
	}
	for n := range r.At {
		if c.to != nil && r.At[n] >= *c.to {
			r.At = r.At[:n]
			break
		}
	}
	if len(r.At) > 0 {
		c.out.Runs = append(c.out.Runs, r)
	}
}

// Origin is that of the whole but for its start and end.
func (c *cutSource) Origin() decode.Origin {
	o := c.Source.Origin()
	if c.from != nil {
		o.Start = max(o.Start, *c.from)
	}
	if c.to != nil {
		o.End = min(o.End, *c.to)
	}
	o.End = max(o.End, o.Start)
	return o
}
