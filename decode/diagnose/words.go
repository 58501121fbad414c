package diagnose

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// How stories speak: of channels, of times, of counts.

// who names the channels of a case: "throttle", "throttle and rudder", "all 6
// channels".
func (c *explained) who() string { return c.name(c.lines) }

func (c *explained) name(lines []*line) string {
	pulsing := 0
	for _, l := range c.bench.lines {
		if l.pulsing() {
			pulsing++
		}
	}
	if len(lines) > 2 && len(lines) == pulsing {
		return fmt.Sprintf("all %d channels", pulsing)
	}
	return phrase.And(names(lines))
}

// do is a verb as the channels of a case ask for it: "goes", "go".
func (c *explained) do(one, several string) string {
	if len(c.lines) > 1 {
		return several
	}
	return one
}

// when tells the times: "at 7.3 s", "from 12.2 to 13.1 s", "6 times between 7.3
// and 51.4 s".
func (c *explained) when() string {
	times := c.times()
	first, last := times[0], times[len(times)-1]
	switch brief := !slices.ContainsFunc(times, isLong); {
	case len(times) == 1 && brief:
		return "at " + c.at(first[0])
	case len(times) == 1:
		return "from " + c.digits(first[0]) + " to " + c.at(first[1])
	case len(times) == 2 && brief:
		return "at " + c.digits(first[0]) + " and " + c.at(last[0])
	}
	return fmt.Sprintf("%d times between %s and %s", len(times), c.digits(first[0]), c.at(last[1])) + c.trend()
}

// trend says if something comes more often the longer it lasts, as of what fades,
// warms up or sags. That is so where the mean of its times lies late between the first
// and the last by more than three standard deviations: Laplace's test for a trend.
func (c *explained) trend() string {
	const least, sure = 8, 3.0
	times := c.times()
	n := len(times)
	if n < least {
		return ""
	}
	first, span := times[0][0], float64(times[n-1][0]-times[0][0])
	late := 0.0
	for _, t := range times[1 : n-1] {
		late += float64(t[0]-first)/span - 0.5
	}
	if late*math.Sqrt(12) < sure*math.Sqrt(float64(n-2)) {
		return ""
	}
	return ", more often towards the end"
}

// isLong reports whether a stretch of time has a beginning and an end for a
// person who looks it up.
func isLong(t [2]decode.Time) bool { return t[1]-t[0] > decode.Second/4 }

// spread reports whether there are too many times to tell each.
func (c *explained) spread() bool {
	times := c.times()
	return len(times) > 2 || len(times) == 2 && slices.ContainsFunc(times, isLong)
}

// across tells over which time something is spread that is counted already.
func (c *explained) across() string {
	if !c.spread() {
		return c.when()
	}
	times := c.times()
	return "between " + c.digits(times[0][0]) + " and " + c.at(times[len(times)-1][1]) + c.trend()
}

// occasions is when that happened of which a number was told: another number
// right behind it would multiply it.
func (c *explained) occasions() string {
	if c.spread() {
		return fmt.Sprintf("on %d occasions %s", len(c.times()), c.across())
	}
	return c.when()
}

func (c *explained) at(t decode.Time) string { return c.digits(t) + " s" }

// digits writes an instant as finely as one would look it up.
func (c *explained) digits(t decode.Time) string {
	if c.bench.analysis.End-c.bench.analysis.Start < 10*decode.Second {
		return t.Seconds(2)
	}
	return t.Seconds(1)
}

// lasting writes a duration.
func lasting(d decode.Time) string {
	if d < decode.Second {
		return fmt.Sprintf("%.0f ms", float64(d)/float64(decode.Millisecond))
	}
	return d.Seconds(1) + " s"
}

// millis writes microseconds as milliseconds.
func millis(us float64) string {
	return phrase.Trim(fmt.Sprintf("%.2f", us/1000)) + " ms"
}

// short writes a count.
func short[T int | int64](n T) string { return fmt.Sprint(n) }

// sentence makes a story begin with a capital, unless it begins with a channel's
// name, and end with a full stop.
func sentence(s string) string {
	first, n := utf8.DecodeRuneInString(s)
	for _, opening := range []string{"the ", "while ", "every ", "noise ", "all ", "single ", "one "} {
		if strings.HasPrefix(s, opening) {
			s = string(unicode.ToUpper(first)) + s[n:]
			break
		}
	}
	return s + "."
}

// given returns one piece of evidence if it holds.
func given(holds bool, format string, args ...any) []string {
	if !holds {
		return nil
	}
	return []string{fmt.Sprintf(format, args...)}
}

// joined puts lists of evidence together.
func joined(lists ...[]string) (all []string) {
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}

// kinds names the signals that the lines of a case carry.
func (c *explained) kinds() string {
	var all []string
	for _, l := range c.lines {
		if !slices.Contains(all, string(l.Signal)) {
			all = append(all, string(l.Signal))
		}
	}
	return phrase.And(all)
}

// messages quotes the findings of some kind, equal ones once for all channels
// that have them, the first three of them.
func (c *explained) messages(kind decode.Kind) (all []string) {
	const most = 3
	var texts []string
	on := map[string][]*line{}
	for _, o := range c.observations() {
		if o.kind != kind {
			continue
		}
		text := c.bench.judgement.Findings[o.finding].Message
		if on[text] == nil {
			texts = append(texts, text)
		}
		on[text] = c.bench.inOrder(append(on[text], o.lines...))
	}
	for _, text := range texts[:min(len(texts), most)] {
		if !slices.Equal(on[text], c.lines) {
			text = phrase.And(names(on[text])) + ": " + text
		}
		all = append(all, text)
	}
	if n := len(texts) - most; n > 0 {
		all = append(all, fmt.Sprintf("and %d more of the kind", n))
	}
	return all
}
