package grade

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
)

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
			all[i] = written(v)
		}
		return phrase.Or(all)
	case math.IsInf(w.low, -1) && math.IsInf(w.high, 1):
		return "any number"
	case math.IsInf(w.low, -1):
		return "at most " + written(w.high) + unit
	case math.IsInf(w.high, 1):
		return "at least " + written(w.low) + unit
	case w.low == w.high:
		return written(w.low) + unit
	}
	return written(w.low) + " to " + written(w.high) + unit
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

// shown writes what was measured as it is said: numbers with at most three
// decimals, and three digits where that would leave fewer.
func shown(v any) string {
	x, ok := v.(float64)
	switch {
	case !ok || x == math.Trunc(x):
		return written(v)
	case math.Abs(x) >= 0.1:
		return phrase.Trim(strconv.FormatFloat(x, 'f', 3, 64))
	}
	return strconv.FormatFloat(x, 'g', 3, 64)
}

// written writes a value as the rubric has it.
func written(v any) string {
	switch x := v.(type) {
	case float64:
		if x == 0 || math.Abs(x) >= 1e-4 && math.Abs(x) < 1e15 {
			return strconv.FormatFloat(x, 'f', -1, 64)
		}
		return strconv.FormatFloat(x, 'g', -1, 64)
	case bool:
		if x {
			return "yes"
		}
		return "no"
	}
	return fmt.Sprint(v)
}

// measure takes a figure with its band, word or truth.
func (b *builder) measure(c *Criterion) (task, error) {
	f, err := b.figure("measure", b.in.Measure, c)
	if err != nil {
		return nil, err
	}
	m := &measure{path: b.in.Measure, figure: f}
	if b.in.Full == nil {
		return nil, b.refuse("measure", "measure without full", "full = "+examples[f.kind])
	}
	if m.full, err = b.wanted("full", b.in.Full, m); err != nil {
		return nil, err
	}
	for i, p := range b.in.Partly {
		key := fmt.Sprintf("partly[%d]", i)
		earns, err := b.part(key, p, c, p.Within != nil, p.WithinPercent == nil && p.AtLeast == nil && p.AtMost == nil, "within = "+examples[f.kind])
		if err != nil {
			return nil, err
		}
		w, err := b.wanted(key+".within", p.Within, m)
		if err != nil {
			return nil, err
		}
		if m.full.covers(w) {
			return nil, b.refuse(key+".within", "this part lies within full, and would never count", "a wider band, or another one")
		}
		m.partly = append(m.partly, part[want]{w, earns})
	}
	return m, nil
}

// examples show what earns a figure's points, by its kind.
var examples = map[kind]string{number: "[21900, 22100]", word: `"servo"`, truth: "true"}

// wanted takes a band, a word, a truth, or { any = [...] } of words or truths.
func (b *builder) wanted(key string, v any, m *measure) (want, error) {
	kind := m.figure.kind
	switch x := v.(type) {
	case map[string]any:
		if list, ok := x["any"].([]any); ok && len(x) == 1 && len(list) > 0 && kind != number {
			return b.anyOf(key, list, m)
		}
	case string:
		if kind == word {
			return b.word(key, x, m)
		}
	case bool:
		if kind == truth {
			return want{any: []any{x}}, nil
		}
	case []any:
		if low, high, ok := band(x); ok && kind == number {
			return b.rising(key, low, high)
		}
	}
	return want{}, b.refuse(key, fmt.Sprintf("%s is %s, and this is none", m.path, kind), examples[kind])
}

// word takes a word that the figure may be.
func (b *builder) word(key, x string, m *measure) (want, error) {
	if known := words[m.path]; known != nil && !slices.Contains(known, x) {
		return want{}, b.refuse(key, fmt.Sprintf("%s is never %q", m.path, x), strings.Join(known, ", "))
	}
	return want{any: []any{x}}, nil
}

// rising takes a band whose ends are in order.
func (b *builder) rising(key string, low, high float64) (want, error) {
	if !(low <= high) {
		return want{}, b.refuse(key, fmt.Sprintf("the band [%g, %g] does not rise", low, high), "[low, high]")
	}
	return want{low: low, high: high}, nil
}

// anyOf takes a list of words or truths.
func (b *builder) anyOf(key string, list []any, m *measure) (w want, err error) {
	for _, x := range list {
		one, err := b.wanted(key, x, m)
		if err != nil {
			return want{}, err
		}
		w.any = append(w.any, one.any...)
	}
	return w, nil
}

// band reads [low, high].
func band(list []any) (low, high float64, ok bool) {
	if len(list) != 2 {
		return 0, 0, false
	}
	ends := [2]float64{}
	for i, x := range list {
		switch n := x.(type) {
		case int64:
			ends[i] = float64(n)
		case float64:
			ends[i] = n
		default:
			return 0, 0, false
		}
	}
	return ends[0], ends[1], true
}

// words that a figure may take, where they are few.
var words = map[string][]string{
	"signal":            {"servo", "pulse-position", "duty", "serial", "echo", "irregular", "silent"},
	"active":            {"high", "low"},
	"verdict":           {"pass", "fail", "undecided"},
	"period_us.pattern": {"steady", "alternating", "width-timed", "irregular"},
	"format":            {"csv", "vcd", "scenario"},
	"compression":       {"none", "gzip", "zstd"},
	"level":             {"high", "low"},
}
