// Package failsafe tells what the channels of a receiver do when the
// transmitter is switched off: stop, go to a preset, hold or drift, how fast,
// and whether that is safe for what hangs on them. It reads an analysis of
// package decode. It never passes what it cannot know: a receiver that holds
// its last value looks safe as long as the stick happens to rest at a safe
// place.
package failsafe

import (
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// Question is what is known of the trial before it is looked at.
type Question struct {
	Off, On *decode.Time // when the transmitter was switched off and on, as stated
	// Mark lists the edges of a spare channel that marks both; see [Watch].
	Mark []decode.Time
	// Marked is set where a channel was to mark the switch, with or without edges.
	Marked bool
	Safe   map[string][]Safe // by channel: any of them is safe
	Idle   *[2]decode.Time   // a stretch in which every channel rests where it is safe
	Within decode.Time       // the longest it may take; 0: any time

	firstOff, nextOff *decode.Time // of the other trials that the mark tells of
}

// maxTrials is how many trials a mark can tell of. What changes more often is
// noise, or no mark.
const maxTrials = 32

// Trials parts a question by its mark: two changes within the capture are one
// trial, and what comes before the next is its return.
func (q Question) Trials(a *decode.Analysis) []Question {
	marks := q.marks(a)
	n := (len(marks) + 1) / 2
	if q.Off != nil || q.On != nil || n < 2 || n > maxTrials {
		return []Question{q}
	}
	all := make([]Question, n)
	for i := range all {
		all[i] = q
		all[i].Mark = marks[2*i : min(2*i+2, len(marks))]
		all[i].firstOff = &marks[0]
		if i+1 < n {
			all[i].nextOff = &marks[2*i+2]
		}
	}
	return all
}

func (q Question) marks(a *decode.Analysis) []decode.Time {
	return slices.DeleteFunc(slices.Clone(q.Mark), func(t decode.Time) bool { return t < a.Start || t > a.End })
}

// From says where a time or a safe state comes from.
type From string

// Sources.
const (
	Flag     From = "flag"
	Mark     From = "mark"
	Inferred From = "inferred"
	Idle     From = "idle"
)

// Safe is a state a channel may end in: a width in microseconds, or no pulses.
type Safe struct {
	From  From
	Width float64 // NaN with Stop
	Stop  bool
}

// Outcome is what a channel does with the transmitter off; "" where there was
// too little to tell.
type Outcome string

// Outcomes.
const (
	Stops  Outcome = "stops"
	Preset Outcome = "preset"
	Holds  Outcome = "holds"
	Drifts Outcome = "drifts"
)

// Kinds of remark on a trial.
const (
	MarkStill     decode.RemarkKind = "mark-still"      // the channel that marks the switch never changes
	MarkBusy      decode.RemarkKind = "mark-busy"       // it changes more often than off and on
	OffInferred   decode.RemarkKind = "off-inferred"    // nobody states when the transmitter was switched off
	OffDoubtful   decode.RemarkKind = "off-doubtful"    // channels change together shortly before it is said to be
	RunDownUnseen decode.RemarkKind = "run-down-unseen" // how long the machine runs on
	PresetAtLow   decode.RemarkKind = "preset-at-low"   // a preset that looks like a stick at low
)

// Answer is what a capture shows of a trial.
type Answer struct {
	Off, On         *decode.Time
	OffFrom, OnFrom From
	Verdict         decode.Outcome
	Channels        []Channel
	Notes           []decode.Remark
}

// Channel is what one channel does. Widths are in microseconds, NaN where there
// are none.
type Channel struct {
	*decode.ChannelAnalysis
	Verdict       decode.Outcome
	Outcome       Outcome
	Before, Final float64
	SettledAfter  *decode.Time // from switch-off; nil where nothing settled
	Excursion     [2]float64   // smallest and largest width after the switch
	States        []State
	Safe          []Safe
	Reason        string
	Return        *Return // nil without a switch-on
}

// Return is what a channel does once the transmitter is back.
type Return struct {
	FirstPulse    *decode.Time // an instant of the capture
	Jump          float64      // microseconds; NaN after silence
	StartUpPulses int          // before the first regular frames
	Excursion     [2]float64
	LiveAfter     *decode.Time // from switch-on until it leaves what it did while off
}

// Examine answers the question for the channels given.
func Examine(a *decode.Analysis, channels []*decode.ChannelAnalysis, q Question) *Answer {
	out := &Answer{Verdict: decode.Undecided}
	lines := make([]*line, len(channels))
	for i, c := range channels {
		lines[i] = newLine(c, a)
	}
	out.times(a, lines, q)
	end := a.End
	if q.nextOff != nil {
		end = *q.nextOff
	}
	for _, l := range lines {
		out.Channels = append(out.Channels, l.answer(end, out, q))
	}
	out.conclude(len(q.marks(a)) > 2*maxTrials)
	return out
}

// times finds when the transmitter was switched: as stated, as marked, or
// inferred.
func (o *Answer) times(a *decode.Analysis, lines []*line, q Question) {
	marks := q.marks(a)
	switch {
	case q.Off != nil:
		o.Off, o.OffFrom = q.Off, Flag
		if t, ok := infer(lines); ok && t < *q.Off && *q.Off-t <= latestStated {
			o.note(OffDoubtful, "", "channels change together at %s s, before the switch-off that is stated: is its time right?", t.Seconds(3))
		}
	case len(marks) > 0:
		o.Off, o.OffFrom = &marks[0], Mark
	case q.Marked:
		o.note(MarkStill, "", "the mark never changes its level: no switch-off is marked")
	default:
		if t, ok := infer(lines); ok {
			o.Off, o.OffFrom = &t, Inferred
			o.note(OffInferred, "", "the switch-off is inferred from channels that change together: it can fail a channel and never pass it; option off-at or option off-mark states it")
		}
	}
	switch {
	case o.Off == nil:
	case q.On != nil:
		o.On, o.OnFrom = q.On, Flag
	case o.OffFrom == Mark && len(marks) > 1:
		o.On, o.OnFrom = &marks[1], Mark
	}
	if len(marks) > 2 {
		next := marks[1] + (marks[2]-marks[1])/2
		o.note(MarkBusy, "", "the mark changes more than twice: only the trial between its first two changes is told; option from %ss tells the next", next.Seconds(1))
	}
}

func (o *Answer) note(kind decode.RemarkKind, channel, format string, args ...any) {
	o.Notes = append(o.Notes, decode.Remarkf(kind, channel, format, args...))
}

// conclude takes the channels together: a failure fails all, then one undecided
// leaves all undecided, as does a mark that is none.
func (o *Answer) conclude(noMark bool) {
	o.note(RunDownUnseen, "", "how long the machine takes to come to rest is not measured here: time it with the machine restrained")
	has := func(v decode.Outcome) bool {
		return slices.ContainsFunc(o.Channels, func(c Channel) bool { return c.Verdict == v })
	}
	switch {
	case len(o.Channels) == 0, o.Off == nil:
	case has(decode.Failed):
		o.Verdict = decode.Failed
	case !has(decode.Undecided) && !noMark:
		o.Verdict = decode.Passed
	}
}

var none = math.NaN()
