package calibrate

import (
	"iter"
	"math"

	"widthwise/decode"
)

// Mapping is how a firmware makes commands of widths.
type Mapping struct {
	Full     int64 // the largest command; at least 1
	FromEdge bool  // commands begin at the edge of the deadband, without a jump there
}

// Widths outside are no pulse to a firmware: the limits of a published autopilot
// (ArduPilot RC_Channel.h), and those that narrow pulses fail at.
const (
	shortestPulse  = 800 * decode.Microsecond
	longestPulse   = 2200 * decode.Microsecond
	shortestNarrow = 400 * decode.Microsecond
	longestNarrow  = 1120 * decode.Microsecond
)

// isPulse reports whether a firmware takes a width for a pulse: a narrow one where
// the high end is one.
func (k Constants) isPulse(width decode.Time) bool {
	if k.High*float64(decode.Microsecond) <= float64(longestNarrow) {
		return width >= shortestNarrow && width <= longestNarrow
	}
	return width >= shortestPulse && width <= longestPulse
}

// Command is what a firmware commands from an instant on.
type Command struct {
	decode.Pulse       // the pulse it follows from; of a stop only Start counts
	Value        int64 // -Full to Full
	Stop         bool  // there was no pulse for the loss time
	Ignored      bool  // the pulse counts as none; Value is what it was
	AfterStop    bool  // the first after a stop, or of the capture
}

// Proof is what the constants would have done on the capture.
type Proof struct {
	Full                    int64
	IdleFrames, IdleNotZero int
	ReachesLow, ReachesHigh bool
	LargestJump             int64 // between consecutive frames, none across a loss
	StartUpNotZero          int
	StopsOnLoss             int
	JumpAtLoss              int64 // the largest command that a stop ended
	JumpAfterLoss           int64 // the largest that the first pulse after one brought back
}

// Complete reports whether there are constants enough to map by: both ends, and
// with a neutral its deadband.
func (k Constants) Complete() bool {
	return !math.IsNaN(k.Low) && !math.IsNaN(k.High) && (math.IsNaN(k.Neutral) || !math.IsNaN(k.Deadband))
}

// Command maps one width: 0 within the deadband of neutral, else linear from
// neutral to the end pulled in by its margin, clipped, rounded half away from
// zero. Without a neutral low gives 0 and high gives full.
func (k Constants) Command(width decode.Time, m Mapping) int64 {
	low, high := picos(k.Low+margin(k)), picos(k.High-margin(k))
	if math.IsNaN(k.Neutral) {
		if k.Reversed {
			return clip(portion(high-width, high-low, m.Full), 0, m.Full)
		}
		return clip(portion(width-low, high-low, m.Full), 0, m.Full)
	}
	neutral, dead := picos(k.Neutral), decode.Time(0)
	if !math.IsNaN(k.Deadband) {
		dead = picos(k.Deadband)
	}
	way, end, sign := width-neutral, high-neutral, int64(1)
	if way < 0 {
		way, end, sign = -way, neutral-low, -1
	}
	if way <= dead {
		return 0
	}
	if m.FromEdge {
		way, end = way-dead, end-dead
	}
	if k.Reversed {
		sign = -sign
	}
	return sign * clip(portion(way, end, m.Full), 0, m.Full)
}

func margin(k Constants) float64 {
	if math.IsNaN(k.EndMargin) {
		return 0
	}
	return k.EndMargin
}

func picos(us float64) decode.Time {
	return decode.Time(math.Round(us * float64(decode.Microsecond)))
}

// portion is full x way / end, rounded half away from zero; all of it where
// nothing is left of the way.
func portion(way, end decode.Time, full int64) int64 {
	if end <= 0 {
		if way > 0 {
			return full
		}
		return 0
	}
	n := int64(min(max(way, -end), end)) * 2 * full
	if n < 0 {
		return -((-n + int64(end)) / (2 * int64(end)))
	}
	return (n + int64(end)) / (2 * int64(end))
}

func clip(v, low, high int64) int64 { return min(max(v, low), high) }

// Replay yields what a firmware with these constants would have commanded, pulse
// by pulse, with a stop wherever the loss time passes without one.
func (k Constants) Replay(pulses iter.Seq[decode.Pulse], end decode.Time, m Mapping) iter.Seq[Command] {
	return func(yield func(Command) bool) {
		var last decode.Time
		value, alive := int64(0), false
		for p := range pulses {
			if alive && p.Start-last > k.LossAfter {
				alive, value = false, 0
				if !yield(Command{Pulse: decode.Pulse{Start: last + k.LossAfter}, Stop: true}) {
					return
				}
			}
			c := Command{Pulse: p, Value: value, Ignored: !k.isPulse(p.Width)}
			if !c.Ignored {
				c.Value, c.AfterStop = k.Command(p.Width, m), !alive
				last, value, alive = p.Start, c.Value, true
			}
			if !yield(c) {
				return
			}
		}
		if alive && end-last > k.LossAfter {
			yield(Command{Pulse: decode.Pulse{Start: last + k.LossAfter}, Stop: true})
		}
	}
}

// Prove replays a channel and counts what would have gone wrong.
func (c *Channel) Prove(k Constants, end decode.Time, m Mapping) Proof {
	p := Proof{Full: m.Full}
	lowest, highest := int64(math.MaxInt64), int64(math.MinInt64)
	var last int64
	lost := false
	for cmd := range k.Replay(c.Analysis.Pulses(), end, m) {
		switch {
		case cmd.Stop:
			p.StopsOnLoss++
			p.JumpAtLoss, lost = max(p.JumpAtLoss, last, -last), true
			continue
		case cmd.Ignored:
			continue
		case !cmd.AfterStop:
			p.LargestJump = max(p.LargestJump, cmd.Value-last, last-cmd.Value)
		case lost:
			p.JumpAfterLoss = max(p.JumpAfterLoss, cmd.Value, -cmd.Value)
		}
		if cmd.StartUp && cmd.Value != 0 {
			p.StartUpNotZero++
		}
		last = cmd.Value
		lowest, highest = min(lowest, cmd.Value), max(highest, cmd.Value)
	}
	bottom := -m.Full
	if math.IsNaN(k.Neutral) {
		bottom = 0
	}
	p.ReachesLow, p.ReachesHigh = lowest <= bottom, highest >= m.Full
	if k.Reversed {
		p.ReachesLow, p.ReachesHigh = p.ReachesHigh, p.ReachesLow
	}
	p.IdleFrames, p.IdleNotZero = c.idle(k, m)
	return p
}

// idle counts the frames of neutral's visits, and those that command something.
func (c *Channel) idle(k Constants, m Mapping) (frames, notZero int) {
	if c.Places.Neutral == nil {
		return 0, 0
	}
	for _, v := range c.Places.Neutral.Visits {
		for w := range c.Places.Widths(v) {
			frames++
			if k.Command(picos(w), m) != 0 {
				notZero++
			}
		}
	}
	return frames, notZero
}
