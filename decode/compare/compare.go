// Package compare holds two captures side by side, channel by channel: what
// changed, by how much, and whether it matters. It reads two analyses of package
// decode.
package compare

import (
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/places"
)

// Verdict on one figure.
type Verdict string

// Verdicts: the whole 95 % interval of the difference lies within the
// tolerance, outside of it, or neither.
const (
	Same      Verdict = "same"
	Changed   Verdict = "changed"
	Undecided Verdict = "undecided"
)

// Side is one of the two captures.
type Side struct {
	Name     string // in messages
	Analysis *decode.Analysis
	Channels []*decode.ChannelAnalysis
	Labels   map[string]string                   // by channel
	First    func(channel string) places.Arrival // which way a stick was moved first; nil where nobody said
}

// Settings of a comparison.
type Settings struct {
	Match    [][2]string // channels that belong together, as stated
	ClockPPM float64     // what the clock of either recorder may be off
}

// Comparison is what two captures show.
type Comparison struct {
	Verdict   decode.Outcome
	Pairs     []*Pair
	Unmatched [2][]string // channels of the first and the second capture
	Advice    []Advice
}

// Pair is a channel before and after.
type Pair struct {
	Before, After string
	MatchedBy     MatchedBy
	Verdict       decode.Outcome
	Figures       []*Figure

	sides [2]*measured
}

// Figure is one thing measured on both sides. Numbers are NaN where a side has
// none; Words stand where the figure is no number.
type Figure struct {
	Name        string
	Value       [2]float64
	Words       [2]string // "" where a side has none, or the figure is a number
	IsWord      bool
	Difference  float64
	Low, High   float64 // 95 % interval of the difference
	Tolerance   float64 // NaN where there is none
	Verdict     Verdict
	Judged      bool
	Message     string
	better      bool    // it changed for the better, which fails nobody
	probability float64 // of a rate test; NaN elsewhere
}

// measured is one channel of one side with what is asked of it.
type measured struct {
	*decode.ChannelAnalysis
	side   *Side
	places *places.Places
	step   float64 // us; 0 where unknown
}

func newMeasured(s *Side, c *decode.ChannelAnalysis) *measured {
	m := &measured{ChannelAnalysis: c, side: s, places: places.Of(c, s.Analysis.Resolution)}
	if !math.IsNaN(s.Analysis.Resolution) {
		m.step = s.Analysis.Resolution
	}
	return m
}

// Captures compares two captures.
func Captures(before, after *Side, s Settings) (*Comparison, error) {
	matched, unmatched, err := match(before, after, s.Match)
	if err != nil {
		return nil, err
	}
	out := &Comparison{Unmatched: unmatched}
	for _, m := range matched {
		p := &Pair{Before: m.before.Name, After: m.after.Name, MatchedBy: m.by,
			sides: [2]*measured{newMeasured(before, m.before), newMeasured(after, m.after)}}
		for _, f := range figures {
			if told := f(p.sides[0], p.sides[1], s); told != nil {
				p.Figures = append(p.Figures, told)
			}
		}
		out.Pairs = append(out.Pairs, p)
	}
	judgeRates(out.Pairs)
	out.conclude()
	out.Advice = advise(out.Pairs)
	return out, nil
}

// conclude takes figures to channels and channels to one verdict. A channel
// without a partner leaves the whole undecided.
func (c *Comparison) conclude() {
	c.Verdict = decode.Passed
	if len(c.Pairs) == 0 || len(c.Unmatched[0])+len(c.Unmatched[1]) > 0 {
		c.Verdict = decode.Undecided
	}
	for _, p := range c.Pairs {
		p.Verdict = p.outcome()
		c.Verdict = c.Verdict.With(p.Verdict)
	}
}

func (p *Pair) outcome() decode.Outcome {
	has := func(v Verdict) bool {
		return slices.ContainsFunc(p.Figures, func(f *Figure) bool { return f.Judged && f.Verdict == v && !f.better })
	}
	switch {
	case has(Changed):
		return decode.Failed
	case has(Undecided):
		return decode.Undecided
	}
	return decode.Passed
}

func (p *Pair) figure(name string) *Figure {
	i := slices.IndexFunc(p.Figures, func(f *Figure) bool { return f.Name == name })
	if i < 0 {
		return nil
	}
	return p.Figures[i]
}
