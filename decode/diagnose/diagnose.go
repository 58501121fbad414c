// Package diagnose gathers what was found in a capture into events: what a
// person at the bench would see happen, and the one thing that explains it.
package diagnose

import "widthwise/decode"

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
	Story      string           // one sentence: what happened
	Evidence   []string         // what speaks for the cause
	Against    []string         // what speaks against it, or cannot be told
	Try        string           // what to do next
	Instead    []string         // what would look the same
	Findings   []int            // indices into Judgement.Findings
}

// Explain gathers the findings of a judgement into events, fails first.
func Explain(a *decode.Analysis, j *decode.Judgement) []Event { return nil }
