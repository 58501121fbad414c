package grade

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// Result is what a criterion earned.
type Result struct {
	Name     string      `json:"name"`
	Points   Points      `json:"points"`
	Of       Points      `json:"of"`
	Outcome  Outcome     `json:"outcome"`
	Channel  report.Word `json:"channel"`
	Value    any         `json:"value"`
	Measured string      `json:"measured"`
	Wanted   string      `json:"wanted"`
	Said     string      `json:"said"`
}

// Outcome of a criterion.
type Outcome string

// Outcomes.
const (
	Full   Outcome = "full"
	Partly Outcome = "partly"
	None   Outcome = "none"
)

// task is the one thing that a criterion looks at.
type task interface {
	// look holds a hand-in, or a channel of it, against what is wanted.
	look(h *HandIn, on *target, of Points) Result
	wanted(h *HandIn, on *target) string
	// anyway says whether a channel counts of which too little was seen.
	anyway() bool
}

// part is a condition that earns some of the points.
type part[T any] struct {
	on    T
	earns Points
}

// best is the largest share of those parts whose condition holds.
func best[T any](parts []part[T], holds func(T) bool) (most Points) {
	for _, p := range parts {
		if p.earns > most && holds(p.on) {
			most = p.earns
		}
	}
	return most
}

// grade holds a hand-in against one criterion.
func (c *Criterion) grade(h *HandIn) Result {
	if c.Channels == nil {
		return c.said(c.task.look(h, nil, c.Points))
	}
	chosen := h.choose(c.Channels)
	if len(chosen.targets) == 0 {
		return c.said(Result{Measured: chosen.missing, Wanted: c.task.wanted(nil, nil)})
	}
	var r Result
	for i := range chosen.targets {
		next := c.on(h, &chosen.targets[i])
		if i == 0 || chosen.every && next.Points < r.Points || !chosen.every && next.Points > r.Points {
			r = next
		}
	}
	return c.said(r)
}

func (c *Criterion) on(h *HandIn, t *target) Result {
	r := Result{Wanted: c.task.wanted(h, t), Measured: "too little seen: " + phrase.Count(t.told.Frames, "frame")}
	if c.task.anyway() || t.told.Frames >= h.MinFrames(t.ca.Name) {
		r = c.task.look(h, t, c.Points)
	}
	r.Channel = report.Word(t.told.Name)
	return r
}

// said completes a result with its outcome and the student's feedback.
func (c *Criterion) said(r Result) Result {
	r.Name, r.Of = c.Name, c.Points
	var text string
	switch r.Points {
	case c.Points:
		r.Outcome, text = Full, c.Feedback.Full
	case 0:
		r.Outcome, text = None, c.Feedback.None
	default:
		r.Outcome, text = Partly, c.Feedback.Partly
	}
	r.Said = strings.NewReplacer("{measured}", r.Measured, "{wanted}", r.Wanted).Replace(text)
	return r
}

// want is a band of numbers, or some words or truths.
type want struct {
	low, high float64
	any       []any
}

func (w want) holds(v any) bool {
	if n, ok := v.(float64); ok {
		return w.any == nil && n >= w.low && n <= w.high
	}
	return v != nil && slices.Contains(w.any, v)
}

// covers says whether all that another wants is wanted too.
func (w want) covers(o want) bool {
	if w.any == nil {
		return o.low >= w.low && o.high <= w.high
	}
	return !slices.ContainsFunc(o.any, func(v any) bool { return !slices.Contains(w.any, v) })
}

func (w want) text(unit string) string {
	switch {
	case w.any != nil:
		all := make([]string, len(w.any))
		for i, v := range w.any {
			all[i] = shown(v)
		}
		return phrase.Or(all)
	case math.IsInf(w.low, -1) && math.IsInf(w.high, 1):
		return "any number"
	case math.IsInf(w.low, -1):
		return "at most " + shown(w.high) + unit
	case math.IsInf(w.high, 1):
		return "at least " + shown(w.low) + unit
	case w.low == w.high:
		return shown(w.low) + unit
	}
	return shown(w.low) + " to " + shown(w.high) + unit
}

// measure holds a figure against a band, a word or a truth.
type measure struct {
	path   string
	figure figure
	full   want
	partly []part[want]
}

func (m *measure) value(h *HandIn, on *target) any {
	if on == nil {
		return m.figure.of(h.Report)
	}
	return m.figure.of(on.told)
}

func (m *measure) look(h *HandIn, on *target, of Points) Result {
	v := m.value(h, on)
	r := Result{Value: v, Measured: "nothing", Wanted: m.wanted(h, on)}
	if v != nil {
		r.Measured = shown(v)
		if m.figure.kind == number {
			r.Measured += unit(m.path)
		}
	}
	if r.Points = of; !m.full.holds(v) {
		r.Points = best(m.partly, func(w want) bool { return w.holds(v) })
	}
	return r
}

func (m *measure) wanted(*HandIn, *target) string { return m.full.text(unit(m.path)) }

func (m *measure) anyway() bool {
	return slices.Contains([]string{"signal", "active", "verdict"}, m.path)
}

// counts is a range of how many.
type counts struct{ low, high int64 }

func (c counts) holds(n int64) bool { return n >= c.low && n <= c.high }

// finding counts what findings of one kind speak of.
type finding struct {
	kind   string
	full   counts
	partly []part[counts]
}

func (f *finding) look(h *HandIn, on *target, of Points) Result {
	var n int64
	for _, x := range h.Report.Findings {
		if x.Kind == f.kind && (on == nil || slices.Contains(x.Channels, on.told.Name)) {
			n += x.Count
		}
	}
	r := Result{Value: float64(n), Measured: fmt.Sprintf("%s: %d", f.kind, n), Wanted: f.wanted(h, on), Points: of}
	if !f.full.holds(n) {
		r.Points = best(f.partly, func(c counts) bool { return c.holds(n) })
	}
	return r
}

func (f *finding) wanted(*HandIn, *target) string {
	switch c := f.full; {
	case c.high == 0:
		return f.kind + ": none"
	case c.low == c.high:
		return fmt.Sprintf("%s: %d", f.kind, c.low)
	case c.low == 0:
		return fmt.Sprintf("%s: at most %d", f.kind, c.high)
	case c.high == math.MaxInt64:
		return fmt.Sprintf("%s: at least %d", f.kind, c.low)
	default:
		return fmt.Sprintf("%s: %d to %d", f.kind, c.low, c.high)
	}
}

func (f *finding) anyway() bool { return false }

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
	near := fmt.Sprintf("within %s%s", shown(a.full.by), unit(a.path))
	if a.full.percent {
		near = fmt.Sprintf("within %s %%", shown(a.full.by))
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

// shown writes a value as it is said: numbers with at most seven digits.
func shown(v any) string {
	switch x := v.(type) {
	case float64:
		if x == math.Trunc(x) && math.Abs(x) < 1e15 {
			return strconv.FormatFloat(x, 'f', -1, 64)
		}
		s := strconv.FormatFloat(x, 'g', 7, 64)
		if n, err := strconv.ParseFloat(s, 64); err == nil && math.Abs(n) >= 1e-4 && math.Abs(n) < 1e15 {
			return strconv.FormatFloat(n, 'f', -1, 64)
		}
		return s
	case bool:
		if x {
			return "yes"
		}
		return "no"
	}
	return fmt.Sprint(v)
}

// wantedRest is a place where the stick has to rest, and how long.
type wantedRest struct {
	near, within float64 // microseconds
	atLeast      decode.Time
}

func (w wantedRest) holds(width decode.Time) bool {
	return math.Abs(float64(width)/float64(decode.Microsecond)-w.near) <= w.within
}
