package decode

import "math"

// Signal is the kind of signal on a channel.
type Signal string

// Kinds of signal.
const (
	Silent        Signal = "silent"
	Echo          Signal = "echo"
	Serial        Signal = "serial"
	PulsePosition Signal = "pulse-position"
	Servo         Signal = "servo"
	Duty          Signal = "duty"
	Irregular     Signal = "irregular"
)

// Summary describes N durations: the shortest and the longest exactly, the rest
// in microseconds. Percentiles are type 7 of Hyndman and Fan (The American
// Statistician 50, 1996), SD has n - 1. MeanU95 is the half width of the 95 %
// interval of the mean, NaN where there is none.
type Summary struct {
	N        int64
	Min, Max Time
	P01      float64
	Median   float64
	P99      float64
	Mean, SD float64
	MeanU95  float64
}

// Pattern says how frames follow one another.
type Pattern string

// Patterns of frames.
const (
	Steady           Pattern = "steady"
	Alternating      Pattern = "alternating"
	WidthTimed       Pattern = "width-timed"
	IrregularPattern Pattern = "irregular"
)

// Period describes a channel's frame period. Nominal and the interval figures
// are in microseconds; the figures other than Nominal are over the intervals
// within 5 % of the expected one.
type Period struct {
	Nominal   float64
	Pattern   Pattern
	Intervals Summary
	Others    int64     // intervals left out of the figures
	DriftPPM  float64   // slope of the fitted line times the capture's length, over Nominal
	Residual  float64   // sd about that line, microseconds
	Recurring []float64 // up to four recurring intervals, microseconds
	Changes   []PeriodChange
}

// PeriodChange is a change of the frame period; From and To in microseconds.
type PeriodChange struct {
	At       Time
	From, To float64
}

// Jitter holds what the rests and the intervals yield, in microseconds; NaN
// where a figure has too little behind it.
type Jitter struct {
	WidthRMS          float64
	WidthRMSCorrected float64 // NaN where not resolved
	WidthP99          float64 // NaN under 100 pulses
	WidthPP           float64
	WidthLargest      float64 // largest distance from the mean of a rest in which the width scatters
	WidthN            int64   // pulses pooled
	Resolved          bool
	PeriodRMS         float64
	CycleToCycleRMS   float64
	WidthRMSLow95     float64 // 95 % interval of WidthRMS, NaN where none
	WidthRMSHigh95    float64
}

// Rest is a stretch in which the width does not move.
type Rest struct {
	Start, End Time
	Frames     int64
	Width      float64 // mean, microseconds
	RMS        float64 // microseconds, n - 1
}

// KindSpan is a stretch in which a channel carried another kind of signal.
type KindSpan struct {
	Signal     Signal
	Start, End Time
}

// ChannelAnalysis is what was measured on one channel.
type ChannelAnalysis struct {
	Name    string
	Named   bool
	Witness bool // neither judged nor shown, see [Channel]
	Stated  Stated
	Signal  Signal
	Active  Level // High or Low; Unknown where silent
	Level   Level // the level a silent channel holds

	Totals
	Width      *Summary // nil where nothing was accepted, likewise the next two
	Period     *Period
	Jitter     *Jitter
	Rests      []Rest
	OtherKinds []KindSpan
	Slots      []*ChannelAnalysis // of a pulse-position stream

	InFrame
	OtherSignal
	trains
}

// Totals count what came over one channel.
type Totals struct {
	PulseCount, FrameCount, DroppedCount, GlitchCount, LossCount int64
	LostTime                                                     Time
}

// InFrame is a channel's seat in the frame of its receiver.
type InFrame struct {
	// Place is counted from 1, and Offset is how long after the first channel its
	// pulse begins (median, microseconds). 0 and NaN where no other channel keeps
	// the same period.
	Place  int
	Offset float64
	// Follows names the channel whose pulse ends where this one's begins; ""
	// where there is none.
	Follows string
}

// OtherSignal describes a signal that is not a receiver's: rate and range of the
// share of a duty signal, the bit time of a serial one in microseconds; NaN
// elsewhere.
type OtherSignal struct {
	RateHz, DutyLow, DutyHigh, BitTime float64
}

// newChannelAnalysis is that of a channel of which nothing is measured yet.
func newChannelAnalysis(name string, w *channelState) *ChannelAnalysis {
	nan := math.NaN()
	return &ChannelAnalysis{Name: name, Named: w.named, Witness: w.witness, Stated: w.stated, Signal: Silent, Level: w.level,
		InFrame: InFrame{Offset: nan}, OtherSignal: OtherSignal{nan, nan, nan, nan}}
}

// trains are what the figures of a channel come from.
type trains struct {
	channel *channel // nil where nothing was decoded
	asked   *channel // pulses of a channel that was named and is something else
	marks   *train   // of a line that nobody asked for and that is no signal of a receiver
	// rejected are the short marks on a line that is not judged; nil elsewhere.
	rejected *train
	// keepsTimeWith names the servo channel whose frames the edges of a line
	// follow that is none itself; "" where there is none.
	keepsTimeWith string
}

// Analysis is what was measured in one capture.
type Analysis struct {
	Start, End Time
	Resolution float64 // microseconds; NaN where unknown
	Origin     Origin
	Notes      []Remark // warnings of the source first
	Channels   []*ChannelAnalysis

	holds []Hold
}
