package decode

import (
	"cmp"
	"fmt"
	"math"

	"golang.org/x/exp/slices"
)

// Severity of a finding.
type Severity string

// Severities, mildest first.
const (
	Note Severity = "note"
	Warn Severity = "warn"
	Fail Severity = "fail"
)

// Outcome of judging a channel or a capture; "" where nothing was judged.
type Outcome string

// Outcomes.
const (
	Passed    Outcome = "pass"
	Failed    Outcome = "fail"
	Undecided Outcome = "undecided"
)

// Kind names what a finding speaks of.
type Kind string

// Kinds of finding.
const (
	WidthOutOfRange  Kind = "width-out-of-range"
	WidthJitter      Kind = "width-jitter"
	WidthSpike       Kind = "width-spike"
	RepeatedWidth    Kind = "repeated-width"
	FrozenWidth      Kind = "frozen-width"
	SharedHold       Kind = "shared-hold"
	SharedLoss       Kind = "shared-loss"
	EdgeChatter      Kind = "edge-chatter"
	UnknownLevel     Kind = "unknown-level"
	CoarseSampling   Kind = "coarse-sampling"
	FewFrames        Kind = "few-frames"
	StartUp          Kind = "start-up"
	StartMoved       Kind = "start-moved"
	PeriodChanged    Kind = "period-changed"
	PeriodOutOfRange Kind = "period-out-of-range"
	PeriodJitter     Kind = "period-jitter"
	DroppedFrame     Kind = "dropped-frame"
	SignalLoss       Kind = "signal-loss"
	Glitch           Kind = "glitch"
	ExtraPulse       Kind = "extra-pulse"
	Inverted         Kind = "inverted"
	UnevenTime       Kind = "uneven-time"
	StuckLevel       Kind = "stuck-level"
	WrongSignal      Kind = "wrong-signal"
)

// Kinds lists every kind of finding.
var Kinds = []Kind{
	WidthOutOfRange, WidthJitter, WidthSpike, RepeatedWidth, SharedHold, FrozenWidth, SharedLoss, EdgeChatter, UnknownLevel,
	CoarseSampling, FewFrames, StartUp, StartMoved, PeriodOutOfRange, PeriodChanged, PeriodJitter, DroppedFrame, SignalLoss, Glitch,
	ExtraPulse, Inverted, UnevenTime, StuckLevel, WrongSignal,
}

// Finding is one thing worth telling. Start and End run from the first to the
// last thing it speaks of. Measured and Limit are in Unit, NaN where there is
// nothing to say.
type Finding struct {
	Kind            Kind
	Severity        Severity
	Channels        []string
	Start, End      Time
	Count           int64
	Measured, Limit float64
	Unit            string
	Message         string
}

// ChannelJudgement is the outcome for one channel, in the order of
// [Analysis.Channels].
type ChannelJudgement struct {
	Judged  bool
	Outcome Outcome
	Slots   []ChannelJudgement // of a pulse-position stream, in the order of [ChannelAnalysis.Slots]

	// The widths that the channel was held to, in microseconds: a warning
	// outside the first, a failure outside the second. Zero where it has none.
	WidthWarn, WidthFail [2]float64
}

// Judgement is the outcome for one capture. Findings are in order of time.
type Judgement struct {
	Outcome  Outcome
	Channels []ChannelJudgement
	Findings []Finding
	Shared   []SharedGap // in order of time
	// Unseen bounds what did not occur instead of denying it: whole sentences.
	Unseen []string

	analysis *Analysis
	touches  map[*channel][]touch
	outside  map[*channel]func(entry) bool // whether a pulse's width is out of range
}

// SharedGap is a gap that several channels have together, and not by chance.
type SharedGap struct {
	Channels   []string
	Start, End Time

	slow bool // they did not begin together
}

// touch is a stretch of time in which a kind of finding speaks of a channel.
type touch struct {
	start, end Time
	kind       Kind
}

// judge is the state of judging one capture.
type judge struct {
	a      *Analysis
	limits PerChannel[Limits]
	out    *Judgement
}

// Judge holds the analysis against limits. A channel that the user named is
// judged as what it is asked to be; otherwise servo and pulse-position channels
// are judged.
func (a *Analysis) Judge(l PerChannel[Limits]) *Judgement {
	j := &judge{a: a, limits: l, out: &Judgement{analysis: a, touches: map[*channel][]touch{}, outside: map[*channel]func(entry) bool{}}}
	for _, ca := range a.Channels {
		j.out.Channels = append(j.out.Channels, j.channel(ca))
	}
	j.across()
	j.holds()
	j.capture()
	slices.SortStableFunc(j.out.Findings, func(a, b Finding) int { return cmp.Compare(a.Start, b.Start) })
	j.conclude()
	j.out.Unseen = j.unseen()
	return j.out
}

// channel judges one channel, slots included.
func (j *judge) channel(ca *ChannelAnalysis) ChannelJudgement {
	l := j.limits.For(ca.Name)
	cj := ChannelJudgement{Judged: ca.Named || ca.Signal == Servo || ca.Signal == PulsePosition}
	if cj.Judged = cj.Judged && !ca.Witness; !cj.Judged {
		return cj
	}
	if wrong, why := wrongSignal(ca); wrong {
		j.find(ca, Finding{Kind: WrongSignal, Severity: Fail, Start: j.a.Start, End: j.a.End, Count: 1, Message: why})
		cj.Slots = make([]ChannelJudgement, len(ca.Slots))
		return cj
	}
	if ca.Signal == Silent {
		j.silent(ca)
		return cj
	}
	if c := ca.channel; c != nil {
		j.train(c, l)
		if !c.stream {
			cj.WidthWarn, cj.WidthFail = c.widthLimits(l)
		}
	}
	for _, s := range ca.Slots {
		j.train(s.channel, l)
		slot := ChannelJudgement{Judged: true}
		slot.WidthWarn, slot.WidthFail = s.channel.widthLimits(l)
		cj.Slots = append(cj.Slots, slot)
	}
	return cj
}

// wrongSignal says whether a channel carries something else than it should.
func wrongSignal(ca *ChannelAnalysis) (bool, string) {
	asked := "servo pulses that were"
	switch {
	case ca.Stated.Signal == "" && (ca.Signal == Servo || ca.Signal == PulsePosition || ca.Signal == Silent):
		return false, ""
	case ca.Stated.Signal == ca.Signal:
		return false, ""
	case ca.Signal == Silent && (ca.Stated.Signal == Servo || ca.Stated.Signal == PulsePosition):
		return false, ""
	case ca.Stated.Signal != "":
		asked = string(ca.Stated.Signal) + " signal that was"
	}
	return true, fmt.Sprintf("carries a signal of kind %s, not the %s asked for", ca.Signal, asked)
}

// silent judges a channel that was asked for and never moved.
func (j *judge) silent(ca *ChannelAnalysis) {
	d := j.a.End - j.a.Start
	j.find(ca, Finding{Kind: SignalLoss, Severity: Fail, Start: j.a.Start, End: j.a.End, Count: 1,
		Measured: millis(d), Limit: math.NaN(), Unit: "ms",
		Message: fmt.Sprintf("no pulse in the whole capture: the level stays %s for %s s", ca.Level, d.Seconds(3))})
}

func (j *judge) find(ca *ChannelAnalysis, f Finding) {
	f.Channels = []string{ca.Name}
	j.out.Findings = append(j.out.Findings, f)
}

// conclude draws the verdicts from the findings.
func (j *judge) conclude() {
	failed := map[string]bool{}
	for _, f := range j.out.Findings {
		if f.Severity == Fail {
			for _, name := range f.Channels {
				failed[name] = true
			}
		}
	}
	any := false
	j.out.Outcome = Passed
	for i, ca := range j.a.Channels {
		cj := &j.out.Channels[i]
		if !cj.Judged {
			continue
		}
		any = true
		cj.Outcome = j.outcome(ca, ca.FrameCount, failed[ca.Name])
		for k, s := range ca.Slots {
			if !cj.Slots[k].Judged {
				continue // another signal was asked for
			}
			cj.Slots[k].Outcome = j.outcome(ca, s.FrameCount, failed[s.Name])
			cj.Outcome = cj.Outcome.With(cj.Slots[k].Outcome)
		}
		j.out.Outcome = j.out.Outcome.With(cj.Outcome)
	}
	timed := slices.ContainsFunc(j.a.Channels, func(ca *ChannelAnalysis) bool {
		return ca.keepsTimeWith != "" && !ca.Named && !ca.Witness
	})
	if !any || timed && j.out.Outcome == Passed {
		j.out.Outcome = Undecided
	}
}

func (j *judge) outcome(ca *ChannelAnalysis, frames int64, failed bool) Outcome {
	switch l := j.limits.For(ca.Name); {
	case failed:
		return Failed
	case (ca.Signal == Servo || ca.Signal == PulsePosition) && frames < l.MinFrames:
		return Undecided
	}
	return Passed
}

// With takes two outcomes together: a failure fails both, then one undecided leaves
// both undecided.
func (o Outcome) With(other Outcome) Outcome {
	for _, worst := range []Outcome{Failed, Undecided, Passed} {
		if o == worst || other == worst {
			return worst
		}
	}
	return ""
}
