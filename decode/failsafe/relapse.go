package failsafe

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// came is the instant at which the channel had left where it was and shown a safe
// state; the end where it never did.
func (t *trial) came() decode.Time {
	safe, last := 0, t.off
	for _, p := range t.between(t.off, t.end) {
		if t.maySilence() && p.Start-last > t.LossAfter() {
			return p.Start
		}
		last = p.Start
		if !t.safeAt(width(p)) || math.Abs(width(p)-t.before) <= t.near {
			safe = 0
		} else if safe++; safe >= leastBeyond {
			return p.Start
		}
	}
	return t.end
}

// kicks lists the runs of pulses for which a channel that had come to a safe
// state was somewhere else again, however near to where it came from.
func (t *trial) kicks() (runs [][]decode.Pulse) {
	var run []decode.Pulse
	end := func() {
		if len(run) >= leastBeyond {
			runs = append(runs, run)
		}
		run = nil
	}
	for _, p := range t.between(t.came(), t.end) {
		if t.safeAt(width(p)) {
			end()
		} else {
			run = append(run, p)
		}
	}
	end()
	return runs
}

// gaps lists the silent states in which a channel that had come to a safe width
// stopped for a while.
func (t *trial) gaps() (gaps []State) {
	came := t.came()
	for _, s := range t.states {
		if s.Kind == Silent && s.Start > came && !t.maySilence() {
			gaps = append(gaps, s)
		}
	}
	return gaps
}

// instead is another signal that a channel carries where it stopped pulsing; nil
// where the line is still.
func (t *trial) instead() *decode.KindSpan {
	i := slices.IndexFunc(t.wire.OtherKinds, func(k decode.KindSpan) bool { return k.Start < t.end && k.End > t.settled })
	if t.outcome != Stops || i < 0 {
		return nil
	}
	return &t.wire.OtherKinds[i]
}

// stuck is the first mark for which the line is held at its active level for as
// long as a loss, instead of pulsing; nil where there is none.
func (t *trial) stuck() *decode.Event {
	for e := range t.wire.StuckMarks() {
		if e.End > t.off && e.Start < t.end && e.End-e.Start >= t.LossAfter() {
			return &e
		}
	}
	return nil
}

// safeAt says whether a width is as good as the final one, or as a safe one.
func (t *trial) safeAt(us float64) bool {
	return math.Abs(us-t.final) <= safeWithin || slices.ContainsFunc(t.safe, func(s Safe) bool { return math.Abs(us-s.Width) <= safeWithin })
}

func (t *trial) maySilence() bool {
	return slices.ContainsFunc(t.safe, func(s Safe) bool { return s.Stop })
}

// kicked says how often a safe state was left, since when, and how far.
func (t *trial) kicked() string {
	runs := t.kicks()
	var all []decode.Pulse
	for _, run := range runs {
		all = append(all, run...)
	}
	r, first := reach(all), runs[0][0].Start
	left := "leaves it"
	if first < t.settled {
		left = "had been safe before and left that"
	}
	return fmt.Sprintf("%s, but %s %s %s s, with pulses of %.0f to %.0f us", t.told(), left, again(len(runs)), first.Seconds(2), r[0], r[1])
}

func again(n int) string {
	if n == 1 {
		return "again at"
	}
	return fmt.Sprintf("%d times again, first at", n)
}
