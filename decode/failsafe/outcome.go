package failsafe

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// What a machine and its pilot take for the same, and for safe. Common practice,
// no source.
const (
	lowThrottle   = 1300.0 // us; a preset above is none of a throttle at low
	leastHeld     = 25     // frames to the end that make an outcome
	leastRestless = 4      // states in a row, none of them held, that are no way to a place
	safeWithin    = 20.0   // us from a safe width
	leastBeyond   = 3      // frames beyond both widths, or away again, that make a machine twitch
)

// trial is one channel with the transmitter off.
type trial struct {
	*line
	off, end decode.Time
	returned bool // the transmitter was switched on again, and when is known
	offFrom  From
	onFrom   From
	within   decode.Time
	idle     *[2]decode.Time // where it should rest, as stated
	states   []State
	before   float64
	rested   bool // the stick rested when the transmitter was switched off
	outcome  Outcome
	final    float64
	settled  decode.Time // an instant
	safe     []Safe
}

// answer examines one channel up to an end.
func (l *line) answer(end decode.Time, o *Answer, q Question) Channel {
	c := Channel{ChannelAnalysis: l.ChannelAnalysis, Verdict: decode.Undecided, Before: none, Final: none, Excursion: [2]float64{none, none}}
	c.Safe = l.known(q)
	if o.Off == nil {
		c.Reason = "no switch-off is known; option off-at T or option off-mark CHANNEL says when"
		return c
	}
	t := &trial{line: l, off: *o.Off, end: end, offFrom: o.OffFrom, onFrom: o.OnFrom, within: q.Within, idle: q.Idle, before: none, final: none, safe: c.Safe}
	if o.On != nil {
		t.end, t.returned = min(*o.On, end), true
	}
	t.examine()
	c.Before, c.Final, c.Outcome, c.States = t.before, t.final, t.outcome, t.states
	c.Excursion = reach(l.between(t.off, t.end))
	if t.outcome == Stops || t.outcome == Preset {
		d := max(t.settled-t.off, 0)
		c.SettledAfter = &d
	}
	c.Verdict, c.Reason = t.judge()
	if c.Verdict == decode.Passed && o.OffFrom == Inferred {
		c.Verdict, c.Reason = decode.Undecided, "as it should be, but the time of the switch-off is inferred; option off-at T or option off-mark CHANNEL states it"
	}
	if o.On != nil {
		c.Return = t.back(*o.On, end)
	}
	own := t.off
	if q.firstOff != nil {
		own = *q.firstOff // then no preset of an earlier trial is among the stick's widths
	}
	if low, ok := l.lowest(own); ok && t.outcome == Preset && math.Abs(t.final-low) < leastNear && low < min(lowThrottle, t.before-t.near) {
		o.note(PresetAtLow, l.Name, "its preset of %.1f us is less than 10 us from the lowest width at which its stick was held, so firmware cannot tell a lost link from a stick at low", t.final)
	}
	return c
}

// known lists the safe states of the channel: as stated, or where it rests in
// the idle stretch.
func (l *line) known(q Question) []Safe {
	if stated := q.Safe[l.Name]; len(stated) > 0 {
		return stated
	}
	if q.Idle == nil {
		return nil
	}
	states := l.states(q.Idle[0], q.Idle[1])
	switch {
	case len(states) != 1:
		return nil
	case states[0].Kind == Silent:
		return []Safe{{Idle, none, true}}
	case states[0].Kind == Pulsing:
		return []Safe{{Idle, states[0].Width, false}}
	}
	return nil
}

// lowest is the smallest width the channel was held at before an instant.
func (l *line) lowest(until decode.Time) (float64, bool) {
	if len(l.pulses) == 0 {
		return 0, false
	}
	low, ok := math.Inf(1), false
	for _, s := range l.states(l.pulses[0].Start, until) {
		if s.Kind == Pulsing {
			low, ok = min(low, s.Width), true
		}
	}
	return low, ok
}

func (t *trial) examine() {
	t.states = t.line.states(t.off, t.end)
	if !t.lookBefore() {
		return // silent before the switch
	}
	if len(t.states) == 0 {
		return
	}
	s, earlier := t.states[len(t.states)-1], t.states[:len(t.states)-1]
	if s.End < t.end {
		return // the level is not known to the end
	}
	switch s.Kind {
	case Silent:
		t.outcome, t.settled = Stops, s.Start
	case Moving:
		// A few frames at the end, the first that move, may be at a place.
		if len(s.pulses) >= leastAway || restless(t.states) || slices.ContainsFunc(earlier, func(s State) bool { return s.Kind == Moving }) {
			t.outcome = Drifts
		}
	case Pulsing:
		if len(s.pulses) < leastHeld {
			if restless(t.states) {
				t.outcome = Drifts
			}
			return
		}
		t.final, t.settled = level(last(s.pulses, leastHeld), t.near), s.Start
		t.outcome = t.heldOrPreset()
	}
}

// restless says whether the last states are too many to be the beginning of one
// that lasts: a receiver that gives whatever it hears.
func restless(states []State) bool {
	return len(states) >= leastRestless && !slices.ContainsFunc(last(states, leastRestless), func(s State) bool {
		return s.Kind == Silent || len(s.pulses) >= leastHeld
	})
}

// lookBefore finds the width before the switch. It reports whether the channel
// pulsed then.
func (t *trial) lookBefore() bool {
	earlier := t.between(t.off-before, t.off)
	if len(earlier) == 0 || t.off-earlier[len(earlier)-1].Start > t.LossAfter() {
		return false
	}
	final := earlier[len(earlier)-1]
	t.before = width(final)
	was := t.line.states(t.off-before, t.off)
	if n := len(was); n > 0 && was[n-1].Kind == Pulsing {
		rest := was[n-1].pulses
		if t.rested = final.Start-rest[len(rest)-1].Start <= edge*t.period; t.rested {
			t.before = level(last(rest, leastHeld), t.near)
		}
	}
	return true
}

// heldOrPreset tells a place that was kept from one that was gone to.
func (t *trial) heldOrPreset() Outcome {
	if !t.rested && t.passed() {
		return Holds
	}
	stayed := math.Abs(t.final-t.before) <= t.near
	began := t.states[0].pulses
	switch {
	case stayed && !slices.ContainsFunc(t.states, t.away):
		return Holds
	case !stayed && len(t.states) == 1 && t.rested && math.Abs(mean(began[:min(edge, len(began))])-t.before) <= t.near:
		return Drifts // from where it was, without a jump
	}
	return Preset
}

// away says whether a state is another than the place before the switch. What
// interrupts a place for a few frames is none.
func (t *trial) away(s State) bool {
	return s.Kind == Silent || s.Kind == Moving && len(s.pulses) >= leastAway || s.Kind == Pulsing && math.Abs(s.Width-t.before) > t.near
}

// passed reports whether a stick that moved at the switch was near the final
// width within a second of it: it may have come to rest there, its last way
// hidden in one frame.
func (t *trial) passed() bool {
	way := t.between(t.off-before, min(t.off+before, t.settled))
	if len(way) == 0 {
		return false
	}
	fastest := 0.0
	for i := 1; i < len(way); i++ {
		fastest = max(fastest, math.Abs(width(way[i])-width(way[i-1])))
	}
	r, reach := reach(way), t.near+2*fastest
	return t.final >= r[0]-reach && t.final <= r[1]+reach
}

// judge holds the outcome against what is safe. What cannot be known comes
// first: no outcome is worth more than the trial it was seen in.
func (t *trial) judge() (decode.Outcome, string) {
	for _, r := range rules {
		if r.holds(t) {
			return r.verdict, r.reason(t)
		}
	}
	return decode.Passed, t.told() + ", which is safe"
}

// rule is one line of the table of verdicts; the first that holds decides.
type rule struct {
	verdict decode.Outcome
	holds   func(*trial) bool
	reason  func(*trial) string
}

var rules = []rule{
	{decode.Undecided, (*trial).silentBefore, (*trial).sinceWhen},
	{decode.Undecided, (*trial).unclear, (*trial).untilWhen},
	{decode.Undecided, func(t *trial) bool { return len(t.safe) == 0 && t.idle != nil }, func(t *trial) string {
		return fmt.Sprintf("%s; between %s and %s s it does not keep to one place that could be safe; option idle T..T states a stretch in which it does", t.told(), t.idle[0].Seconds(3), t.idle[1].Seconds(3))
	}},
	{decode.Undecided, func(t *trial) bool { return len(t.safe) == 0 }, func(t *trial) string {
		return fmt.Sprintf("%s; whether that is safe depends on the machine: option safe %s=1000us, option safe %s=stop or option idle T..T says", t.told(), t.Name, t.Name)
	}},
	{decode.Undecided, func(t *trial) bool { return !t.returned && t.movedOn() }, says("it moves like a stick after the switch-off: did the transmitter come back? option on-at T says when")},
	{decode.Undecided, (*trial).maybeBack, says("it is where it was before the switch-off, or changes late after it: did the transmitter come back? option on-at T says when, or option to T ends before")},
	{decode.Undecided, func(t *trial) bool { return t.outcome == Holds && !t.rested }, says("the stick moved when the link went and the width stayed near where it was; repeat with the stick at rest away from the safe state")},
	{decode.Undecided, func(t *trial) bool { return t.outcome == Holds && t.isSafe() }, says("the stick rested at the safe width when the link went: holding and presetting look the same; repeat with the stick away from it")},
	{decode.Undecided, func(t *trial) bool { return t.isSafe() && t.onlyFellSilent() }, func(t *trial) string {
		return t.told() + ", only silent in between: a wire or a supply that fails for a while looks the same; repeat with the stick at rest away from the safe state"
	}},
	{decode.Undecided, (*trial).maybeOn, func(t *trial) string {
		return t.told() + ", and was safe before: a transmitter that came back then looks the same; option off-at T or option off-mark CHANNEL states when it was switched off"
	}},
	{decode.Undecided, func(t *trial) bool { return t.ends() && !t.isSafe() && t.maySilence() }, func(t *trial) string {
		return t.told() + "; " + changesOnly
	}},
	{decode.Failed, func(t *trial) bool { return !t.isSafe() }, func(t *trial) string { return t.told() + "; " + t.wanted() }},
	{decode.Failed, func(t *trial) bool { return t.within > 0 && t.settled-t.off > t.within }, func(t *trial) string {
		return fmt.Sprintf("%s, later than the %s s it may take", t.told(), t.within.Seconds(2))
	}},
	{decode.Failed, func(t *trial) bool { return len(t.beyond()) >= leastBeyond }, func(t *trial) string {
		return fmt.Sprintf("%s, but on the way %d pulses of %s lie beyond %s: the machine twitches", t.told(), len(t.beyond()), t.farthest(), t.both())
	}},
	{decode.Undecided, func(t *trial) bool { return !t.returned && len(t.kicks()) > 0 }, func(t *trial) string {
		return t.kicked() + ": did the transmitter come back? option on-at T says when"
	}},
	{decode.Failed, func(t *trial) bool { return len(t.kicks()) > 0 }, func(t *trial) string { return t.kicked() + ": the machine twitches" }},
	{decode.Undecided, func(t *trial) bool { return len(t.gaps()) > 0 }, func(t *trial) string {
		gaps := t.gaps()
		return fmt.Sprintf("%s, but falls silent %s %s s; whether that is safe depends on the machine: option safe %s=stop says", t.told(), again(len(gaps)), gaps[0].Start.Seconds(2), t.Name)
	}},
	{decode.Undecided, func(t *trial) bool { return t.stuck() != nil }, func(t *trial) string {
		return t.told() + ": no controller sees a pulse end there, and what a machine makes of that is not known"
	}},
	{decode.Undecided, func(t *trial) bool { return t.instead() != nil }, func(t *trial) string {
		k := t.instead()
		return fmt.Sprintf("%s, but the line is not still: it carries something else (%s) from %s to %s s, and what a machine makes of that is not known", t.told(), k.Signal, k.Start.Seconds(1), k.End.Seconds(1))
	}},
	{decode.Undecided, (*trial).movedOn, says("it moves like a stick between switch-off and switch-on: are the stated times right?")},
}

func says(text string) func(*trial) string { return func(*trial) string { return text } }

func (t *trial) silentBefore() bool { return math.IsNaN(t.before) }

func (t *trial) unclear() bool { return t.outcome == "" }

// isSafe says whether the final state is one of the safe ones.
func (t *trial) isSafe() bool {
	return slices.ContainsFunc(t.safe, func(s Safe) bool {
		if s.Stop {
			return t.outcome == Stops
		}
		return (t.outcome == Preset || t.outcome == Holds) && math.Abs(t.final-s.Width) <= safeWithin
	})
}

// changesOnly says why a capture may end too early.
const changesOnly = "the capture lists changes only and ends at its last one, so that whether all channels stopped then cannot be seen; export samples or a dump, or record a line that goes on"

// ends says whether the trial lasts to a last change after which all channels may
// have stopped, while a receiver may still act.
func (t *trial) ends() bool {
	return t.openEnd && !t.returned && !t.silent() && t.end-t.off <= latest
}

// maybeOn says whether what is inferred to be the switch-off may be the switch-on:
// a channel leaves its safe width for another.
func (t *trial) maybeOn() bool {
	return t.offFrom == Inferred && !t.isSafe() && slices.ContainsFunc(t.safe, func(s Safe) bool { return math.Abs(t.before-s.Width) <= safeWithin })
}

// onlyFellSilent says whether the channel is where it was, and in between was
// silent and nowhere else: whoever holds looks like that when a wire lets go.
func (t *trial) onlyFellSilent() bool {
	return t.outcome == Preset && math.Abs(t.final-t.before) <= t.near &&
		!slices.ContainsFunc(t.states, func(s State) bool { return s.Kind != Silent && t.away(s) })
}

// movedOn says whether the channel moves like a stick after the switch: on a way
// between widths that takes longer than a jump. A move that the switch
// interrupts does not count.
func (t *trial) movedOn() bool {
	for i, s := range t.states {
		if s.Kind != Moving || i == 0 && !t.rested && s.End-t.off <= before {
			continue
		}
		if len(s.pulses) >= leastAway || len(s.pulses)-len(t.outside(s.pulses)) >= leastMoves {
			return true
		}
	}
	return false
}

// Receivers act within about a second of losing the link (common practice, no
// source). What changes much later looks as if the transmitter came back, or
// came back before the time that was stated.
const (
	latest       = 5 * decode.Second
	latestStated = 3 * decode.Second
	statedWithin = 1 * decode.Second // what a person states is not more exact
)

// maybeBack says whether a transmitter that came back unnoticed, its stick where
// it was or moved meanwhile, would look the same as a safe preset.
func (t *trial) maybeBack() bool {
	after := t.settled - t.off
	switch {
	case t.outcome == Preset && !t.returned && (math.Abs(t.final-t.before) <= t.near || after > latest && t.leftSafe()):
		return true
	case t.outcome != Preset || !t.isSafe():
		return false
	case !t.returned:
		return after > latest
	}
	return t.onFrom == Flag && after > latestStated && t.end-t.settled < statedWithin
}

// leftSafe says whether a safe state was kept and left again.
func (t *trial) leftSafe() bool {
	return slices.ContainsFunc(t.states[:max(len(t.states)-1, 0)], func(s State) bool {
		return slices.ContainsFunc(t.safe, func(safe Safe) bool {
			if safe.Stop {
				return s.Kind == Silent
			}
			return s.Kind == Pulsing && len(s.pulses) >= leastHeld && math.Abs(s.Width-safe.Width) <= safeWithin
		})
	})
}

// beyond lists the pulses with the transmitter off that lie beyond both the
// width before and the final one, and are not safe themselves.
func (t *trial) beyond() []decode.Pulse {
	return slices.DeleteFunc(t.outside(t.between(t.off, t.end)), func(p decode.Pulse) bool { return t.safeAt(width(p)) })
}

func (t *trial) outside(pulses []decode.Pulse) []decode.Pulse {
	low, high := min(t.before, t.ending())-safeWithin, max(t.before, t.ending())+safeWithin
	return slices.DeleteFunc(slices.Clone(pulses), func(p decode.Pulse) bool { return width(p) >= low && width(p) <= high })
}

// ending is the final width, or the one before where there is none.
func (t *trial) ending() float64 {
	if math.IsNaN(t.final) {
		return t.before
	}
	return t.final
}
