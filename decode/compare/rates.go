package compare

import (
	"cmp"
	"fmt"
	"iter"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat/distuv"

	"widthwise/decode"
)

const (
	significance = 0.05
	apart        = 3 // frames; events nearer than that are one episode
)

func drops(a, b *measured, _ Settings) *Figure {
	return rate("drops_per_min", a, b, (*decode.ChannelAnalysis).Dropped)
}

func losses(a, b *measured, _ Settings) *Figure {
	return rate("losses_per_min", a, b, (*decode.ChannelAnalysis).Losses)
}

// rate compares how often something begins. The verdict waits for all rates; see
// judgeRates.
func rate(name string, a, b *measured, events func(*decode.ChannelAnalysis) iter.Seq[decode.Event]) *Figure {
	f := newFigure(name, math.NaN(), true)
	ka, kb := episodes(a, events), episodes(b, events)
	ta, tb := a.minutes(), b.minutes()
	if ta <= 0 || tb <= 0 {
		return nil
	}
	f.Value = [2]float64{float64(ka) / ta, float64(kb) / tb}
	f.Difference = f.Value[1] - f.Value[0]
	la, ha := poisson95(ka)
	lb, hb := poisson95(kb)
	f.Low, f.High = between(f.Value, [2]float64{la / ta, lb / tb}, [2]float64{ha / ta, hb / tb})
	f.probability = twoRates(ka, kb, ta, tb)
	return f
}

func (m *measured) minutes() float64 {
	return float64(m.side.Analysis.End-m.side.Analysis.Start) / float64(60*decode.Second)
}

// episodes counts events, those that follow one another closely once.
func episodes(m *measured, events func(*decode.ChannelAnalysis) iter.Seq[decode.Event]) int {
	near := decode.Time(0)
	if m.Period != nil && m.Period.Nominal > 0 {
		near = decode.Time(apart * m.Period.Nominal * float64(decode.Microsecond))
	}
	n, last := 0, decode.Time(math.MinInt64/2)
	for e := range events(m.ChannelAnalysis) {
		if e.Start-last > near {
			n++
		}
		last = e.End
	}
	return n
}

// twoRates is the probability of counts at least as far apart as these if both
// rates were one: given their sum, the second is binomial (Przyborowski and
// Wilenski, Biometrika 31, 1940); the smaller tail, doubled.
func twoRates(a, b int, ta, tb float64) float64 {
	n := a + b
	if n == 0 {
		return 1
	}
	d := distuv.Binomial{N: float64(n), P: tb / (ta + tb)}
	low := d.CDF(float64(b))
	high := 1.0
	if b > 0 {
		high = 1 - d.CDF(float64(b-1))
	}
	return min(1, 2*min(low, high))
}

// poisson95 is the exact 95 % interval of a Poisson mean with k counted (Garwood,
// Biometrika 28, 1936).
func poisson95(k int) (low, high float64) {
	if k > 0 {
		low = distuv.ChiSquared{K: 2 * float64(k)}.Quantile(0.025) / 2
	}
	return low, distuv.ChiSquared{K: 2 * float64(k+1)}.Quantile(0.975) / 2
}

// judgeRates decides all rates together: with many, some would seem to have
// changed by chance (Holm, Scandinavian Journal of Statistics 6, 1979).
func judgeRates(pairs []*Pair) {
	var all []*Figure
	for _, p := range pairs {
		for _, f := range p.Figures {
			if !math.IsNaN(f.probability) {
				all = append(all, f)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b *Figure) int { return cmp.Compare(a.probability, b.probability) })
	significant := true
	for i, f := range all {
		significant = significant && f.probability <= significance/float64(len(all)-i)
		switch {
		case !significant:
			f.Verdict = Same
			f.Message = fmt.Sprintf("no more than chance; %.2g a minute more could hide", max(f.High, 0))
		case f.Difference > 0:
			f.Verdict = Changed
		default:
			f.Verdict, f.better, f.Message = Changed, true, "fewer than before"
		}
	}
}
