package decode

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// unseen bounds how often faults begin. With none seen in a time T, the 95 %
// bound on their rate is 3/T (the rule of three, The American Statistician 51,
// 1997); with k episodes seen, the exact Poisson interval.
func (j *judge) unseen() []string {
	var out []string
	span := float64(j.a.End-j.a.Start) / float64(Second)
	if span <= 0 {
		return nil
	}
	clean := map[string][]string{}
	for i, ca := range j.a.Channels {
		c := ca.channel
		if !j.out.Channels[i].Judged || c == nil || !c.frames.any {
			continue
		}
		glitches := 0
		for _, f := range j.out.Findings {
			if f.Kind == Glitch && f.Channels[0] == ca.Name {
				glitches++
			}
		}
		for _, k := range []struct {
			what string
			n    int
		}{{"dropped frames", len(c.rowsOf(c.frames.drops.list))}, {"signal losses", len(c.frames.losses.list)}, {"glitches", glitches}} {
			if k.n == 0 {
				clean[k.what] = append(clean[k.what], ca.Name)
				continue
			}
			low, high := poissonInterval(float64(k.n))
			out = append(out, fmt.Sprintf("%s: %s began %s in %.1f s; at 95 %% they begin between once in %s and once in %s",
				ca.Name, k.what, times(k.n), span, seconds(span/high), seconds(span/low)))
		}
	}
	for _, what := range []string{"glitches", "signal losses", "dropped frames"} {
		if names := clean[what]; len(names) > 0 {
			out = append([]string{fmt.Sprintf("%s: no %s began in %.1f s; at 95 %% they begin less often than once in %s", list(names), what, span, seconds(span/3))}, out...)
		}
	}
	return out
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
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
