package grade

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// counts is a range of how many.
type counts struct{ low, high int64 }

func (c counts) holds(n int64) bool { return n >= c.low && n <= c.high }

// finding counts what findings of one kind speak of.
type finding struct {
	kind   string
	full   counts
	partly []part[counts]
}

func (f *finding) look(h *HandIn, on *target, of Points) Result {
	var n int64
	for _, x := range h.Report.Findings {
		if x.Kind == f.kind && (on == nil || slices.Contains(x.Channels, on.told.Name)) {
			n += x.Count
		}
	}
	r := Result{Value: float64(n), Measured: fmt.Sprintf("%s: %d", f.kind, n), Wanted: f.wanted(h, on), Points: of}
	if !f.full.holds(n) {
		r.Points = best(f.partly, func(c counts) bool { return c.holds(n) })
	}
	return r
}

func (f *finding) wanted(*HandIn, *target) string {
	switch c := f.full; {
	case c.high == 0:
		return f.kind + ": none"
	case c.low == c.high:
		return fmt.Sprintf("%s: %d", f.kind, c.low)
	case c.low == 0:
		return fmt.Sprintf("%s: at most %d", f.kind, c.high)
	case c.high == math.MaxInt64:
		return fmt.Sprintf("%s: at least %d", f.kind, c.low)
	default:
		return fmt.Sprintf("%s: %d to %d", f.kind, c.low, c.high)
	}
}

func (f *finding) anyway() bool { return false }

// finding takes a kind of finding with how many there may be.
func (b *builder) finding(c *Criterion) (task, error) {
	if !slices.Contains(decode.Kinds, decode.Kind(b.in.Finding)) {
		names := make([]string, len(decode.Kinds))
		for i, k := range decode.Kinds {
			names[i] = string(k)
		}
		return nil, b.refuse("finding", fmt.Sprintf("no kind of finding %q", b.in.Finding), "the nearest are "+near(b.in.Finding, names))
	}
	f := &finding{kind: b.in.Finding}
	var err error
	if f.full, err = b.counts("finding", b.in.AtLeast, b.in.AtMost); err != nil {
		return nil, err
	}
	for i, p := range b.in.Partly {
		key := fmt.Sprintf("partly[%d]", i)
		earns, err := b.part(key, p, c, p.AtLeast != nil || p.AtMost != nil, p.Within == nil && p.WithinPercent == nil, "at_most = 3")
		if err != nil {
			return nil, err
		}
		n, err := b.counts(key, p.AtLeast, p.AtMost)
		if err != nil {
			return nil, err
		}
		if n.low >= f.full.low && n.high <= f.full.high {
			return nil, b.refuse(key, "this part lies within what earns all points, and would never count", "a wider one")
		}
		f.partly = append(f.partly, part[counts]{n, earns})
	}
	return f, nil
}

func (b *builder) counts(key string, least, most *int64) (counts, error) {
	n := counts{0, math.MaxInt64}
	if least == nil && most == nil {
		return n, b.refuse(key, "no number of findings is stated", "at_most = 0, or at_least = 1")
	}
	if least != nil {
		n.low = *least
	}
	if most != nil {
		n.high = *most
	}
	if n.low < 0 || n.high < n.low {
		return n, b.refuse(key, fmt.Sprintf("no number is at least %d and at most %d", n.low, n.high), "at_least below at_most, neither below 0")
	}
	return n, nil
}
