// Package grade holds captures against a teacher's rubric. It stands above
// package report, since a rubric names figures by their path in the JSON of
// `check`. Its JSON and its gradebook are promised, its Go types are not.
package grade

import (
	"fmt"
	"math"
	"regexp"
	"strings"

	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/tomlfile"
)

// Rubric is what a capture is graded by. Read one with [ParseRubric].
type Rubric struct {
	Title    string
	Points   Points // of all criteria
	Criteria []*Criterion
}

// Criterion is one line of a rubric: a channel to look at, one thing about it,
// and what that earns.
type Criterion struct {
	Name     string
	Points   Points
	Channels []string // alternatives, the first that exists counts; none: the capture as a whole
	Feedback Feedback

	task task
}

// Feedback is what the student is told for each outcome.
type Feedback struct {
	Full   string `toml:"full"`
	Partly string `toml:"partly"`
	None   string `toml:"none"`
}

// rubricText is a rubric as it is written.
type rubricText struct {
	Title    string          `toml:"title"`
	Points   *float64        `toml:"points"`
	Criteria []criterionText `toml:"criterion"`
}

type criterionText struct {
	Name     string   `toml:"name"`
	Points   *float64 `toml:"points"`
	Channel  any      `toml:"channel"`
	Feedback Feedback `toml:"feedback"`

	Measure string       `toml:"measure"`
	Full    any          `toml:"full"`
	Finding string       `toml:"finding"`
	AtLeast *int64       `toml:"at_least"`
	AtMost  *int64       `toml:"at_most"`
	Rests   []restText   `toml:"rests"`
	Partly  []partlyText `toml:"partly"`

	Answer        string   `toml:"answer"`
	Against       string   `toml:"against"`
	Scale         *float64 `toml:"scale"`
	Within        *float64 `toml:"within"`
	WithinPercent *float64 `toml:"within_percent"`
}

type restText struct {
	NearUs   float64           `toml:"near_us"`
	WithinUs float64           `toml:"within_us"`
	AtLeast  tomlfile.Duration `toml:"at_least"`
}

type partlyText struct {
	Within        any      `toml:"within"`
	WithinPercent *float64 `toml:"within_percent"`
	AtLeast       *int64   `toml:"at_least"`
	AtMost        *int64   `toml:"at_most"`
	Points        *float64 `toml:"points"`
}

// ParseRubric reads a rubric (TOML 1.0), strictly. What is wrong with it is a
// *formats.ParseError with its place.
func ParseRubric(file string, text []byte) (*Rubric, error) {
	var in rubricText
	places, err := tomlfile.Decode(file, text, &in)
	if err != nil {
		return nil, err
	}
	r := &Rubric{Title: in.Title}
	names := map[string]bool{}
	for i := range in.Criteria {
		b := &builder{in: &in.Criteria[i], at: fmt.Sprintf("criterion[%d]", i), places: places}
		c, err := b.criterion()
		if err != nil {
			return nil, err
		}
		if names[c.Name] {
			return nil, b.refuse("name", fmt.Sprintf("a second criterion %q", c.Name), "a name of its own, since it heads a column of the gradebook")
		}
		names[c.Name] = true
		r.Criteria = append(r.Criteria, c)
		r.Points += c.Points
	}
	switch {
	case len(r.Criteria) == 0:
		return nil, places.Error("title", "the rubric has no criterion", "one or more [[criterion]]; widthwise help rubric prints an example")
	case in.Points != nil && points(*in.Points) != r.Points:
		return nil, places.Error("points", fmt.Sprintf("the criteria add up to %s points and not to %s", r.Points, points(*in.Points)), "points that add up, or no total")
	}
	return r, nil
}

// builder makes a criterion of its text.
type builder struct {
	in     *criterionText
	at     string
	places *tomlfile.Places
}

// refuse points at a key of the criterion, or at the criterion where the key
// is missing.
func (b *builder) refuse(key, problem, fix string) error {
	return b.places.Error(b.at+"."+key, problem, fix)
}

func (b *builder) criterion() (*Criterion, error) {
	c := &Criterion{Name: b.in.Name, Feedback: b.in.Feedback}
	switch p := b.in.Points; {
	case c.Name == "":
		return nil, b.refuse("name", "a criterion without a name", `name = "..."`)
	case p == nil:
		return nil, b.refuse("points", fmt.Sprintf("criterion %q has no points", c.Name), "points = 4")
	case !(*p > 0) || *p > 1e6 || math.Abs(*p*100-math.Round(*p*100)) > 1e-6:
		return nil, b.refuse("points", fmt.Sprintf("points = %g", *p), "a number above 0, of at most two decimals")
	default:
		c.Points = points(*p)
	}
	var err error
	if c.Channels, err = b.channels(); err != nil {
		return nil, err
	}
	if err = b.feedback(); err != nil {
		return nil, err
	}
	c.task, err = b.task(c)
	return c, err
}

// channels takes one name, label, pattern, column or word, or a list of them.
func (b *builder) channels() ([]string, error) {
	const fix = `a name, a label, a pattern, "#3", "any", "every" or "only", or a list of them`
	list, ok := b.in.Channel.([]any)
	switch {
	case b.in.Channel == nil:
		return nil, nil
	case !ok:
		list = []any{b.in.Channel}
	}
	var out []string
	for _, x := range list {
		name, ok := x.(string)
		if !ok || name == "" {
			return nil, b.refuse("channel", "channel is no name", fix)
		}
		out = append(out, name)
	}
	if len(out) == 0 {
		return nil, b.refuse("channel", "channel is an empty list", fix)
	}
	return out, nil
}

// filled is what feedback may have filled in, and inBraces what asks for it.
var (
	filled   = []string{"{measured}", "{wanted}"}
	inBraces = regexp.MustCompile(`\{[A-Za-z_]+\}`)
)

// feedback refuses a word in braces that nothing is filled in for: a slip of
// the pen that every student would read.
func (b *builder) feedback() error {
	f := &b.in.Feedback
	for _, t := range []struct{ key, text string }{{"full", f.Full}, {"partly", f.Partly}, {"none", f.None}} {
		for _, word := range inBraces.FindAllString(t.text, -1) {
			if !slices.Contains(filled, word) {
				return b.refuse("feedback."+t.key, "nothing is filled in for "+word, strings.Join(filled, " or "))
			}
		}
	}
	return nil
}

// looks are the things a criterion may look at: the key that asks for each,
// and the further keys that go with it.
var looks = []struct {
	key   string
	asked func(*criterionText) bool
	with  []string
	make  func(*builder, *Criterion) (task, error)
}{
	{"measure", func(t *criterionText) bool { return t.Measure != "" }, []string{"full", "partly"}, (*builder).measure},
	{"finding", func(t *criterionText) bool { return t.Finding != "" }, []string{"at_least", "at_most", "partly"}, (*builder).finding},
	{"rests", func(t *criterionText) bool { return t.Rests != nil }, nil, (*builder).rests},
	{"answer", func(t *criterionText) bool { return t.Answer != "" }, []string{"against", "scale", "within", "within_percent", "partly"}, (*builder).answer},
}

func (b *builder) task(c *Criterion) (task, error) {
	at := -1
	for i, look := range looks {
		switch {
		case !look.asked(b.in):
		case at >= 0:
			return nil, b.refuse(look.key, fmt.Sprintf("criterion %q looks at two things, %s and %s", c.Name, looks[at].key, look.key), "one of them, and a criterion for the other")
		default:
			at = i
		}
	}
	if at < 0 {
		return nil, b.refuse("name", fmt.Sprintf("criterion %q has nothing to look at", c.Name), "measure, finding, rests or answer")
	}
	for _, key := range b.given() {
		if !slices.Contains(looks[at].with, key) {
			return nil, b.refuse(key, fmt.Sprintf("%s does not go with %s", key, looks[at].key), "leave it out")
		}
	}
	return looks[at].make(b, c)
}

// given lists the keys that go with one thing only, as far as they are stated.
func (b *builder) given() (keys []string) {
	for _, k := range []struct {
		key    string
		stated bool
	}{
		{"full", b.in.Full != nil}, {"at_least", b.in.AtLeast != nil}, {"at_most", b.in.AtMost != nil}, {"partly", b.in.Partly != nil},
		{"against", b.in.Against != ""}, {"scale", b.in.Scale != nil}, {"within", b.in.Within != nil}, {"within_percent", b.in.WithinPercent != nil},
	} {
		if k.stated {
			keys = append(keys, k.key)
		}
	}
	return keys
}

// figure finds what a path names: of the channel where the criterion has one,
// else of the capture.
func (b *builder) figure(key, path string, c *Criterion) (figure, error) {
	own, other := captureFigures, channelFigures
	if c.Channels != nil {
		own, other = other, own
	}
	if f, ok := own[path]; ok {
		return f, nil
	}
	_, elsewhere := other[path]
	switch {
	case elsewhere && c.Channels == nil:
		return figure{}, b.refuse(key, fmt.Sprintf("%s is a figure of a channel, and the criterion names none", path), `channel = "rudder", "any", "every" or "only"`)
	case elsewhere:
		return figure{}, b.refuse(key, fmt.Sprintf("%s is a figure of the capture as a whole", path), "leave channel out")
	}
	return figure{}, b.refuse(key, fmt.Sprintf("no figure %q", path), "the nearest are "+nearestPaths(path, own))
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

// part checks what all parts have: points below the full ones, and the one
// condition that goes with what is looked at.
func (b *builder) part(key string, p partlyText, c *Criterion, stated, alone bool, example string) (Points, error) {
	switch {
	case p.Points == nil || !(*p.Points >= 0):
		return 0, b.refuse(key, "a part without points", "points = 1")
	case points(*p.Points) >= c.Points:
		return 0, b.refuse(key+".points", fmt.Sprintf("a part earns %s of %s points", points(*p.Points), c.Points), "less than full earns")
	case !stated || !alone:
		return 0, b.refuse(key, "a part with the wrong condition", "{ "+example+", points = 1 }")
	}
	return points(*p.Points), nil
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

// finding takes a kind of finding with how many there may be.
func (b *builder) finding(c *Criterion) (task, error) {
	if !slices.Contains(decode.Kinds, decode.Kind(b.in.Finding)) {
		names := make([]string, len(decode.Kinds))
		for i, k := range decode.Kinds {
			names[i] = string(k)
		}
		return nil, b.refuse("finding", fmt.Sprintf("no kind of finding %q", b.in.Finding), "the nearest are "+near(b.in.Finding, names))
	}
	f := &finding{kind: b.in.Finding}
	var err error
	if f.full, err = b.counts("finding", b.in.AtLeast, b.in.AtMost); err != nil {
		return nil, err
	}
	for i, p := range b.in.Partly {
		key := fmt.Sprintf("partly[%d]", i)
		earns, err := b.part(key, p, c, p.AtLeast != nil || p.AtMost != nil, p.Within == nil && p.WithinPercent == nil, "at_most = 3")
		if err != nil {
			return nil, err
		}
		n, err := b.counts(key, p.AtLeast, p.AtMost)
		if err != nil {
			return nil, err
		}
		if n.low >= f.full.low && n.high <= f.full.high {
			return nil, b.refuse(key, "this part lies within what earns all points, and would never count", "a wider one")
		}
		f.partly = append(f.partly, part[counts]{n, earns})
	}
	return f, nil
}

func (b *builder) counts(key string, least, most *int64) (counts, error) {
	n := counts{0, math.MaxInt64}
	if least == nil && most == nil {
		return n, b.refuse(key, "no number of findings is stated", "at_most = 0, or at_least = 1")
	}
	if least != nil {
		n.low = *least
	}
	if most != nil {
		n.high = *most
	}
	if n.low < 0 || n.high < n.low {
		return n, b.refuse(key, fmt.Sprintf("no number is at least %d and at most %d", n.low, n.high), "at_least below at_most, neither below 0")
	}
	return n, nil
}

// rests takes a sequence of places at which the stick has to rest.
func (b *builder) rests(c *Criterion) (task, error) {
	r := &rests{}
	if c.Channels == nil {
		return nil, b.refuse("rests", "rests are those of a channel, and the criterion names none", `channel = "rudder", "any", "every" or "only"`)
	}
	if len(b.in.Rests) == 0 {
		return nil, b.refuse("rests", "an empty list of rests", `[{ near_us = 1500, within_us = 60, at_least = "1s" }]`)
	}
	for i, w := range b.in.Rests {
		if !(w.NearUs > 0) || !(w.WithinUs > 0) || w.AtLeast <= 0 {
			return nil, b.refuse(fmt.Sprintf("rests[%d]", i), "a rest without a place or a length", `{ near_us = 1500, within_us = 60, at_least = "1s" }`)
		}
		r.places = append(r.places, wantedRest{w.NearUs, w.WithinUs, decode.Time(w.AtLeast)})
	}
	return r, nil
}

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

// Names lists the channels that the rubric names: every criterion's names,
// patterns and columns. They are judged as what they are asked to be.
func (r *Rubric) Names() []string {
	named := map[string]bool{}
	for _, c := range r.Criteria {
		for _, name := range c.Channels {
			if !group(name) {
				named[name] = true
			}
		}
	}
	names := maps.Keys(named)
	slices.Sort(names)
	return names
}

// group tells the words that stand for channels from the names of channels.
func group(name string) bool { return name == "any" || name == "every" || name == "only" }
