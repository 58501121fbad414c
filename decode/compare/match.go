package compare

import (
	"fmt"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// MatchedBy says how a channel found its partner.
type MatchedBy string

// Ways to find a partner, in this order.
const (
	ByFlag  MatchedBy = "flag"
	ByLabel MatchedBy = "label"
	ByName  MatchedBy = "name"
	ByOrder MatchedBy = "order"
)

type matched struct {
	before, after *decode.ChannelAnalysis
	by            MatchedBy
}

// matcher takes channels together that belong together.
type matcher struct {
	left  [2][]*decode.ChannelAnalysis // of either side, without a partner so far
	pairs []matched
}

// match finds each channel its partner: as stated, by label, by name, and what
// is left by its order where as many are left on either side.
func match(before, after *Side, stated [][2]string) (pairs []matched, unmatched [2][]string, err error) {
	m := &matcher{left: [2][]*decode.ChannelAnalysis{slices.Clone(before.Channels), slices.Clone(after.Channels)}}
	for _, names := range stated {
		if err := m.named(names, before, after); err != nil {
			return nil, unmatched, err
		}
	}
	m.alike(ByLabel, func(x, y *decode.ChannelAnalysis) bool { return labelled(before, x, after, y) })
	m.alike(ByName, func(x, y *decode.ChannelAnalysis) bool { return x.Name == y.Name })
	if len(m.left[0]) == len(m.left[1]) {
		for i := range m.left {
			slices.SortStableFunc(m.left[i], func(a, b *decode.ChannelAnalysis) int { return a.Place - b.Place })
		}
		m.alike(ByOrder, func(_, _ *decode.ChannelAnalysis) bool { return true })
	}
	for i := range m.left {
		for _, c := range m.left[i] {
			unmatched[i] = append(unmatched[i], c.Name)
		}
	}
	return m.pairs, unmatched, nil
}

func (m *matcher) take(i, j int, by MatchedBy) {
	m.pairs = append(m.pairs, matched{m.left[0][i], m.left[1][j], by})
	m.left[0], m.left[1] = slices.Delete(m.left[0], i, i+1), slices.Delete(m.left[1], j, j+1)
}

// named takes two channels together that the user says belong together.
func (m *matcher) named(names [2]string, sides ...*Side) error {
	var at [2]int
	for i, name := range names {
		at[i] = slices.IndexFunc(m.left[i], func(c *decode.ChannelAnalysis) bool { return c.Name == name })
		if at[i] < 0 {
			return fmt.Errorf("%s has no judged channel %q left to match", sides[i].Name, name)
		}
	}
	m.take(at[0], at[1], ByFlag)
	return nil
}

// alike takes each channel with the first of the other side that is like it.
func (m *matcher) alike(by MatchedBy, like func(x, y *decode.ChannelAnalysis) bool) {
	for i := 0; i < len(m.left[0]); {
		j := slices.IndexFunc(m.left[1], func(c *decode.ChannelAnalysis) bool { return like(m.left[0][i], c) })
		if j < 0 {
			i++
			continue
		}
		m.take(i, j, by)
	}
}

// labelled says whether a label of one side is the label, or the name, of the
// other.
func labelled(a *Side, x *decode.ChannelAnalysis, b *Side, y *decode.ChannelAnalysis) bool {
	lx, ly := a.Labels[x.Name], b.Labels[y.Name]
	return lx != "" && (lx == ly || lx == y.Name) || ly != "" && ly == x.Name
}
