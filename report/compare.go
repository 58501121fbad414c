package report

import (
	"widthwise/decode"
	"widthwise/decode/compare"
	"widthwise/formats"
)

// Compare is the document of `compare`.
type Compare struct {
	Schema    string        `json:"schema"`
	Verdict   Word          `json:"verdict"`
	Before    Facts         `json:"before"`
	After     Facts         `json:"after"`
	Pairs     []ComparePair `json:"pairs"`
	Unmatched Unmatched     `json:"unmatched"`
	Advice    []Advice      `json:"advice"`
	Safety    string        `json:"safety"`
}

// ComparePair is a channel before and after.
type ComparePair struct {
	Before    string   `json:"before"`
	After     string   `json:"after"`
	MatchedBy string   `json:"matched_by"`
	Verdict   Word     `json:"verdict"`
	Figures   []Figure `json:"figures"`
}

// Figure is one thing measured on both sides. Before and After are a Number or
// a Word.
type Figure struct {
	Figure     string `json:"figure"`
	Before     any    `json:"before"`
	After      any    `json:"after"`
	Difference Number `json:"difference"`
	Low        Number `json:"low"`
	High       Number `json:"high"`
	Tolerance  Number `json:"tolerance"`
	Verdict    string `json:"verdict"`
	Judged     bool   `json:"judged"`
	Message    string `json:"message"`
}

// Unmatched lists channels without a partner.
type Unmatched struct {
	Before []string `json:"before"`
	After  []string `json:"after"`
}

// Advice is what to change, and why.
type Advice struct {
	Message string   `json:"message"`
	Because []string `json:"because"`
}

// Side is what is known of one of two captures.
type Side struct {
	Header   *formats.Header
	Analysis *decode.Analysis
}

// NewCompare gathers what changed from one capture to another.
func NewCompare(before, after Side, c *compare.Comparison) *Compare {
	out := &Compare{
		Schema: "widthwise.compare/1", Verdict: Word(c.Verdict),
		Before: newFacts(before.Header, before.Analysis), After: newFacts(after.Header, after.Analysis),
		Pairs:     []ComparePair{},
		Unmatched: Unmatched{append([]string{}, c.Unmatched[0]...), append([]string{}, c.Unmatched[1]...)},
		Advice:    []Advice{}, Safety: Safety,
	}
	for _, p := range c.Pairs {
		pair := ComparePair{Before: p.Before, After: p.After, MatchedBy: string(p.MatchedBy), Verdict: Word(p.Verdict), Figures: []Figure{}}
		for _, f := range p.Figures {
			told := Figure{Figure: f.Name, Before: Number(f.Value[0]), After: Number(f.Value[1]), Difference: Number(f.Difference),
				Low: Number(f.Low), High: Number(f.High), Tolerance: Number(f.Tolerance), Verdict: string(f.Verdict), Judged: f.Judged, Message: f.Message}
			if f.IsWord {
				told.Before, told.After = Word(f.Words[0]), Word(f.Words[1])
			}
			pair.Figures = append(pair.Figures, told)
		}
		out.Pairs = append(out.Pairs, pair)
	}
	for _, a := range c.Advice {
		out.Advice = append(out.Advice, Advice{a.Message, append([]string{}, a.Because...)})
	}
	return out
}

// Uncompared is the document of `compare` where a capture could not be read.
type Uncompared struct {
	Schema    string        `json:"schema"`
	Verdict   Word          `json:"verdict"`
	Before    any           `json:"before"` // Facts or *Unread
	After     any           `json:"after"`
	Pairs     []ComparePair `json:"pairs"`
	Unmatched Unmatched     `json:"unmatched"`
	Advice    []Advice      `json:"advice"`
	Safety    string        `json:"safety"`
}

// NewUncompared tells what is known of two captures, one of which at least could
// not be read: its side's problem says why, and is "" for one that could.
func NewUncompared(files, problems [2]string, sides [2]Side) *Uncompared {
	out := &Uncompared{Schema: "widthwise.compare/1", Verdict: Word(decode.Undecided), Pairs: []ComparePair{},
		Unmatched: Unmatched{[]string{}, []string{}}, Advice: []Advice{}, Safety: Safety}
	for i, told := range []*any{&out.Before, &out.After} {
		if problems[i] != "" {
			*told = unread(files[i], problems[i])
		} else {
			*told = newFacts(sides[i].Header, sides[i].Analysis)
		}
	}
	return out
}

// Reword passes every sentence through a function, see [Capture.Reword].
func (c *Compare) Reword(spell func(string) string) {
	c.Before.Reword(spell)
	c.After.Reword(spell)
	for _, p := range c.Pairs {
		for i := range p.Figures {
			p.Figures[i].Message = spell(p.Figures[i].Message)
		}
	}
	for i := range c.Advice {
		c.Advice[i].Message = spell(c.Advice[i].Message)
		reword(c.Advice[i].Because, spell)
	}
}
