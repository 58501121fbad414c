package main

import (
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats"
)

// warnings are what is missing of the file, and flags that did nothing to it.
func (c *capture) warnings(o *options) []string {
	out := decode.Texts(c.analysis.Origin.Warnings)
	if o.read.Rate.Num != 0 && !c.rateUsed() {
		out = append(out, "--rate did nothing: the file has times of its own; without the flag they say the same")
	}
	if (o.read.Threshold != nil || o.read.Hysteresis != nil) && !c.holds("analog", "real") {
		out = append(out, "--threshold and --hysteresis did nothing: no channel here is analog; without them the levels are as written")
	}
	return out
}

// rateUsed tells whether a stated sample rate was needed: by a table without
// times, or for the step of one that lists changes only.
func (c *capture) rateUsed() bool {
	return c.header.Format == "csv" && (!c.holds("time") || c.analysis.Origin.ChangesOnly)
}

func (c *capture) holds(kinds ...string) bool {
	return slices.ContainsFunc(c.header.Variables, func(v formats.Variable) bool { return slices.Contains(kinds, v.Kind) })
}

// outside refuses a cut that leaves nothing of a capture.
func (o *options) outside(a *decode.Analysis) error {
	switch {
	case a.End > a.Start:
		return nil
	case o.from != nil:
		return usageError("--from %s: the capture has ended by then; an earlier instant, widthwise inspect tells its span", spelled(*o.from))
	case o.to != nil:
		return usageError("--to %s: the capture begins later; a later instant, widthwise inspect tells its span", spelled(*o.to))
	}
	return nil
}
