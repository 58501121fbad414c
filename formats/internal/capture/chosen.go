package capture

import (
	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// Chosen is s without its witnesses, unless the options ask for them.
func Chosen(s Source, o Options) Source {
	channels := s.Channels()
	if o.Witnesses || !slices.ContainsFunc(channels, func(c decode.Channel) bool { return c.Witness }) {
		return s
	}
	c := &chosen{Source: s, place: make([]int, len(channels))}
	for i, channel := range channels {
		c.place[i] = len(c.of)
		if channel.Witness {
			c.place[i] = -1
			s.Want(i, decode.Nothing)
			continue
		}
		c.of = append(c.of, i)
		c.channels = append(c.channels, channel)
	}
	return c
}

type chosen struct {
	Source
	channels []decode.Channel
	of       []int // the source's channel of each of ours
	place    []int // and back; -1 for a witness
	out      decode.Block
}

func (c *chosen) Channels() []decode.Channel      { return c.channels }
func (c *chosen) Want(channel int, n decode.Need) { c.Source.Want(c.of[channel], n) }

func (c *chosen) Next() (*decode.Block, error) {
	b, err := c.Source.Next()
	if err != nil {
		return nil, err
	}
	c.out = decode.Block{Facts: b.Facts, Until: b.Until, Runs: c.out.Runs[:0], Counts: c.out.Counts[:0]}
	for _, r := range b.Runs {
		if r.Channel = c.place[r.Channel]; r.Channel >= 0 {
			c.out.Runs = append(c.out.Runs, r)
		}
	}
	for _, n := range b.Counts {
		if n.Channel = c.place[n.Channel]; n.Channel >= 0 {
			c.out.Counts = append(c.out.Counts, n)
		}
	}
	return &c.out, nil
}
