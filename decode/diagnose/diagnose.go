// Package diagnose gathers what was found in a capture into events: what a
// person at the bench would see happen, and the one thing that explains it.
//
// It reads an analysis and its judgement and measures nothing of its own:
//
//	findings -> observations -> incidents -> the first rule that fits -> events
//
// An observation is one thing seen on one line. Observations close to one
// another in time make an incident, across lines where they overlap. The table
// of rules is asked in order what of an incident each explains; what is left
// is gathered again and asked again, so that two faults near one another are
// two. Incidents with one explanation on the same channels are one event.
package diagnose

import (
	"cmp"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// Event is one thing that happened, once or several times. Cause is a name from
// the table of rules, Confidence "likely" or "possible".
type Event struct {
	Cause      string
	Confidence string
	Severity   decode.Severity // the worst of its findings
	Channels   []string
	Start, End decode.Time
	Count      int64            // of its times, listed or not
	Times      [][2]decode.Time // start and end of each, up to 100
	Story      string           // one or two sentences: what happened
	Evidence   []string         // what speaks for the cause
	Against    []string         // what speaks against it, or cannot be told
	Try        string           // what to do next
	Instead    []string         // what would look the same
	Source     string           // of the rule that explains it
	Findings   []int            // indices into Judgement.Findings
}

const maxTimes = 100

// Explain gathers the findings of a judgement into events, fails first, then
// those that touch more channels, then the earlier. Every finding of warn or
// fail is in exactly one. A capture without such findings has no event.
func Explain(a *decode.Analysis, j *decode.Judgement) []Event {
	b := newBench(a, j)
	var cases []*explained
	for _, in := range b.incidents() {
		cases = b.explain(in, cases)
	}
	var events []Event
	for _, c := range adopt(cases) {
		events = append(events, c.event())
	}
	attachNotes(events, j)
	slices.SortStableFunc(events, func(x, y Event) int {
		return cmp.Or(cmp.Compare(rank(x.Severity), rank(y.Severity)), cmp.Compare(len(y.Channels), len(x.Channels)), cmp.Compare(x.Start, y.Start))
	})
	return events
}

func rank(s decode.Severity) int {
	return slices.Index([]decode.Severity{decode.Fail, decode.Warn, decode.Note}, s)
}

// explained is what one rule explains, in one incident or in several.
type explained struct {
	*rule
	bench *bench
	parts []incident
	lines []*line // in the order of the capture
}

// explain finds what explains an incident, piece by piece, and books it with
// the case that it belongs to.
func (b *bench) explain(in incident, cases []*explained) []*explained {
	if len(in) == 0 {
		return cases
	}
	for i := range table {
		r := &table[i]
		part := r.takes(b, in)
		if len(part) == 0 {
			continue
		}
		cases = b.book(r, part, cases)
		for _, rest := range b.gather(in.without(part)) {
			cases = b.explain(rest, cases)
		}
		return cases
	}
	return cases
}

// book adds a part of an incident to the case with the same explanation on the
// same channels, or opens one. A case whose story is another rule's takes no further
// channels.
func (b *bench) book(r *rule, part incident, cases []*explained) []*explained {
	lines := part.lines(b)
	for _, c := range cases {
		if c.cause == r.cause && (slices.Equal(c.lines, lines) || c.joins != nil && r.joins != nil && r.joins(c.lines, lines) && (c.rule == r || c.holds(lines))) {
			c.parts = append(c.parts, part)
			c.lines = b.inOrder(append(c.lines, lines...))
			return cases
		}
	}
	return append(cases, &explained{rule: r, bench: b, parts: []incident{part}, lines: lines})
}

// adopt gives a case the parts of weaker ones on its lines that are its own.
func adopt(cases []*explained) []*explained {
	for _, c := range cases {
		for _, o := range cases {
			if c != o && slices.Contains(c.adopts, o.cause) {
				for c.adopt(o) {
					o.refit()
				}
			}
		}
	}
	return slices.DeleteFunc(cases, func(c *explained) bool { return len(c.parts) == 0 })
}

// holds reports whether lines, or the streams that they are slots of, are all
// among those of a case.
func (c *explained) holds(lines []*line) bool {
	return !slices.ContainsFunc(lines, func(l *line) bool {
		return !slices.Contains(c.lines, l) && !slices.Contains(c.lines, l.stream)
	})
}

// adopt takes what parts of a weaker case it can, and reports whether it did:
// those on its lines that lie just beside its own, or about which it came and went,
// or what its rule knows as its own.
func (c *explained) adopt(o *explained) bool {
	own, was := slices.Clone(c.parts), *o
	o.parts = nil
	for _, p := range was.parts {
		beside := p.near(own, decode.Second/2) > 0 || p.near(own, 2*decode.Second) >= 3
		mine := p
		if c.bench.lasting(p[0]) {
			mine, beside = p.whenLoud(own)
		}
		owned := beside && c.holds(p.lines(c.bench))
		if c.owns != nil {
			owned = c.owns(c, &was, p, beside)
		}
		if owned {
			c.parts = append(c.parts, mine)
			c.lines = c.bench.inOrder(append(c.lines, p.lines(c.bench)...))
		} else {
			o.parts = append(o.parts, p)
		}
	}
	o.lines = nil
	for _, p := range o.parts {
		o.lines = append(o.lines, p.lines(c.bench)...)
	}
	o.lines = c.bench.inOrder(o.lines)
	return len(c.parts) > len(own)
}

// whenLoud narrows jitter, which is told of a whole capture, to where it was, and
// reports whether that is within one of some incidents.
func (in incident) whenLoud(others []incident) (narrowed incident, within bool) {
	l := in[0].lines[0]
	from, to, ok := l.loud()
	reach := loudPulses * l.period
	narrowed = slices.Clone(in)
	narrowed[0].start, narrowed[0].end = from, to
	return narrowed, ok && slices.ContainsFunc(others, func(o incident) bool {
		return o.start() <= from+reach && o.end() >= to-reach
	})
}

// amid reports whether an incident comes as close to those of a case as they come
// to one another: three of them within twice their mean distance.
func (c *explained) amid(p incident) bool {
	n := len(c.parts)
	if n < 3 {
		return false
	}
	own := c.observations()
	return p.near(c.parts, 2*(own.end()-own.start())/decode.Time(n-1)) >= 3
}

// spans reports whether a case began before an incident and went on after it.
func (c *explained) spans(p incident) bool {
	own := c.observations()
	return own.start() <= p.start() && p.end() <= own.end()
}

// amidOwn reports whether an incident lies beside those of a case on the same lines,
// or amid many.
func amidOwn(c, _ *explained, p incident, beside bool) bool {
	return (beside || c.amid(p)) && c.holds(p.lines(c.bench))
}

// refit chooses the rule anew by what is left of a case: a cause may have
// several, each with a story of its own.
func (c *explained) refit() {
	for i := range table {
		r := &table[i]
		if r.cause == c.cause && slices.ContainsFunc(c.parts, func(p incident) bool { return len(r.takes(c.bench, p)) > 0 }) {
			c.rule = r
			return
		}
	}
}

// near counts the incidents within reach of this one.
func (in incident) near(others []incident, reach decode.Time) (n int) {
	for _, o := range others {
		if in.start()-o.end() < reach && o.start()-in.end() < reach {
			n++
		}
	}
	return n
}

func (c *explained) event() Event {
	slices.SortStableFunc(c.parts, func(x, y incident) int { return cmp.Compare(x.start(), y.start()) })
	e := Event{Cause: c.cause, Confidence: "possible", Severity: decode.Note, Channels: names(c.lines),
		Try: c.try, Instead: c.instead, Source: c.source, Story: sentence(c.story(c)), Evidence: c.evidence(c)}
	if c.likely(c) {
		e.Confidence = "likely"
	}
	if c.against != nil {
		e.Against = c.against(c)
	}
	times := c.times()
	e.Start, e.End, e.Count = times[0][0], times[0][1], int64(len(times))
	for _, t := range times {
		e.End = max(e.End, t[1])
	}
	e.Times = times[:min(len(times), maxTimes)]
	for _, o := range c.observations() {
		if !slices.Contains(e.Findings, o.finding) {
			e.Findings = append(e.Findings, o.finding)
			if s := c.bench.judgement.Findings[o.finding].Severity; rank(s) < rank(e.Severity) {
				e.Severity = s
			}
		}
	}
	slices.Sort(e.Findings)
	return e
}

// times are the stretches in which it happened, those that touch as one.
func (c *explained) times() [][2]decode.Time {
	var all [][2]decode.Time
	for _, p := range c.parts {
		t := [2]decode.Time{p.start(), p.end()}
		if n := len(all); n > 0 && t[0] <= all[n-1][1] {
			all[n-1][1] = max(all[n-1][1], t[1])
			continue
		}
		all = append(all, t)
	}
	return all
}

// observations lists those of all parts.
func (c *explained) observations() (all incident) {
	for _, p := range c.parts {
		all = append(all, p...)
	}
	return all
}

// sum adds up findings' counts of some kinds.
func (c *explained) sum(kinds ...decode.Kind) (n int64) {
	return c.observations().sum(kinds...)
}

func (in incident) sum(kinds ...decode.Kind) (n int64) {
	for _, o := range in.kinds(kinds...) {
		n += o.count
	}
	return n
}

// attachNotes gives each note on a shared gap to the event that explains it.
func attachNotes(events []Event, j *decode.Judgement) {
	for i, f := range j.Findings {
		if f.Kind != decode.SharedLoss {
			continue
		}
		for k := range events {
			if e := &events[k]; e.covers(f) {
				e.Findings = append(e.Findings, i)
				slices.Sort(e.Findings)
				break
			}
		}
	}
}

// covers reports whether a note lies within one of the event's times, on its
// channels, and the event is one of shared gaps.
func (e *Event) covers(f decode.Finding) bool {
	if !slices.Contains([]string{recorder, switchedOff, supply, link, supplyOrLink}, e.Cause) || !slices.Contains(e.Channels, f.Channels[0]) {
		return false
	}
	return slices.ContainsFunc(e.Times, func(t [2]decode.Time) bool { return f.Start >= t[0] && f.Start <= t[1] })
}
