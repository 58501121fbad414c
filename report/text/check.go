package text

import (
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// Check sets what `check` tells of one capture: the answer first, on one screen
// for an ordinary capture, and with full every figure behind it.
func Check(p *Sheet, c *report.Capture, a *decode.Analysis, full bool) {
	p.hang(answer(p, c)+" ", 6, seen(c))
	if open := c.Undecided(); open != "" {
		p.hang("", 2, open)
	}
	p.events(c, full)
	rows := judged(c)
	if len(rows) > 0 {
		p.blank()
		p.channels(rows)
		most := len(rows)
		if !full {
			most = max(screen-belowStrips-p.lines(), leastStrips)
		}
		p.strips(c, a, rows, most)
	}
	p.beside(c)
	if full {
		p.full(c, rows)
		p.heading("caution")
		p.Text(report.Safety)
		return
	}
	p.notes(c.Notes, mostNotes)
	p.Text(caution)
	p.Text("--full: all strips, figures with uncertainty, findings, what was not seen.")
}

// caution is the line that stands with every verdict; widthwise help safety and
// the full report have the long form.
const caution = "This is no proof that the machine is safe. Before power: widthwise help safety"

const (
	screen      = 24 // lines
	mostEvents  = 5  // shown with an answer; the rest are counted
	mostNotes   = 3
	leastStrips = 1
	belowStrips = 5 // lines: the scale, channels beside, caution, --full
)

// answer is the verdict with its warnings.
func answer(p *Sheet, c *report.Capture) string {
	if n := c.Warnings(); n > 0 {
		return p.verdict(c.Verdict) + ", " + phrase.Count(n, "warning") + ":"
	}
	return p.verdict(c.Verdict) + ":"
}

// seen says how much of what was seen.
func seen(c *report.Capture) string {
	return fmt.Sprintf("%s, %s seen, %s", report.Printable(c.File), report.Lasting(c.Duration), c.HowManyJudged())
}

// Reason says in one sentence what a verdict rests on.
func Reason(c *report.Capture) string {
	switch {
	case c.Err != "":
		return report.Printable(c.Err)
	case len(c.Events) > 0:
		return report.Printable(c.Events[0].Story)
	case c.Undecided() != "":
		return c.Undecided()
	}
	return nothingFound(c)
}

// nothingFound is all that a pass says.
func nothingFound(c *report.Capture) string {
	return "Nothing was found in the " + report.Lasting(c.Duration) + " that were seen."
}

// events tells what happened, the gravest first.
func (p *Sheet) events(c *report.Capture, full bool) {
	if len(c.Events) == 0 && decode.Outcome(c.Verdict) == decode.Passed {
		p.Text(nothingFound(c))
	}
	for i, e := range c.Events {
		if i == mostEvents && !full {
			p.hang("", 2, "and "+phrase.Count(int64(len(c.Events)-i), "event")+" more: --full")
			break
		}
		p.event(e)
		if full {
			p.why(e)
		}
	}
	if hidden := c.Hidden(); hidden != "" {
		p.Text(hidden)
	}
}

// event is what happened, what explains it and how surely, and what to try.
func (p *Sheet) event(e report.Event) {
	p.hang(p.severity(e.Severity), 6, report.Printable(e.Story))
	text := e.Cause + ", " + e.Confidence + "."
	if e.Try != "" {
		text += " Try: " + report.Printable(e.Try)
	}
	p.hang("", 6, text)
}

// why is what speaks for an event's cause and against it, what would look the
// same, when it happened, and where the rule comes from.
func (p *Sheet) why(e report.Event) {
	const (
		indent = 16
		most   = 12 // times; the findings below tell each
	)
	tell := func(word string, sentences []string) {
		for _, s := range sentences {
			p.hang("      "+word, indent, report.Printable(s))
		}
	}
	tell("seen", e.Evidence)
	tell("but", e.Against)
	if len(e.Instead) > 0 {
		tell("or it is", []string{strings.Join(e.Instead, "; ")})
	}
	var times []string
	for _, t := range e.Times[:min(len(e.Times), most)] {
		times = append(times, moment(t[0], t[1]))
	}
	more := ""
	if n := e.Count - int64(len(times)); n > 0 {
		more = " and " + strconv.FormatInt(n, 10) + " more up to " + moment(e.End, e.End)
	}
	tell("at", []string{strings.Join(times, ", ") + more})
	if e.Source != "" {
		tell("rule", []string{e.Source})
	}
}

// moment is an instant or a stretch, in seconds.
func moment(start, end report.Seconds) string {
	if from, to := start.Decimals(3), end.Decimals(3); from != to {
		return from + ".." + to + " s"
	}
	return start.Decimals(3) + " s"
}

// judged lists the judged channels, the slots of a stream after it.
func judged(c *report.Capture) []*report.Channel {
	var rows []*report.Channel
	for _, ch := range c.Channels {
		if ch.Judged {
			rows = append(append(rows, ch), ch.Slots...)
		}
	}
	return rows
}

// channels is a table of the judged channels; on a narrow screen it leaves out
// columns, and at last each channel is a sentence.
func (p *Sheet) channels(rows []*report.Channel) {
	for _, without := range [][]string{nil, {"signal"}, {"signal", "frames"}} {
		var cols []column
		for _, c := range channelColumns(p, rows) {
			if !slices.Contains(without, c.head) {
				cols = append(cols, c)
			}
		}
		if set := p.ledger(cols); p.fits(set) {
			p.Line(set)
			return
		}
	}
	for _, ch := range rows {
		p.hang(ch.Shown()+" ", 2, fmt.Sprintf("%s: width %s, period %s, jitter %s, %d dropped, %s, %s", p.verdict(ch.Verdict),
			in("us", span(ch.Width)), in("ms", period(ch.Period)), in("us", jitter(ch.Jitter)), ch.Dropped, phrase.Count(ch.Glitches, "glitch"), phrase.Count(ch.Losses, "loss")))
	}
	p.blank()
}

// in puts the unit behind what a cell has, unless that is a word.
func in(unit, cell string) string {
	switch {
	case cell == "-":
		return "not known"
	case strings.ContainsAny(cell, "0123456789"):
		return cell + " " + unit
	}
	return cell
}

func channelColumns(p *Sheet, rows []*report.Channel) []column {
	number := func(n int64) string { return strconv.FormatInt(n, 10) }
	cells := func(head string, right bool, of func(*report.Channel) string) column {
		c := column{head: head, right: right}
		for _, ch := range rows {
			c.cells = append(c.cells, of(ch))
		}
		return c
	}
	cols := []column{
		cells("channel", false, (*report.Channel).Shown),
		cells("signal", false, func(c *report.Channel) string { return c.Signal }),
		cells("frames", true, func(c *report.Channel) string { return number(c.Frames) }),
		cells("width us", true, func(c *report.Channel) string { return span(c.Width) }),
		cells("period ms", true, func(c *report.Channel) string { return period(c.Period) }),
		cells("jitter us", true, func(c *report.Channel) string { return jitter(c.Jitter) }),
		cells("drop", true, func(c *report.Channel) string { return number(c.Dropped) }),
		cells("glitch", true, func(c *report.Channel) string { return number(c.Glitches) }),
		cells("loss", true, func(c *report.Channel) string { return number(c.Losses) }),
		cells("verdict", false, func(c *report.Channel) string { return p.verdict(c.Verdict) }),
	}
	if !slices.ContainsFunc(rows, func(c *report.Channel) bool { return c.Signal != string(decode.Servo) }) {
		cols = slices.Delete(cols, 1, 2)
	}
	return cols
}

// beside names the channels that were not judged, and how to have them judged.
func (p *Sheet) beside(c *report.Capture) {
	const most = 8
	var names []string
	example, more := "", 0
	for _, ch := range c.Channels {
		if ch.Judged {
			continue
		}
		if len(names) == most {
			more++
			continue
		}
		names = append(names, ch.Shown()+" "+aside(ch))
		if example == "" {
			example = ch.Argument()
		}
	}
	if len(names) == 0 {
		return
	}
	list := strings.Join(names, ", ")
	if more > 0 {
		list += fmt.Sprintf(" and %d more", more)
	}
	p.blank()
	p.Text("Not judged: " + list + ". To judge one, name it: --channel " + example)
}

// aside is the kind of a channel that is not judged, in a word or two.
func aside(c *report.Channel) string {
	if c.Signal == string(decode.Silent) && c.Level != "" {
		return "(silent, " + string(c.Level) + ")"
	}
	return "(" + c.Signal + ")"
}

// notes are what the reader assumed or left out.
func (p *Sheet) notes(all []report.Note, most int) {
	notes := once(all)
	for i, note := range notes {
		if i == most {
			p.Text(fmt.Sprintf("and %s more: --full", phrase.Count(int64(len(notes)-i), "note")))
			return
		}
		p.hang("note", 6, report.Printable(note))
	}
}

// once takes together the notes that say the same of several channels: "rudder:
// ..." and "winch: ..." are "rudder and winch: ...".
func once(notes []report.Note) (all []string) {
	names := map[string][]string{}
	for _, n := range notes {
		if n.Channel != "" {
			names[n.Text] = append(names[n.Text], n.Channel)
		}
	}
	for _, n := range notes {
		switch same := names[n.Text]; {
		case n.Channel == "":
			all = append(all, n.Text)
		case n.Channel == same[0]:
			all = append(all, phrase.And(same)+": "+n.Text)
		}
	}
	return all
}
