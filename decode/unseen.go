package decode

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat/distuv"

	"widthwise/decode/phrase"
)

// MayRepeat stands in [Judgement.Unseen] wherever pulses cannot exclude it.
const MayRepeat = "a receiver may repeat its last value when the link is lost, which pulses cannot show while sticks rest; a slow sweep of one stick for a minute would, the drive disconnected or the propeller off"

// unseen bounds how often faults begin. With none seen in a time T, the 95 %
// bound on their rate is 3/T (the rule of three, The American Statistician 51,
// 1997); with k episodes seen, the exact Poisson interval.
func (j *judge) unseen() []string {
	span := float64(j.a.End-j.a.Start) / float64(Second)
	clean := map[string][]string{} // channels on which a kind of fault never began
	var seen []string
	for i, ca := range j.a.Channels {
		c := ca.channel
		if !j.out.Channels[i].Judged || c == nil || !c.frames.any || span <= 0 {
			continue
		}
		for _, k := range faults {
			n := k.episodes(j, c)
			if n == 0 {
				clean[k.name] = append(clean[k.name], ca.Name)
				continue
			}
			low, high := poissonInterval(float64(n))
			seen = append(seen, fmt.Sprintf("%s: %s began %s in %.1f s; at 95 %% between once in %s and once in %s",
				ca.Name, k.name, phrase.Times(n), span, seconds(span/high), seconds(span/low)))
		}
	}
	var out []string
	for len(clean) > 0 {
		var kinds []string
		var names []string
		for _, k := range faults {
			if on := clean[k.name]; len(on) > 0 && (names == nil || slices.Equal(on, names)) {
				kinds, names = append(kinds, k.name), on
			}
		}
		for _, k := range kinds {
			delete(clean, k)
		}
		out = append(out, fmt.Sprintf("no %s began in %.1f s on %s; at 95 %% they begin less often than once in %s",
			phrase.Or(kinds), span, phrase.And(names), seconds(span/3)))
	}
	out = append(out, seen...)
	if j.mayRepeat() {
		out = append(out, MayRepeat)
	}
	return out
}

// faults are the kinds whose beginnings are counted.
var faults = []struct {
	name     string
	episodes func(*judge, *channel) int
}{
	{"dropped frames", func(_ *judge, c *channel) int { return len(c.rowsOf(c.frames.drops.list)) }},
	{"signal losses", func(_ *judge, c *channel) int { return len(c.frames.losses.list) }},
	{"glitches", func(j *judge, c *channel) int {
		n := 0
		for _, f := range j.out.Findings {
			if f.Kind == Glitch && f.Channels[0] == c.Name {
				n++
			}
		}
		return n
	}},
}

// mayRepeat reports whether something was judged and nothing failed: pulses then
// leave open that a receiver covered a lost link.
func (j *judge) mayRepeat() bool {
	return j.out.Outcome != Failed && slices.ContainsFunc(j.out.Channels, func(c ChannelJudgement) bool { return c.Judged })
}

func seconds(s float64) string {
	if s >= 10 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.2g s", s)
}

// poissonInterval is the exact two-sided 95 % interval on the mean behind a
// count k > 0, from the chi-squared distribution.
func poissonInterval(k float64) (low, high float64) {
	low = distuv.ChiSquared{K: 2 * k}.Quantile(0.025) / 2
	high = distuv.ChiSquared{K: 2*k + 2}.Quantile(0.975) / 2
	return low, math.Max(low, high)
}
