package grade

import (
	"strings"

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
