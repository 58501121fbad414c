// Package grade holds captures against a teacher's rubric. It stands above
// package report, since a rubric names figures by their path in the JSON of
// `check`. Its JSON and its gradebook are promised, its Go types are not.
package grade

import (
	"fmt"
	"math"
	"regexp"

	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
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
				return b.refuse("feedback."+t.key, "nothing is filled in for "+word, phrase.Or(filled))
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
