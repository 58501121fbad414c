package decode

import (
	"cmp"

	"golang.org/x/exp/slices"
)

const (
	minPulses    = 5 // make a servo channel of one nobody named
	servoSeconds = 2 // make a servo channel, whatever else it carried
)

// identify names the kind of a channel whose pulses p makes.
func (r *Recording) identify(a *Analysis, w *channelState, p *pulser) *ChannelAnalysis {
	ca := newChannelAnalysis(w.name, w)
	if w.edges == 0 {
		if w.named || w.stated.Signal == Servo || w.stated.Signal == PulsePosition {
			ca.LossCount, ca.LostTime = 1, r.end-r.start // a loss over the whole capture
		}
		return ca
	}
	asked := w.named || w.stated.Signal == Servo
	ca.Signal = r.kind(w, p, asked)
	ca.OtherKinds = w.otherKinds(ca.Signal)
	switch ca.Signal {
	case Servo:
		ca.Active = p.active
		ca.channel = &channel{ChannelAnalysis: ca, rec: r, pulses: &p.train, pulser: p, step: r.resolution}
		return ca
	case PulsePosition:
		ca.Active = w.marked
		r.splitStream(a, ca, w)
		return ca
	case Serial:
		ca.BitTime = quantile(slices.Clone(w.bits), 0.5) / float64(Microsecond)
		return ca
	case Duty:
		ca.RateHz = float64(Second) / quantile(slices.Clone(w.rates), 0.5)
		ca.DutyLow, ca.DutyHigh = w.dutyMin, w.dutyMax
	default:
		ca.rejected = w.mostRejected()
	}
	ca.marks = &p.train
	if asked {
		ca.asked = &channel{ChannelAnalysis: ca, rec: r, pulses: &p.train, pulser: p, step: r.resolution}
	}
	return ca
}

// kind is what the channel mostly is; pulses that others vouch for make it
// servo, and a few pulses are a servo's only if that was asked for.
func (r *Recording) kind(w *channelState, p *pulser, asked bool) Signal {
	k := w.mostly()
	if (k == Duty || k == Irregular) && r.driven(w, p) {
		k = Servo
	}
	switch few := p.accepted < minPulses; {
	case k == Servo && few && !asked:
		return Irregular
	case k == Irregular && few && asked:
		return Servo
	}
	return k
}

// mostly returns the kind of most seconds that are not silent, but enough
// seconds of servo pulses make it servo.
func (w *channelState) mostly() Signal {
	if w.servo >= servoSeconds && w.seconds[Echo] < w.servo {
		return Servo
	}
	best := Irregular
	for _, k := range []Signal{Echo, Serial, PulsePosition, Servo, Duty, Irregular} {
		if w.seconds[k] > w.seconds[best] {
			best = k
		}
	}
	return best
}

// partOf are kinds that a channel of some kind may pass through without having
// been anything else.
var partOf = map[Signal][]Signal{Irregular: {Servo}, Echo: {Servo}, Servo: {Irregular, Duty}}

// otherKinds lists what else the channel carried, in order of time.
func (w *channelState) otherKinds(k Signal) []KindSpan {
	var out []KindSpan
	for _, s := range w.spans {
		if s.Signal != k && !slices.Contains(partOf[k], s.Signal) {
			out = append(out, s)
		}
	}
	if k == Servo {
		out = append(out, w.others...)
		slices.SortStableFunc(out, func(a, b KindSpan) int { return cmp.Compare(a.Start, b.Start) })
	}
	return out
}
