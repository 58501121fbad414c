package formats

import (
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// shared stands for the owner of a name that several signals have.
const shared = -1

// vcdChoice makes channels of the variables that were asked for: single bits,
// unless told otherwise, and by name bits of vectors, reals and events.
type vcdChoice struct {
	*vcdSource
	*selector
	owners map[string]int32 // the signal that has a name, without its path
	names  [][]vcdName      // of each signal, the first declared first
	taken  map[string]int   // names that had to be made, and their last number
}

func (s *vcdSource) selectChannels(o Options) error {
	c := &vcdChoice{s, newSelector(o), map[string]int32{}, make([][]vcdName, len(s.signals)), map[string]int{}}
	slices.SortStableFunc(s.names, func(a, b vcdName) int { return int(a.signal - b.signal) })
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
	onlyEvents := !slices.ContainsFunc(s.signals, func(g vcdSignal) bool { return g.kind == vcdBits || g.kind == vcdReal })
	for i := range s.signals {
		if err := c.choose(int32(i), onlyEvents); err != nil {
			return err
		}
	}
	c.explain()
	return c.unmatched()
}

// variables lists what is declared. A name that several signals have gives way
// to the path, and a path that several have is numbered.
func (c *vcdChoice) variables() []Variable {
	variables := make([]Variable, len(c.signals))
	for i := range variables {
		first, signal := c.names[i][0], &c.signals[i]
		v := &variables[i]
		v.Name, v.Path, v.Width, v.Kind = first.bare, first.path, int(signal.width), "vector"
		switch {
		case signal.kind == vcdReal:
			v.Kind = "real"
		case signal.kind == vcdEvent:
			v.Kind = "event"
		case signal.kind == vcdText:
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
func (c *vcdChoice) unique(name string) string {
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
func (c *vcdChoice) choose(i int32, onlyEvents bool) error {
	signal, v := &c.signals[i], &c.header.Variables[i]
	if signal.kind == vcdText {
		return nil
	}
	if signal.kind == vcdBits {
		if err := c.chooseBits(i); err != nil || signal.width != 1 || v.Selected {
			return err
		}
	}
	all, named := c.match(c.matching(i))
	if !named && !(all && (signal.kind == vcdBits || onlyEvents && signal.kind == vcdEvent)) {
		return nil
	}
	v.Selected = true
	signal.channel = int32(len(c.channels))
	c.channels = append(c.channels, decode.Channel{Name: v.Name, Named: named})
	return nil
}

// matching is a variable with all that it may be called.
func (c *vcdChoice) matching(i int32) Variable {
	v := c.header.Variables[i]
	if len(c.wishes) == 0 || len(c.names[i]) == 1 {
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
func (c *vcdChoice) chooseBits(i int32) error {
	if !c.wantsBitsOf(i) {
		return nil
	}
	signal, v := &c.signals[i], &c.header.Variables[i]
	for bit := int(signal.width) - 1; bit >= 0; bit-- {
		if !slices.ContainsFunc(c.names[i], func(n vcdName) bool { return c.matchBit(c.called(n), n.bit(bit)) }) {
			continue
		}
		v.Selected = true
		channel := int32(len(c.channels))
		if len(c.channels) == vcdMaxVariables {
			return &UsageError{fmt.Sprintf("more than %d bits are asked for; name fewer", vcdMaxVariables)}
		}
		if signal.width == 1 {
			signal.channel = channel
			c.channels = append(c.channels, decode.Channel{Name: v.Name, Named: true})
			return nil
		}
		signal.taps = append(signal.taps, vcdTap{int32(bit), channel})
		c.channels = append(c.channels, decode.Channel{Name: c.bitName(i, bit), Named: true})
	}
	return nil
}

// called is a declared name as the selector takes it.
func (c *vcdChoice) called(n vcdName) Variable {
	v := Variable{Name: n.path, Path: n.path}
	if c.owners[n.bare] == n.signal {
		v.Name = n.bare
	}
	return v
}

// wantsBitsOf tells whether any wish is for a bit of a signal, before all its
// bits are tried.
func (c *vcdChoice) wantsBitsOf(i int32) bool {
	return slices.ContainsFunc(c.wishes, func(w wish) bool {
		base, _, ok := cutLast(w.text, "[")
		return ok && slices.ContainsFunc(c.names[i], func(n vcdName) bool {
			return (&wish{text: strings.TrimSpace(base), pattern: w.pattern}).means(c.called(n))
		})
	})
}

// bitName names a bit, by its path if something else has the name already.
func (c *vcdChoice) bitName(i int32, bit int) string {
	v := &c.header.Variables[i]
	index := "[" + strconv.Itoa(c.names[i][0].bit(bit)) + "]"
	if _, ok := c.owners[v.Name+index]; ok || c.taken[v.Name+index] > 0 {
		return c.unique(v.Path + index)
	}
	return c.unique(v.Name + index)
}

// explain gives every wish that was not met a reason, where there is one.
func (c *vcdChoice) explain() {
	for w := range c.wishes {
		wish := &c.wishes[w]
		if wish.met || wish.pattern || wish.column > 0 {
			continue
		}
		base := wish.text
		if b, _, ok := cutLast(base, "["); ok {
			base = b
		}
		var paths []string
		for i := range c.names {
			for _, n := range c.names[i] {
				if n.bare == base || n.path == base || n.bare == wish.text {
					wish.refusal = c.refusal(n, base == wish.text)
					paths = append(paths, n.path)
				}
			}
		}
		if len(paths) > 1 {
			wish.refusal = fmt.Sprintf("%d variables have this name; use a path such as %s or %s", len(paths), paths[0], paths[1])
		}
	}
}

func (c *vcdChoice) refusal(n vcdName, whole bool) string {
	switch signal := c.signals[n.signal]; {
	case signal.kind == vcdText:
		return "it holds text"
	case signal.kind != vcdBits:
		return "it has no bits"
	case whole:
		return fmt.Sprintf("it has %d bits; name one, such as %s[%d], or all, %s[*]", signal.width, n.bare, n.lsb, n.bare)
	default:
		return fmt.Sprintf("its bits are [%d:%d]", n.msb, n.lsb)
	}
}
