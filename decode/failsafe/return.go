package failsafe

import (
	"math"

	"widthwise/decode"
)

const (
	regularFrames = 10                // that end the start-up
	afterLive     = 1 * decode.Second // of the widths told once the channel is live
)

// back tells what the channel does from switch-on to the end of the capture.
func (t *trial) back(on, end decode.Time) *Return {
	pulses := t.between(on, end+1)
	r := &Return{Jump: none, Excursion: [2]float64{none, none}}
	if len(pulses) == 0 {
		return r
	}
	r.FirstPulse = &pulses[0].Start
	live := t.live(pulses)
	if live < 0 {
		r.Excursion = reach(pulses)
		return r
	}
	after := pulses[live].Start - on
	r.LiveAfter = &after
	if t.silent() {
		r.StartUpPulses = t.startUp(pulses)
	} else {
		r.Jump = width(pulses[live]) - t.ending()
	}
	r.Excursion = reach(t.between(on, pulses[live].Start+afterLive))
	return r
}

// silent says whether the channel did not pulse when the transmitter came back.
func (t *trial) silent() bool {
	n := len(t.states)
	return n > 0 && t.states[n-1].Kind == Silent
}

// live is the first pulse that no longer is what the channel did while the
// transmitter was off; -1 where there is none, or where it moved all along. After
// silence every pulse is.
func (t *trial) live(pulses []decode.Pulse) int {
	if t.silent() {
		return 0
	}
	if t.outcome == Drifts {
		return -1
	}
	for i, p := range pulses {
		if math.Abs(width(p)-t.ending()) > t.near {
			return i
		}
	}
	return -1
}

// startUp counts the pulses before ten regular frames.
func (t *trial) startUp(pulses []decode.Pulse) int {
	regular := 0
	for i := 1; i < len(pulses); i++ {
		off := pulses[i].Start - pulses[i-1].Start - t.period
		if regular++; max(off, -off) > t.period/20 {
			regular = 0
		}
		if regular == regularFrames {
			return i - regularFrames
		}
	}
	return len(pulses)
}
