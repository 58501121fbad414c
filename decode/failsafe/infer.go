package failsafe

import (
	"cmp"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// together is how many frames apart channels that change at once may do so.
const together = 2

// sign is a moment at which a channel stops or jumps from one place to another.
type sign struct {
	at   decode.Time
	line int
}

// infer finds the first moment at which two channels stop or jump together and
// after which neither moves like a stick again.
func infer(lines []*line) (decode.Time, bool) {
	var signs []sign
	for i, l := range lines {
		for _, at := range l.signs() {
			signs = append(signs, sign{at, i})
		}
	}
	slices.SortStableFunc(signs, func(a, b sign) int { return cmp.Compare(a.at, b.at) })
	for i, a := range signs {
		for _, b := range signs[i+1:] {
			apart := together * max(lines[a.line].period, lines[b.line].period)
			if b.at-a.at > apart {
				break
			}
			if a.line != b.line {
				return a.at, true
			}
		}
	}
	return 0, false
}

// signs lists the moments after which the channel no longer moves.
func (l *line) signs() []decode.Time {
	if len(l.pulses) == 0 {
		return nil
	}
	end := max(l.pulses[len(l.pulses)-1].Start+1, lossEnd(l.losses))
	var out []decode.Time
	states := l.states(l.pulses[0].Start, end)
	for i, s := range states {
		switch {
		case s.Kind == Moving && len(s.pulses) >= leastMoves:
			out = nil
		case s.Kind == Silent:
			out = append(out, s.Start)
		case i > 0 && states[i-1].Kind == Pulsing && s.Kind == Pulsing && math.Abs(s.Width-states[i-1].Width) > l.near:
			out = append(out, s.Start)
		}
	}
	return out
}

func lossEnd(losses []decode.Event) decode.Time {
	if len(losses) == 0 {
		return math.MinInt64
	}
	return losses[len(losses)-1].End
}
