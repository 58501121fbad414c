package vcd

import (
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// shared stands for the owner of a name that several signals have.
const shared = -1

// choice makes channels of the variables that were asked for: single bits,
// unless told otherwise, and by name bits of vectors, reals and events.
type choice struct {
	*source
	*capture.Selector
	owners map[string]int32 // the signal that has a name, without its path
	names  [][]name         // of each signal, the first declared first
	taken  map[string]int   // names that had to be made, and their last number
}

func (s *source) selectChannels(o capture.Options) error {
	c := &choice{s, capture.NewSelector(o), map[string]int32{}, make([][]name, len(s.signals)), map[string]int{}}
	slices.SortStableFunc(s.names, func(a, b name) int { return int(a.signal - b.signal) })
	for from, n := range s.names {
		if owner, ok := c.owners[n.bare]; ok && owner != n.signal {
			c.owners[n.bare] = shared
		} else {
			c.owners[n.bare] = n.signal
		}
		first := from - len(c.names[n.signal])
		c.names[n.signal] = s.names[first : from+1]
	}
	s.names = nil
	s.header.Variables = c.variables()
	onlyEvents := !slices.ContainsFunc(s.signals, func(g signal) bool { return g.kind == ofBits || g.kind == ofReal })
	for i := range s.signals {
		if err := c.choose(int32(i), onlyEvents); err != nil {
			return err
		}
	}
	c.explain()
	return c.Unmatched()
}

// variables lists what is declared. A name that several signals have gives way
// to the path, and a path that several have is numbered.
func (c *choice) variables() []capture.Variable {
	variables := make([]capture.Variable, len(c.signals))
	for i := range variables {
		first, signal := c.names[i][0], &c.signals[i]
		v := &variables[i]
		v.Name, v.Path, v.Width, v.Kind = first.bare, first.path, int(signal.width), "vector"
		switch {
		case signal.kind == ofReal:
			v.Kind = "real"
		case signal.kind == ofEvent:
			v.Kind = "event"
		case signal.kind == ofText:
			v.Kind = "text"
		case signal.width == 1:
			v.Kind = "digital"
		}
		if c.owners[first.bare] == shared {
			v.Name = c.unique(first.path)
		}
		for _, n := range c.names[i][1:] {
			if n.path != v.Path {
				v.Aliases = append(v.Aliases, n.path)
			}
		}
	}
	return variables
}

// unique numbers a name that something has already.
func (c *choice) unique(name string) string {
	for base := name; ; {
		owner, ok := c.owners[name]
		if c.taken[name] == 0 && (!ok || owner == shared) {
			c.taken[name] = 1
			return name
		}
		c.taken[base] = max(c.taken[base], 1) + 1
		name = base + "~" + strconv.Itoa(c.taken[base])
		c.notes.add(remarkSamePath, 0, "several variables have the same path and were numbered, such as %s", name)
	}
}

// choose makes channels of a signal, or none.
func (c *choice) choose(i int32, onlyEvents bool) error {
	signal, v := &c.signals[i], &c.header.Variables[i]
	if signal.kind == ofText {
		return nil
	}
	if signal.kind == ofBits {
		if err := c.chooseBits(i); err != nil || signal.width != 1 || v.Selected {
			return err
		}
	}
	selected, named := c.Match(c.matching(i))
	if !named && !(signal.kind == ofBits || onlyEvents && signal.kind == ofEvent) {
		return nil
	}
	v.Selected = selected
	signal.channel = int32(len(c.channels))
	c.channels = append(c.channels, decode.Channel{Name: v.Name, Named: named, Witness: !selected})
	return nil
}

// matching is a variable with all that it may be called.
func (c *choice) matching(i int32) capture.Variable {
	v := c.header.Variables[i]
	if len(c.Wishes) == 0 || len(c.names[i]) == 1 {
		return v
	}
	v.Aliases = slices.Clone(v.Aliases)
	for _, n := range c.names[i] {
		if c.owners[n.bare] == i {
			v.Aliases = append(v.Aliases, n.bare)
		}
	}
	return v
}

// chooseBits makes channels of the bits that were asked for. They are named
// after the first declared name, whichever was used.
func (c *choice) chooseBits(i int32) error {
	if !c.wantsBitsOf(i) {
		return nil
	}
	signal, v := &c.signals[i], &c.header.Variables[i]
	for bit := int(signal.width) - 1; bit >= 0; bit-- {
		if !slices.ContainsFunc(c.names[i], func(n name) bool { return c.MatchBit(c.called(n), n.bit(bit)) }) {
			continue
		}
		v.Selected = true
		channel := int32(len(c.channels))
		if len(c.channels) == maxVariables {
			return &capture.UsageError{Message: fmt.Sprintf("more than %d bits are asked for; name fewer", maxVariables)}
		}
		if signal.width == 1 {
			signal.channel = channel
			c.channels = append(c.channels, decode.Channel{Name: v.Name, Named: true})
			return nil
		}
		signal.taps = append(signal.taps, tap{int32(bit), channel})
		c.channels = append(c.channels, decode.Channel{Name: c.bitName(i, bit), Named: true})
	}
	return nil
}

// called is a declared name as the selector takes it.
func (c *choice) called(n name) capture.Variable {
	v := capture.Variable{Name: n.path, Path: n.path}
	if c.owners[n.bare] == n.signal {
		v.Name = n.bare
	}
	return v
}

// wantsBitsOf tells whether any wish is for a bit of a signal, before all its
// bits are tried.
func (c *choice) wantsBitsOf(i int32) bool {
	return slices.ContainsFunc(c.Wishes, func(w capture.Wish) bool {
		base, _, ok := capture.CutLast(w.Text, "[")
		return ok && slices.ContainsFunc(c.names[i], func(n name) bool {
			return (&capture.Wish{Text: strings.TrimSpace(base), Pattern: w.Pattern}).Means(c.called(n))
		})
	})
}

// bitName names a bit, by its path if something else has the name already.
func (c *choice) bitName(i int32, bit int) string {
	v := &c.header.Variables[i]
	index := "[" + strconv.Itoa(c.names[i][0].bit(bit)) + "]"
	if _, ok := c.owners[v.Name+index]; ok || c.taken[v.Name+index] > 0 {
		return c.unique(v.Path + index)
	}
	return c.unique(v.Name + index)
}

// explain gives every wish that was not met a reason, where there is one.
func (c *choice) explain() {
	for w := range c.Wishes {
		wish := &c.Wishes[w]
		if wish.Met || wish.Pattern || wish.Column > 0 {
			continue
		}
		base := wish.Text
		if b, _, ok := capture.CutLast(base, "["); ok {
			base = b
		}
		var paths []string
		for i := range c.names {
			for _, n := range c.names[i] {
				if n.bare == base || n.path == base || n.bare == wish.Text {
					wish.Refusal = c.refusal(n, base == wish.Text)
					paths = append(paths, n.path)
				}
			}
		}
		if len(paths) > 1 {
			wish.Refusal = fmt.Sprintf("%d variables have this name; use a path such as %s or %s", len(paths), paths[0], paths[1])
		}
	}
}

func (c *choice) refusal(n name, whole bool) string {
	switch signal := c.signals[n.signal]; {
	case signal.kind == ofText:
		return "it holds text"
	case signal.kind != ofBits:
		return "it has no bits"
	case whole:
		return fmt.Sprintf("it has %d bits; name one, such as %s[%d], or all, %s[*]", signal.width, n.bare, n.lsb, n.bare)
	default:
		return fmt.Sprintf("its bits are [%d:%d]", n.msb, n.lsb)
	}
}
