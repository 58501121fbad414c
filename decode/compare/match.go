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

// match finds each channel its partner: as stated, by label, by name, and what
// is left by its order where as many are left on either side.
func match(before, after *Side, stated [][2]string) (pairs []matched, unmatched [2][]string, err error) {
	left := [2][]*decode.ChannelAnalysis{slices.Clone(before.Channels), slices.Clone(after.Channels)}
	take := func(i, j int, by MatchedBy) {
		pairs = append(pairs, matched{left[0][i], left[1][j], by})
		left[0], left[1] = slices.Delete(left[0], i, i+1), slices.Delete(left[1], j, j+1)
	}
	named := func(list []*decode.ChannelAnalysis, name string) int {
		return slices.IndexFunc(list, func(c *decode.ChannelAnalysis) bool { return c.Name == name })
	}
	for _, m := range stated {
		i, j := named(left[0], m[0]), named(left[1], m[1])
		if i < 0 || j < 0 {
			side, name := before, m[0]
			if i >= 0 {
				side, name = after, m[1]
			}
			return nil, unmatched, fmt.Errorf("%s has no judged channel %q left to match", side.Name, name)
		}
		take(i, j, ByFlag)
	}
	for _, by := range []MatchedBy{ByLabel, ByName} {
		for i := 0; i < len(left[0]); {
			j := slices.IndexFunc(left[1], func(c *decode.ChannelAnalysis) bool {
				return by == ByName && c.Name == left[0][i].Name || by == ByLabel && labelled(before, left[0][i], after, c)
			})
			if j < 0 {
				i++
				continue
			}
			take(i, j, by)
		}
	}
	if len(left[0]) == len(left[1]) {
		for i := range left {
			slices.SortStableFunc(left[i], func(a, b *decode.ChannelAnalysis) int { return a.Place - b.Place })
		}
		for len(left[0]) > 0 {
			take(0, 0, ByOrder)
		}
	}
	for i := range left {
		for _, c := range left[i] {
			unmatched[i] = append(unmatched[i], c.Name)
		}
	}
	return pairs, unmatched, nil
}

// labelled says whether a label of one side is the label, or the name, of the
// other.
func labelled(a *Side, x *decode.ChannelAnalysis, b *Side, y *decode.ChannelAnalysis) bool {
	lx, ly := a.Labels[x.Name], b.Labels[y.Name]
	return lx != "" && (lx == ly || lx == y.Name) || ly != "" && ly == x.Name
}
