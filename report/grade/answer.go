package grade

import (
	"fmt"
	"math"
)

// tolerance is how near an answer has to be: in percent, or in the figure's unit.
type tolerance struct {
	by      float64
	percent bool
}

func (t tolerance) holds(answer, figure float64) bool {
	by := t.by
	if t.percent {
		by *= math.Abs(figure) / 100
	}
	return math.Abs(answer-figure) <= by*(1+1e-12)
}

// answer holds what the student read against what was measured.
type answer struct {
	question string
	path     string
	figure   figure
	scale    float64
	full     tolerance
	partly   []part[tolerance]
}

func (a *answer) value(h *HandIn, on *target) (float64, bool) {
	var v any
	if on == nil {
		v = a.figure.of(h.Report)
	} else {
		v = a.figure.of(on.told)
	}
	n, ok := v.(float64)
	return n, ok
}

func (a *answer) look(h *HandIn, on *target, of Points) Result {
	given, answered := h.Answers.Values[a.question]
	r := Result{Measured: "no answer", Wanted: a.wanted(h, on)}
	if !answered {
		return r
	}
	r.Measured = fmt.Sprintf("answered %q", given.text)
	figure, measured := a.value(h, on)
	if !given.number {
		return r
	}
	r.Value = given.value * a.scale
	if !measured {
		return r
	}
	if r.Points = of; !a.full.holds(given.value*a.scale, figure) {
		r.Points = best(a.partly, func(t tolerance) bool { return t.holds(given.value*a.scale, figure) })
	}
	return r
}

func (a *answer) wanted(h *HandIn, on *target) string {
	near := fmt.Sprintf("within %s%s", written(a.full.by), unit(a.path))
	if a.full.percent {
		near = fmt.Sprintf("within %s %%", written(a.full.by))
	}
	figure, measured := 0.0, false
	if h != nil {
		figure, measured = a.value(h, on)
	}
	if !measured {
		return near + " of " + a.path
	}
	return fmt.Sprintf("%.5g, %s", figure/a.scale, near)
}

func (a *answer) anyway() bool { return false }

// answer takes a figure that the student's own reading is held against.
func (b *builder) answer(c *Criterion) (task, error) {
	if b.in.Against == "" {
		return nil, b.refuse("answer", "an answer with nothing to hold it against", `against = "period_us.nominal"`)
	}
	f, err := b.figure("against", b.in.Against, c)
	if err != nil {
		return nil, err
	}
	if f.kind != number {
		return nil, b.refuse("against", fmt.Sprintf("%s is %s", b.in.Against, f.kind), "a number")
	}
	a := &answer{question: b.in.Answer, path: b.in.Against, figure: f, scale: 1}
	if s := b.in.Scale; s != nil {
		if !(*s > 0) || math.IsInf(*s, 0) {
			return nil, b.refuse("scale", fmt.Sprintf("scale = %g", *s), "a number above 0, such as 1000.0 where milliseconds were asked for")
		}
		a.scale = *s
	}
	if a.full, err = b.tolerance("answer", b.in.Within, b.in.WithinPercent); err != nil {
		return nil, err
	}
	for i, p := range b.in.Partly {
		wider, err := b.wider(fmt.Sprintf("partly[%d]", i), p, c, a.full)
		if err != nil {
			return nil, err
		}
		a.partly = append(a.partly, wider)
	}
	return a, nil
}

// wider takes an answer that is near enough for a part of the points.
func (b *builder) wider(key string, p partlyText, c *Criterion, full tolerance) (part[tolerance], error) {
	none := part[tolerance]{}
	earns, err := b.part(key, p, c, p.Within != nil || p.WithinPercent != nil, p.AtLeast == nil && p.AtMost == nil, "within_percent = 5")
	if err != nil {
		return none, err
	}
	var within *float64
	switch n := p.Within.(type) {
	case float64:
		within = &n
	case int64:
		x := float64(n)
		within = &x
	case nil:
	default:
		return none, b.refuse(key+".within", "within is no number", "within = 50, in the unit of against")
	}
	t, err := b.tolerance(key, within, p.WithinPercent)
	if err != nil {
		return none, err
	}
	if t.percent == full.percent && t.by <= full.by {
		return none, b.refuse(key, "this part lies within what earns all points, and would never count", "a wider one")
	}
	return part[tolerance]{t, earns}, nil
}

func (b *builder) tolerance(key string, within, percent *float64) (tolerance, error) {
	t := tolerance{}
	switch {
	case (within == nil) == (percent == nil):
		return t, b.refuse(key, "how near the answer has to be is stated twice or not at all", "within_percent = 1, or within = 50 in the unit of against")
	case within != nil:
		t.by = *within
	default:
		t.by, t.percent = *percent, true
	}
	if !(t.by >= 0) || math.IsInf(t.by, 0) {
		return t, b.refuse(key, fmt.Sprintf("an answer within %g", t.by), "a number that is not below 0")
	}
	return t, nil
}
