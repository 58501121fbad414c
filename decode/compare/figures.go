package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"widthwise/decode"
	"widthwise/decode/places"
)

// Tolerances, in microseconds unless it says otherwise. Common practice, no
// source.
const (
	periodShare  = 0.01 // of the period before
	neutralMoves = 20.0 // the usual dead zone
	endMoves     = 30.0
	ratioMoves   = 1.5 // of jitter, either way
	offsetMoves  = 50.0
	stepShare    = 0.02
	stepKnown    = 0.002 // how well a transmitter's step is found
)

// figures are what is compared, in the order told. Each returns nil where
// neither side shows it.
var figures = []func(a, b *measured, s Settings) *Figure{
	period,
	place("neutral_us", neutralMoves, "neutral", func(p *places.Places) *places.Place { return p.Neutral }),
	place("low_us", endMoves, "low", func(p *places.Places) *places.Place { return p.Low }),
	place("high_us", endMoves, "high", func(p *places.Places) *places.Place { return p.High }),
	direction,
	jitter,
	periodSpread,
	drops,
	losses,
	frameOrder,
	offset,
	pattern,
	transmitterStep,
	active,
}

func newFigure(name string, tolerance float64, judged bool) *Figure {
	nan := math.NaN()
	return &Figure{Name: name, Tolerance: tolerance, Judged: judged, Verdict: Undecided, Value: [2]float64{nan, nan},
		Difference: nan, Low: nan, High: nan, probability: nan}
}

// lacking marks a figure that one side does not show.
func (f *Figure) lacking(a, b *measured, has [2]bool, what string) *Figure {
	without := a
	if has[0] {
		without = b
	}
	f.Message = fmt.Sprintf("%s does not show it; %s would", without.side.Name, what)
	return f
}

// intervals deals a channel's regular intervals out to batches.
func (m *measured) intervals() *batched {
	out := newBatched(m.side.Analysis)
	if m.Period == nil || !(m.Period.Nominal > 0) {
		return out
	}
	within := 0.05
	switch {
	case m.Period.Pattern != decode.Steady:
		within = 0.5
	case len(m.Period.Changes) > 0:
		within = 0.02
	}
	for p := range m.Pulses() {
		us := float64(p.Interval) / float64(decode.Microsecond)
		if !p.Extra && !p.StartUp && math.Abs(us-m.Period.Nominal) <= within*m.Period.Nominal {
			out.add(p.Start, us)
		}
	}
	return out
}

func period(a, b *measured, s Settings) *Figure {
	ia, ib := a.intervals(), b.intervals()
	na, nb := len(ia.all()), len(ib.all())
	if na+nb == 0 {
		return nil
	}
	f := newFigure("period_us", math.NaN(), true)
	of := func(m *measured, i *batched) estimate {
		all := i.all()
		e := estimate{value: stat.Mean(all, nil), parts: i.means(), u95: math.NaN()}
		if n := float64(len(all)); n > 0 {
			e.step = m.step / n // the ends of a row of intervals, not each of them
		}
		return e
	}
	ea, eb := of(a, ia), of(b, ib)
	if na == 0 || nb == 0 {
		f.Value = [2]float64{ea.value, eb.value}
		return f.lacking(a, b, [2]bool{na > 0, nb > 0}, "a capture with frames on this channel")
	}
	f.Tolerance = periodShare * ea.value
	f.compare(ea, eb, clocks(s.ClockPPM, ea.value, eb.value))
	return f
}

// place compares where a stick was held.
func place(name string, tolerance float64, end string, of func(*places.Places) *places.Place) func(a, b *measured, s Settings) *Figure {
	return func(a, b *measured, s Settings) *Figure {
		pa, pb := of(a.places), of(b.places)
		if pa == nil && pb == nil {
			return nil
		}
		f := newFigure(name, tolerance, true)
		estimated := func(m *measured, p *places.Place) estimate {
			if p == nil {
				return estimate{value: math.NaN()}
			}
			e := estimate{value: p.Mean, u95: p.U95, step: m.step}
			for _, v := range p.Visits {
				e.parts = append(e.parts, v.Mean)
			}
			return e
		}
		ea, eb := estimated(a, pa), estimated(b, pb)
		if pa == nil || pb == nil {
			f.Value = [2]float64{ea.value, eb.value}
			return f.lacking(a, b, [2]bool{pa != nil, pb != nil}, "a sweep that holds "+end+" three times or more")
		}
		f.compare(ea, eb, clocks(s.ClockPPM, ea.value, eb.value))
		if f.Verdict == Undecided {
			f.Message = fmt.Sprintf("%d and %d visits are too few for how well the stick comes back: hold %s more often", len(ea.parts), len(eb.parts), end)
		}
		return f
	}
}

// words compares two words of which neither is "".
func (f *Figure) words(a, b string) *Figure {
	f.IsWord, f.Words = true, [2]string{a, b}
	f.Tolerance = math.NaN()
	if f.Verdict = Changed; a == b {
		f.Verdict = Same
	}
	return f
}

// direction says which way a channel turns: judged where it is known which way
// the stick was moved first, else told from the order of the places.
func direction(a, b *measured, _ Settings) *Figure {
	wa, wb := a.places.FirstWay(), b.places.FirstWay()
	if wa == places.Unseen && wb == places.Unseen {
		return nil
	}
	f := newFigure("direction", math.NaN(), a.first() != places.Unseen && b.first() != places.Unseen)
	if wa == places.Unseen || wb == places.Unseen {
		f.IsWord, f.Words = true, [2]string{way(wa), way(wb)}
		return f.lacking(a, b, [2]bool{wa != places.Unseen, wb != places.Unseen}, "a capture in which the stick travels")
	}
	if !f.Judged {
		f.Message = "told from which way the width went first; option first up|down judges it"
		return f.words(way(wa), way(wb))
	}
	return f.words(turned(wa, a.first()), turned(wb, b.first()))
}

func (m *measured) first() places.Arrival {
	if m.side.First == nil {
		return places.Unseen
	}
	return m.side.First(m.Name)
}

func way(w places.Arrival) string {
	return map[places.Arrival]string{places.Upward: "up first", places.Downward: "down first"}[w]
}

func turned(went, pushed places.Arrival) string {
	if went == pushed {
		return "with the stick"
	}
	return "reversed"
}

// leastFrames is how many frames tell a standard deviation.
const leastFrames = 200

// spread compares two standard deviations by their ratio, and by whether they
// differ at all beyond a time step. One that is zero over enough frames is anything
// up to its step.
func (f *Figure) spread(a, b *measured, value, logHalf [2]float64, frames [2]int64) {
	step := max(a.step, b.step)
	f.Value, f.Difference = value, value[1]-value[0]
	f.Tolerance = max(step, (ratioMoves-1)*value[0])
	most := value
	for i, own := range []float64{a.step, b.step} {
		if value[i] == 0 && frames[i] >= leastFrames {
			most[i], logHalf[i] = own, 0
		}
	}
	low := [2]float64{value[0] * math.Exp(-logHalf[0]), value[1] * math.Exp(-logHalf[1])}
	high := [2]float64{most[0] * math.Exp(logHalf[0]), most[1] * math.Exp(logHalf[1])}
	f.Low, f.High = between(value, low, high)
	ratio, half := math.Log(most[1]/most[0]), math.Hypot(logHalf[0], logHalf[1])
	switch {
	case math.Abs(f.Difference) <= step && max(value[0], value[1]) <= step:
		f.Verdict, f.Message = Same, "below what these captures resolve"
	case math.IsNaN(half) || math.IsNaN(ratio):
		f.Verdict, f.Message = Undecided, fmt.Sprintf("too few frames for an interval: at least %d on either side, at rest where it is jitter", leastFrames)
	case f.Low >= -step && f.High <= step, math.Abs(ratio)+half <= math.Log(ratioMoves):
		f.Verdict = Same
	case math.Abs(ratio)-half > math.Log(ratioMoves) && math.Abs(f.Difference) > step:
		f.Verdict = Changed
	}
}

// between is the interval of the difference of two figures that have intervals
// of their own (square and add: Zou and Donner, Statistics in Medicine 27, 2008).
func between(value, low, high [2]float64) (from, to float64) {
	d := value[1] - value[0]
	return d - math.Hypot(value[1]-low[1], high[0]-value[0]), d + math.Hypot(high[1]-value[1], value[0]-low[0])
}

func jitter(a, b *measured, _ Settings) *Figure {
	of := func(m *measured) (value, half float64) {
		j := m.Jitter
		if j == nil || math.IsNaN(j.WidthRMS) {
			return math.NaN(), math.NaN()
		}
		return j.WidthRMS, math.Log(j.WidthRMSHigh95/j.WidthRMSLow95) / 2
	}
	va, ha := of(a)
	vb, hb := of(b)
	if math.IsNaN(va) && math.IsNaN(vb) {
		return nil
	}
	f := newFigure("width_jitter_rms_us", math.NaN(), false)
	if math.IsNaN(va) || math.IsNaN(vb) {
		f.Value = [2]float64{va, vb}
		return f.lacking(a, b, [2]bool{!math.IsNaN(va), !math.IsNaN(vb)}, "a capture in which the stick rests")
	}
	f.spread(a, b, [2]float64{va, vb}, [2]float64{ha, hb}, [2]int64{a.Jitter.WidthN, b.Jitter.WidthN})
	return f
}

func periodSpread(a, b *measured, _ Settings) *Figure {
	va, ha, na := a.periodSpread()
	vb, hb, nb := b.periodSpread()
	if na < 2 || nb < 2 {
		return nil
	}
	f := newFigure("period_sd_us", math.NaN(), false)
	f.spread(a, b, [2]float64{va, vb}, [2]float64{ha, hb}, [2]int64{int64(na), int64(nb)})
	return f
}

// periodSpread is the standard deviation of the n intervals, and half the 95 %
// interval of its logarithm. A channel that follows another begins when that one
// ends: it is taken as the analysis gives it, about the start that is expected.
func (m *measured) periodSpread() (sd, half float64, n int) {
	i := m.intervals()
	if n = len(i.all()); m.Follows == "" || n < 2 {
		return stat.StdDev(i.all(), nil), i.logHalf95(), n
	}
	return m.Period.Intervals.SD, student95(float64(n-1)) / math.Sqrt(2*float64(n-1)), n
}

func frameOrder(a, b *measured, _ Settings) *Figure {
	if a.Place == 0 || b.Place == 0 {
		return nil
	}
	f := newFigure("place", math.NaN(), false)
	f.Value = [2]float64{float64(a.Place), float64(b.Place)}
	f.Difference = f.Value[1] - f.Value[0]
	f.Low, f.High = f.Difference, f.Difference
	if f.Verdict = Changed; f.Difference == 0 {
		f.Verdict = Same
	}
	return f
}

func offset(a, b *measured, s Settings) *Figure {
	if a.Place == 0 || b.Place == 0 {
		return nil
	}
	f := newFigure("offset_us", offsetMoves, false)
	of := func(m *measured) estimate {
		return estimate{value: m.Offset, u95: places.Sampled95 * m.step, step: m.step}
	}
	f.compare(of(a), of(b), clocks(s.ClockPPM, a.Offset, b.Offset))
	return f
}

func pattern(a, b *measured, _ Settings) *Figure {
	if a.Period == nil || b.Period == nil || a.Period.Pattern == "" || b.Period.Pattern == "" {
		return nil
	}
	return newFigure("pattern", math.NaN(), false).words(string(a.Period.Pattern), string(b.Period.Pattern))
}

func transmitterStep(a, b *measured, _ Settings) *Figure {
	va, vb := a.places.Step, b.places.Step
	if math.IsNaN(va) && math.IsNaN(vb) {
		return nil
	}
	f := newFigure("step_us", stepShare*va, false)
	if math.IsNaN(va) || math.IsNaN(vb) {
		f.Value, f.Tolerance = [2]float64{va, vb}, math.NaN()
		return f.lacking(a, b, [2]bool{!math.IsNaN(va), !math.IsNaN(vb)}, "a slow sweep by hand, or a finer sampling rate,")
	}
	f.compare(estimate{value: va, u95: stepKnown * va}, estimate{value: vb, u95: stepKnown * vb}, 0)
	return f
}

func active(a, b *measured, _ Settings) *Figure {
	if a.Active == decode.Unknown || b.Active == decode.Unknown {
		return nil
	}
	return newFigure("active", math.NaN(), true).words(a.Active.String(), b.Active.String())
}
