package decode

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
	SharedLoss       Kind = "shared-loss"
	EdgeChatter      Kind = "edge-chatter"
	UnknownLevel     Kind = "unknown-level"
	CoarseSampling   Kind = "coarse-sampling"
	FewFrames        Kind = "few-frames"
	StartUp          Kind = "start-up"
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

// Cause is a likely cause with what speaks for it and what to try next.
type Cause struct {
	Cause    string
	Evidence []string
	Try      string
}

// ChannelJudgement is the outcome for one channel, in the order of
// [Analysis.Channels].
type ChannelJudgement struct {
	Judged  bool
	Outcome Outcome
	Causes  []Cause
	Slots   []ChannelJudgement // of a pulse-position stream, in the order of [ChannelAnalysis.Slots]
}

// Judgement is the outcome for one capture. Findings are in order of time,
// within a channel's and the capture's own.
type Judgement struct {
	Outcome  Outcome
	Channels []ChannelJudgement
	Findings []Finding
	Causes   []Cause
}
