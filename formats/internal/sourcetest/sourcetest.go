// Package sourcetest drains the sources of tests and holds them to what every
// source promises.
package sourcetest

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"time"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// Change is a level that a channel takes.
type Change struct {
	At    decode.Time
	Level decode.Level
}

// BrokenPromise is what a source does that none may.
type BrokenPromise struct{ What string }

func (b *BrokenPromise) Error() string { return b.What }

func broken(format string, args ...any) error { return &BrokenPromise{fmt.Sprintf(format, args...)} }

// Drain reads a source to its end, or to its error, and returns the changes of
// each channel; a level that a channel has already is none. A promise that the
// source breaks is a *BrokenPromise: names differ, instants of a channel never go back
// and lie in their block, an unknown run has one of them.
func Drain(s decode.Source) ([][]Change, error) {
	d := drain{channels: s.Channels()}
	d.changes = make([][]Change, len(d.channels))
	d.level = make([]decode.Level, len(d.channels))
	d.last = make([]decode.Time, len(d.channels))
	if err := d.names(); err != nil {
		return nil, err
	}
	for d.after = -1 << 63; ; {
		b, err := s.Next()
		if errors.Is(err, io.EOF) {
			return d.changes, nil
		}
		if err != nil {
			return d.changes, err
		}
		if b.Until < d.after {
			return d.changes, broken("a block ends at %d and the next at %d", d.after, b.Until)
		}
		for _, r := range b.Runs {
			if err := d.run(r, b.Until); err != nil {
				return d.changes, fmt.Errorf("channel %s: %w", d.channels[r.Channel].Name, err)
			}
		}
		d.after = b.Until
		for i := range d.last {
			d.last[i] = b.Until
		}
	}
}

// ByName drains a source and returns the changes under each channel's name.
func ByName(s decode.Source) (map[string][]Change, error) {
	lists, err := Drain(s)
	named := map[string][]Change{}
	for i, list := range lists {
		named[s.Channels()[i].Name] = list
	}
	return named, err
}

type drain struct {
	channels []decode.Channel
	changes  [][]Change
	level    []decode.Level // of each channel now
	last     []decode.Time  // its last instant
	after    decode.Time    // where the block before ended
}

func (d *drain) names() error {
	seen := map[string]bool{}
	for i, c := range d.channels {
		if seen[c.Name] {
			return broken("two channels are named %s", c.Name)
		}
		seen[c.Name], d.last[i] = true, -1<<63
	}
	return nil
}

func (d *drain) run(r decode.Run, until decode.Time) error {
	if len(r.At) == 0 || r.First == decode.Unknown && len(r.At) != 1 {
		return broken("a run to %s has %d instants", r.First, len(r.At))
	}
	level := r.First
	for _, at := range r.At {
		if at < d.last[r.Channel] || at > until {
			return broken("an instant at %d after %d, in a block from %d to %d", at, d.last[r.Channel], d.after, until)
		}
		d.last[r.Channel] = at
		if level != d.level[r.Channel] {
			d.level[r.Channel] = level
			d.changes[r.Channel] = append(d.changes[r.Channel], Change{at, level})
		}
		level = level.Other()
	}
	return nil
}

// ByRow hands out the blocks of s anew, a block for each instant.
func ByRow(s decode.Source) decode.Source { return &byRow{Source: s} }

type byRow struct {
	decode.Source
	queue []decode.Block
}

// Want asks for every edge: counts have no rows.
func (s *byRow) Want(channel int, n decode.Need) {
	if n == decode.CountsWhenBusy {
		n = decode.Edges
	}
	s.Source.Want(channel, n)
}

func (s *byRow) Next() (*decode.Block, error) {
	if len(s.queue) == 0 {
		b, err := s.Source.Next()
		if err != nil {
			return nil, err
		}
		s.part(b)
	}
	b := s.queue[0]
	s.queue = s.queue[1:]
	return &b, nil
}

// part queues the instants of a block and an empty block up to its end.
func (s *byRow) part(b *decode.Block) {
	var edges []decode.Run
	for _, r := range b.Runs {
		level := r.First
		for i := range r.At {
			edges = append(edges, decode.Run{Channel: r.Channel, First: level, At: r.At[i : i+1]})
			level = level.Other()
		}
	}
	slices.SortStableFunc(edges, func(a, b decode.Run) int { return cmp.Compare(a.At[0], b.At[0]) })
	for from, r := range edges {
		if last := len(s.queue) - 1; from > 0 && s.queue[last].Until == r.At[0] {
			s.queue[last].Runs = append(s.queue[last].Runs, r)
			continue
		}
		s.queue = append(s.queue, decode.Block{Facts: b.Facts, Until: r.At[0], Runs: []decode.Run{r}})
	}
	s.queue = append(s.queue, decode.Block{Facts: b.Facts, Until: b.Until})
}

// Brief ends s after the block with which so many edges have come. A block counts
// for a hundred more, since silence ends as well.
func Brief(s decode.Source, edges int) decode.Source { return &brief{s, edges} }

type brief struct {
	decode.Source
	left int
}

func (s *brief) Next() (*decode.Block, error) {
	if s.left <= 0 {
		return nil, io.EOF
	}
	b, err := s.Source.Next()
	if err != nil {
		return nil, err
	}
	s.left -= 100
	for _, r := range b.Runs {
		s.left -= len(r.At)
	}
	return b, nil
}

// Slowly lets workers go on before each block is looked at, and after.
func Slowly(s decode.Source) decode.Source { return &slow{s} }

type slow struct{ decode.Source }

func (s *slow) Next() (*decode.Block, error) {
	time.Sleep(200 * time.Microsecond)
	b, err := s.Source.Next()
	time.Sleep(200 * time.Microsecond)
	return b, err
}
