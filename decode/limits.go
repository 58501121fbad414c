package decode

// Stated is what the user states about a channel before it is measured. It is
// stated once, to [Decode], and carried on. The zero value states nothing.
type Stated struct {
	Period      Time   // frame period; 0: find it
	LossAfter   Time   // a gap longer than this is a loss; 0: the larger of 110 ms and 3.5 periods
	GlitchBelow Time   // a pulse shorter than this is a glitch; 0: 300 us
	Signal      Signal // a judged channel must be this; "": servo or pulse-position
	Active      Level  // polarity; Unknown: find it. An inverted channel is then told nothing about
}

// PerChannel holds a value for every channel and those that differ by name.
type PerChannel[T any] struct {
	Default T
	Channel map[string]T
}

// For returns the value that holds for the named channel.
func (p PerChannel[T]) For(name string) T {
	if v, ok := p.Channel[name]; ok {
		return v
	}
	return p.Default
}

// Limits are the thresholds findings are judged by. Widths and jitter are in
// microseconds. A zero limit judges nothing. Start from [DefaultLimits].
type Limits struct {
	WidthWarn          [2]float64 // warn outside; usual {885, 2115}: a published flight firmware treats a channel outside as lost
	WidthFail          [2]float64 // fail outside; usual {800, 2200}: a published autopilot calls input outside invalid
	WidthJitterWarn    float64    // 99th percentile about the mean; usual 8
	WidthJitterFail    float64    // usual 20
	PeriodWarnPercent  float64    // of the mean against the stated period; usual 1
	PeriodFailPercent  float64    // usual 3
	FrameWarnPercent   float64    // single frame against its expectation; usual 5
	PeriodJitterWarn   float64    // microseconds; usual none
	DroppedFailPercent float64    // usual 1
	GlitchFailPercent  float64    // usual 1
	MinFrames          int64      // fewer cannot pass; usual 50
	// WidthStated is set where the user set the width limits, which then hold
	// for narrow pulses too.
	WidthStated bool
}

// DefaultLimits are the limits used where the user states none. Sources: of the
// widths to warn at Betaflight src/main/rx/rx.c, to fail at ArduPilot
// RC_Channel.h; the rest is common practice, no source.
var DefaultLimits = Limits{
	WidthWarn: [2]float64{885, 2115}, WidthFail: [2]float64{800, 2200},
	WidthJitterWarn: 8, WidthJitterFail: 20,
	PeriodWarnPercent: 1, PeriodFailPercent: 3, FrameWarnPercent: 5,
	DroppedFailPercent: 1, GlitchFailPercent: 1,
	MinFrames: 50,
}
