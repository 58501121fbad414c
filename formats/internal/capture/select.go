package capture

import (
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
)

// shownNames is how many names of a capture a message lists.
const shownNames = 12

// Selector decides which variables of a capture become channels. Every format
// offers each of its variables once and asks unmatched when it has no more.
type Selector struct {
	Wishes  []Wish
	all     bool // nothing was asked for: everything is selected
	offered []string
}

// Wish is one name, path, bit, column number or pattern that was asked for.
type Wish struct {
	Text    string
	Column  int // of "#n", 0 elsewhere
	Pattern bool
	Met     bool
	ifThere bool
	Refusal string // why what it names cannot be a channel
}

// NewSelector makes a selector of what the options ask for.
func NewSelector(o Options) *Selector {
	s := &Selector{all: len(o.Select) == 0}
	must := append(slices.Clone(o.Select), o.Also...)
	for i, text := range append(slices.Clone(must), o.IfThere...) {
		w := Wish{Text: text, Pattern: strings.ContainsAny(text, "*?"), ifThere: i >= len(must)}
		if n, ok := strings.CutPrefix(text, "#"); ok {
			w.Column, _ = strconv.Atoi(n)
		}
		s.Wishes = append(s.Wishes, w)
	}
	return s
}

// Match tells whether v is to be a channel and whether the user asked for it,
// by its name, path or an alias, a pattern for one of them, or its column.
// Columns of kind "time", "index" and "text" are never channels.
func (s *Selector) Match(v Variable) (selected, named bool) {
	refusal := ""
	switch v.Kind {
	case "time", "text":
		refusal = fmt.Sprintf("column %d holds %s", v.Column, v.Kind)
	case "index":
		refusal = fmt.Sprintf("column %d numbers the rows", v.Column)
	default:
		s.offered = append(s.offered, v.Name)
	}
	for i := range s.Wishes {
		w := &s.Wishes[i]
		switch {
		case !w.Means(v):
		case refusal == "":
			w.Met, named = true, true
		case !w.Pattern:
			w.Refusal = refusal
		}
	}
	return refusal == "" && (named || s.all), named
}

// MatchBit tells whether bit index of the vector v was asked for: the name,
// path, alias or a pattern for one of them, and the bit in brackets.
func (s *Selector) MatchBit(v Variable, index int) bool {
	bit := strconv.Itoa(index)
	found := false
	for i := range s.Wishes {
		w := &s.Wishes[i]
		base, rest, ok := CutLast(w.Text, "[")
		inside, closed := strings.CutSuffix(rest, "]")
		if !ok || !closed || !phrase.Matches(strings.TrimSpace(inside), bit) {
			continue
		}
		if (&Wish{Text: strings.TrimSpace(base), Pattern: w.Pattern}).Means(v) {
			w.Met, found = true, true
		}
	}
	return found
}

// Unmatched returns a *UsageError for the first wish that nothing met.
func (s *Selector) Unmatched() error {
	for _, w := range s.Wishes {
		switch {
		case w.Met, w.ifThere:
		case w.Refusal != "":
			return &UsageError{fmt.Sprintf("channel %q: %s; %s", w.Text, w.Refusal, s.has()), w.Text}
		default:
			return &UsageError{fmt.Sprintf("no channel matches %q; %s%s", w.Text, s.near(w.Text), s.has()), w.Text}
		}
	}
	return nil
}

// Means tells whether v is what the wish names.
func (w *Wish) Means(v Variable) bool {
	if w.Column > 0 && w.Column == v.Column || w.is(v.Name) || v.Path != "" && w.is(v.Path) {
		return true
	}
	return slices.ContainsFunc(v.Aliases, w.is)
}

func (w *Wish) is(name string) bool {
	return name == w.Text || w.Pattern && phrase.Matches(w.Text, name)
}

// has says which channels there are, shortened.
func (s *Selector) has() string {
	names := s.offered
	if len(names) == 0 {
		return "the capture has no channel"
	}
	more := ""
	if len(names) > shownNames {
		names, more = names[:shownNames], fmt.Sprintf(" and %d more", len(names)-shownNames)
	}
	return "the capture has " + strings.Join(names, ", ") + more
}

// near suggests a name that differs only in the case of its letters.
func (s *Selector) near(text string) string {
	i := slices.IndexFunc(s.offered, func(name string) bool { return strings.EqualFold(name, text) })
	if i < 0 {
		return ""
	}
	return fmt.Sprintf("did you mean %q? ", s.offered[i])
}

// CutLast is [strings.Cut] at the last sep.
func CutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}
