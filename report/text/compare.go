package text

import (
	"fmt"
	"io"
	"strings"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// figureWords are how figures are called, with their unit, by their name.
var figureWords = map[string]struct {
	name    string
	divisor report.Number
}{
	"period_us": {"period, ms", 1000}, "neutral_us": {"neutral, us", 1}, "low_us": {"low, us", 1}, "high_us": {"high, us", 1},
	"direction": {"direction", 1}, "width_jitter_rms_us": {"jitter, us rms", 1}, "period_sd_us": {"period sd, us", 1},
	"drops_per_min": {"drops a minute", 1}, "losses_per_min": {"losses a minute", 1}, "place": {"place in the frame", 1},
	"offset_us": {"offset, us", 1}, "pattern": {"pattern", 1}, "step_us": {"transmitter's step, us", 1}, "active": {"active level", 1},
}

// CompareQuiet writes the verdict, both files and the reason, parted by tabs.
func CompareQuiet(w io.Writer, c *report.Compare) error {
	_, err := fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", c.Verdict, report.Printable(c.Before.File), report.Printable(c.After.File), changes(c))
	return err
}

// changes names what decides.
func changes(c *report.Compare) string {
	wanted := map[decode.Outcome]string{decode.Failed: "changed", decode.Undecided: "undecided"}[decode.Outcome(c.Verdict)]
	var parts []string
	for _, p := range c.Pairs {
		var names []string
		for _, f := range p.Figures {
			if f.Judged && f.Verdict == wanted {
				names = append(names, strings.SplitN(figureWords[f.Figure].name, ",", 2)[0])
			}
		}
		if len(names) > 0 {
			parts = append(parts, report.Printable(p.After)+": "+phrase.And(names))
		}
	}
	for _, side := range [][]string{c.Unmatched.Before, c.Unmatched.After} {
		for _, name := range side {
			parts = append(parts, report.Printable(name)+" has no partner")
		}
	}
	switch {
	case wanted == "":
		return "nothing that matters changed"
	case len(parts) == 0:
		return "no channel to compare"
	}
	return strings.Join(parts, "; ")
}

// Compare sets the verdict, the advice, and the figures side by side.
func Compare(p *Sheet, c *report.Compare) {
	p.hang(p.verdict(c.Verdict)+": ", 2, changes(c))
	p.Text(fmt.Sprintf("before: %s, %s seen; after: %s, %s seen",
		report.Printable(c.Before.File), report.Lasting(c.Before.Duration), report.Printable(c.After.File), report.Lasting(c.After.Duration)))
	p.blank()
	for _, a := range c.Advice {
		p.hang("- ", 2, report.Printable(a.Message)+" ("+report.Printable(strings.Join(a.Because, "; "))+")")
	}
	for _, pair := range c.Pairs {
		p.blank()
		p.pair(pair)
	}
	p.blank()
	p.Text("Differences with their 95 % interval, the clocks of both recorders in it. Same says that this capture shows no change that matters, not that the machine is safe: " +
		"try the failsafe again after every change of radio, receiver, memory or trim, propeller off or drive disconnected.")
}

func (p *Sheet) pair(c report.ComparePair) {
	name := report.Printable(c.Before)
	if c.After != c.Before {
		name += " and " + report.Printable(c.After)
	}
	p.hang(p.strong(name)+": ", 2, fmt.Sprintf("%s (matched by %s)", p.verdict(c.Verdict), c.MatchedBy))
	cols := []column{{head: "figure"}, {head: "before", right: true}, {head: "after", right: true}, {head: "difference", right: true}, {}}
	var notes []string
	for _, f := range c.Figures {
		for i, cell := range p.figure(f) {
			cols[i].cells = append(cols[i].cells, cell)
		}
		if more := strings.HasSuffix(f.Figure, "_per_min") && f.Difference > 0; f.Message != "" && (f.Verdict != "same" || more) {
			notes = append(notes, figureWords[f.Figure].name+": "+report.Printable(f.Message))
		}
	}
	if len(c.Figures) > 0 {
		p.Line(p.narrowed(cols))
	}
	for _, n := range notes {
		first, rest, _ := strings.Cut(n, " ")
		p.hang("  "+first+" ", 4, rest)
	}
}

// narrowed sets the table, on a narrow sheet without the difference, or with
// the verdicts alone.
func (p *Sheet) narrowed(cols []column) string {
	set := ""
	for _, keep := range [][]int{{0, 1, 2, 3, 4}, {0, 1, 2, 4}, {0, 4}} {
		var kept []column
		for _, i := range keep {
			kept = append(kept, cols[i])
		}
		set = "  " + strings.ReplaceAll(p.ledger(kept), "\n", "\n  ")
		if p.fits(set) {
			break
		}
	}
	return set
}

// figure is a line of the table: digits as the interval allows.
func (p *Sheet) figure(f report.Figure) [5]string {
	word := figureWords[f.Figure]
	half := (f.High - f.Low) / 2 / word.divisor
	digits := 2
	if !half.Missing() && half > 0 {
		digits = min(decimalsOf(half, 2), 4)
	}
	cell := func(v any) string {
		switch v := v.(type) {
		case report.Number:
			if f.Figure == "place" {
				return report.Fixed(v, 0)
			}
			return report.Fixed(v/word.divisor, digits)
		case report.Word:
			return orNone(v)
		}
		return "-"
	}
	difference := ""
	if !half.Missing() && f.Figure != "place" {
		difference = report.Fixed(f.Difference/word.divisor, digits) + " ± " + report.Fixed(half, digits)
	}
	verdict := f.Verdict
	switch {
	case f.Judged && f.Verdict == "changed":
		verdict = p.ink("fail", "CHANGED")
	case f.Verdict == "changed":
		verdict = p.ink("warn", verdict)
	}
	return [5]string{word.name, cell(f.Before), cell(f.After), difference, verdict}
}
