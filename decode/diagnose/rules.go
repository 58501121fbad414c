package diagnose

import (
	"widthwise/decode"
	"widthwise/decode/phrase"
)

// Causes.
const (
	recorder        = "recorder"
	switchedOff     = "switched-off"
	supply          = "supply"
	link            = "link"
	supplyOrLink    = "supply-or-link"
	rateChange      = "rate-change"
	noise           = "noise"
	crosstalk       = "crosstalk"
	wire            = "wire"
	oneChannel      = "one-channel"
	packets         = "packets"
	halfRate        = "half-rate"
	softwareTiming  = "software-timing"
	hand            = "hand"
	twoSources      = "two-sources"
	stuckLine       = "stuck-line"
	inverter        = "inverter"
	otherSignal     = "other-signal"
	notConnected    = "not-connected"
	powerPin        = "power-pin"
	endPoints       = "end-points"
	periodSetting   = "period-setting"
	coarseRecording = "coarse-recording"
)

// rule is one cause. takes is its signature: it returns what of an incident the
// cause explains, nothing where it does not fit. The rest speaks of all incidents
// that it explains on the same lines, or on lines that joins takes together.
type rule struct {
	cause    string
	source   string
	joins    func(x, y []*line) bool
	adopts   []string                                             // causes whose incidents just beside this one are part of it,
	owns     func(c, of *explained, p incident, beside bool) bool // or those that this finds to be, of another case
	takes    func(*bench, incident) incident
	likely   func(*explained) bool
	story    func(*explained) string
	evidence func(*explained) []string
	against  func(*explained) []string
	try      string
	instead  []string
}

const practice = "common practice, no source"

// Precautions that a try-line begins with.
const (
	handsOff = "Power off, drive disconnected or propeller off: "
	running  = "Drive disconnected or propeller off, restrained, a second person at the switch: "
)

// glitchesToo speaks against a cause that makes none.
func glitchesToo(c *explained) []string {
	return given(c.glitched(), "glitches on the same wire: noise may move the edges as well")
}

// onAny joins what befalls a receiver as a whole, whatever lines show it.
func onAny(x, y []*line) bool { return true }

// onOneReceiver joins what befalls lines that keep one period, and the slots of
// one stream, which are one line: what times one of them times all.
func onOneReceiver(x, y []*line) bool {
	return sameReceiver(x[0], y[0]) || x[0].stream != nil && x[0].stream == y[0].stream
}

func always(*explained) bool { return true }
func never(*explained) bool  { return false }

// table is asked from the top; the first rule that takes something explains it.
// A rule that looks at lines one by one stands below those that look across; above
// all stands what says much by itself, whatever else happened in its time.
var table = []rule{
	{
		cause: recorder, source: practice, joins: onAny,
		takes: unevenTime, likely: always,
		story: func(c *explained) string {
			return "the recording itself has steps in its time column, " + c.when() + "; samples may be missing there on all channels at once"
		},
		evidence: func(c *explained) []string { return c.messages(decode.UnevenTime) },
		try:      "record again at a lower sample rate or for a shorter time, straight to disk",
		instead:  []string{"rows that were deleted in a spreadsheet"},
	},
	{
		cause: halfRate, source: practice, joins: onAny,
		takes: everySecond, likely: always,
		story: func(c *explained) string {
			return "every second frame is missing on " + c.who() + " " + c.when() + ": half the frames are lost, or the receiver changed to double the period"
		},
		evidence: func(c *explained) []string { return c.messages(decode.DroppedFrame) },
		try:      "look up the frame rates that the receiver offers, then repeat at short range",
		instead:  []string{"a receiver mode with half the rate", "a link that brings every second packet"},
	},
	{
		cause: switchedOff, source: practice, joins: onAny,
		takes: silentToTheEnd, likely: never,
		story: func(c *explained) string {
			return c.whoTogether() + " fell silent at " + c.at(c.parts[0].start()) + " and stayed so to the end: the signal was lost, or the receiver was switched off before the recorder stopped"
		},
		evidence: func(c *explained) []string {
			return []string{phrase.Count(len(c.lines), "channel") + " silent within two frames of one another, up to the end of the capture"}
		},
		try:     "if it was switched off, judge only what lies before, with option to; if not, record on until the pulses return",
		instead: []string{"a link that is lost for good", "a supply that fails", "an event rule book may ask for just this when the transmitter is off"},
	},
	{
		cause: supply, source: "a processor that resets starts its outputs anew: " + practice, joins: onAny, adopts: []string{supplyOrLink}, owns: amidOwn,
		takes: reboots, likely: func(c *explained) bool { return c.bench.only() == nil && !c.maybeSwapped() },
		story: func(c *explained) string {
			return c.whoTogether() + " " + c.fell() + " " + c.when() + " and came back as after a restart" + c.otherRate()
		},
		evidence: func(c *explained) []string { return c.rebootMarks() },
		against: func(c *explained) []string {
			return joined(
				given(c.bench.only() != nil, "no other channel was recorded beside it"),
				given(c.maybeSwapped(), "a restart seldom changes the frame period; another receiver or mode does"))
		},
		try:     running + "measure the receiver's supply while the servos work, or give it one of its own",
		instead: []string{"a receiver that restarts its outputs when a lost link returns", "a loose supply plug or switch", "a receiver that was switched off, or swapped for another"},
	},
	{
		cause: link, source: "receivers that hold, preset or stop: the manuals of two published autopilots", joins: onAny, adopts: []string{packets, softwareTiming}, owns: ofWeakLink,
		takes: lostLink, likely: always,
		story: linkStory,
		evidence: func(c *explained) []string {
			n := len(c.shortGaps())
			return joined(c.messages(decode.SharedHold), c.repeated(),
				given(n > 0, "%s, no longer than three frames, with no sign of a restart", phrase.Count(n, "gap")+" on all channels at the same time"))
		},
		try:     running + "range test with the motors off, then on; look at the aerials and where they lie",
		instead: []string{"a receiver that is busy for some frames", "sticks that were let go and moved together"},
	},
	{
		cause: supplyOrLink, source: practice, joins: onAny,
		takes: longSharedGaps, likely: always,
		story: func(c *explained) string {
			return c.whoTogether() + " " + c.fell() + " " + c.when() + ": the supply or the link, not the wires"
		},
		evidence: func(c *explained) []string {
			return joined([]string{phrase.Count(len(c.sharedGaps()), "gap") + " on several channels at the same time, the longest " + c.longestShared()}, c.cutShort())
		},
		against: func(c *explained) []string {
			if c.unreturned() || len(c.cutShort()) > 0 {
				return nil // no return to tell by, or no link
			}
			return []string{"no sign of a restart: the pulses come back on their old beat, which speaks a little for the link"}
		},
		try:     running + "record the supply as one more channel; a range test, motors off, tells the link",
		instead: []string{"a common ground or plug that all probes share"},
	},
	{
		cause: rateChange, source: practice, joins: onAny,
		takes:    changedPeriod,
		likely:   always,
		story:    rateStory,
		evidence: func(c *explained) []string { return c.messages(decode.PeriodChanged) },
		try:      "look up the frame rates of the receiver and the radio's protocol; servos and firmware must take both",
		instead:  []string{"another source that took over the wire"},
	},
	{
		cause: noise, source: practice, joins: onAny, adopts: []string{noise, crosstalk, wire, softwareTiming}, owns: missedByOthers,
		takes: noiseOnSeveral, likely: always,
		story: func(c *explained) string {
			return "noise on several wires at once " + c.when() + " (" + c.who() + "): motors, or a poor ground"
		},
		evidence: func(c *explained) []string {
			hits, of, lines := c.bench.coincide(c.observations())
			return []string{phrase.Count(hits, "glitch") + " of " + short(of) + " within 3 us of one on another line (" + phrase.And(names(lines)) + ")"}
		},
		try:     running + "join the grounds at one point near the receiver, then record with motors stopped and running",
		instead: []string{"a ground clip of the recorder that is loose"},
	},
	{
		cause: twoSources, source: practice, adopts: []string{softwareTiming},
		takes: extraPulses, likely: always,
		story: func(c *explained) string {
			return c.who() + " carries " + phrase.Count(c.sum(decode.ExtraPulse), "pulse") + " off the beat of its frames " + c.across() + ": two sources drive this wire, or the receiver sends more than it should"
		},
		evidence: func(c *explained) []string {
			return []string{phrase.Count(c.sum(decode.ExtraPulse), "pulse") + " off the frame grid, while the grid goes on"}
		},
		try:     handsOff + "unplug everything but the receiver from this wire and record again",
		instead: []string{"long noise marks", "a receiver that changes its mode"},
	},
	{
		cause: crosstalk, source: practice, adopts: []string{wire, noise}, owns: amongEdges,
		takes: atEdges, likely: func(c *explained) bool { return c.sum(decode.Glitch) >= 3 },
		story: func(c *explained) string {
			_, _, from := c.bench.atEdgesOf(c.lines[0], c.observations())
			return c.who() + " picks up the edges of " + from + ": " + phrase.Count(c.sum(decode.Glitch), "glitch") + " " + c.across()
		},
		evidence: func(c *explained) []string {
			hits, of, from := c.bench.atEdgesOf(c.lines[0], c.observations())
			return []string{short(hits) + " of " + phrase.Count(of, "glitch") + " sit at edges of " + from}
		},
		try:     handsOff + "part the two wires, connect every ground lead, and record again",
		instead: []string{"a recorder whose inputs couple"},
	},
	{
		cause: wire, source: practice, adopts: []string{wire}, owns: atSharedTimes,
		takes: someTogether, likely: func(c *explained) bool { return len(c.parts) > 1 },
		story: func(c *explained) string {
			return c.who() + " " + c.fell() + " " + c.when() + " while the other channels went on: something that they share makes bad contact"
		},
		evidence: func(c *explained) []string {
			return []string{
				phrase.Count(len(c.times()), "time") + " on these channels alone, to two frames",
				phrase.And(names(c.others())) + " of the same receiver went on",
			}
		},
		try:     handsOff + "look at what these wires share and the others do not: a plug, an extension lead, a ground",
		instead: []string{"outputs of the receiver that fail together", "another receiver, which lost its link or its supply"},
	},
	{
		cause: wire, source: practice, adopts: []string{softwareTiming, twoSources, noise}, owns: besideOrCut,
		takes: aloneOnOneLine, likely: wireLikely,
		story: wireStory, evidence: wireEvidence,
		against: func(c *explained) []string {
			return joined(
				given(c.onlyAtFirst(), "it pulses without a fault from then on: perhaps it was plugged in or switched on only then"),
				given(c.torn() == 0, "no pulse is torn: an output of the receiver that fails looks the same"),
				given(len(c.others()) == 0, "the other channels belong to another receiver, or were quiet themselves"))
		},
		try:     handsOff + "swap this wire with a quiet channel's; a fault that moves along is the wire's",
		instead: []string{"an output of the receiver that fails", "a probe that sits loosely on the pin"},
	},
	{
		cause: noise, source: practice, adopts: []string{softwareTiming},
		takes: glitchesBesideOthers, likely: never,
		story: func(c *explained) string {
			return c.who() + " alone has " + phrase.Count(c.sum(decode.Glitch), "glitch") + " " + c.across() + ": probably noise on this wire"
		},
		evidence: func(c *explained) []string {
			return []string{phrase.Count(c.sum(decode.Glitch), "glitch") + " with nothing at the same time on the other lines"}
		},
		try:     running + "connect the ground close to this wire, then record with motors stopped and running",
		instead: []string{"a loose probe or ground clip", "a wire that begins to break"},
	},
	{
		cause: oneChannel, source: practice, adopts: []string{softwareTiming}, owns: besideOrCut,
		takes: onTheOnlyLine, likely: always,
		story: func(c *explained) string {
			return c.who() + " " + c.trouble() + "; with one channel recorded the wire, the supply, the link and noise look alike"
		},
		evidence: func(c *explained) []string {
			return []string{"no other channel with pulses was recorded beside it"}
		},
		try:     handsOff + "clip a second channel of the same receiver and one unconnected wire beside it, and record again",
		instead: []string{"a loose wire", "a supply that dips", "a lost link", "noise"},
	},
	{
		cause: packets, source: practice, joins: onAny, adopts: []string{softwareTiming},
		takes: repeatedWidths, likely: func(c *explained) bool { n, of := c.repeating(); return n*2 > of },
		story: func(c *explained) string {
			return "while sticks moved, " + c.who() + " stood still for some frames and then jumped, " + c.when() + ": radio packets were probably lost"
		},
		evidence: func(c *explained) []string {
			return c.repeated()
		},
		try:     running + "range test: move one stick slowly for a minute, near and far, and compare",
		instead: []string{"a hand that stops and starts", "a radio that sends some channels less often"},
	},
	{
		cause: softwareTiming, source: practice, joins: onAny,
		takes: unsteady, likely: func(c *explained) bool { return !c.glitched() },
		story: func(c *explained) string {
			if c.sum(decode.WidthJitter) == 0 {
				return "the period of " + c.who() + " jitters at rest, as pulses timed by busy software do"
			}
			return "the width of " + c.who() + " jitters at rest" + c.whileLoud() + ", as pulses timed by busy software do"
		},
		evidence: func(c *explained) []string {
			return joined(c.messages(decode.WidthJitter), c.messages(decode.PeriodJitter))
		},
		against: glitchesToo,
		try:     handsOff + "record at the receiver's own pin, all else unplugged",
		instead: []string{"noise that moves edges without making glitches, as of a motor that runs", "a stick or its potentiometer that is worn"},
	},
	{
		cause: softwareTiming, source: practice, joins: onOneReceiver,
		takes: stray, likely: strayLikely, story: strayStory,
		evidence: func(c *explained) []string {
			return c.counts(decode.WidthSpike, decode.PeriodOutOfRange, decode.WidthOutOfRange)
		},
		against: glitchesToo,
		try:     handsOff + "record at the receiver's pin, all else unplugged; what stays is its own",
		instead: []string{"noise that moves edges without making glitches", "a wire that begins to break", "a stick or its potentiometer that is worn"},
	},
	{
		cause: hand, source: practice, joins: onAny,
		takes: unsteadyAwayFromNeutral, likely: never,
		story: func(c *explained) string {
			return c.who() + c.do(" is", " are") + " unsteady only where the stick is away from neutral: probably a hand on it"
		},
		evidence: func(c *explained) []string { return c.messages(decode.WidthJitter) },
		try:      running + "let go of the stick, or tape it in place, and record again",
		instead:  []string{"a worn stick", "software timing at long pulses"},
	},
	{
		cause: stuckLine, source: practice,
		takes: stuckLevels, likely: (*explained).lasting,
		story: func(c *explained) string {
			if !c.lasting() {
				return c.who() + " does not pulse but is " + c.lines[0].Active.String() + " now and then for longer than any pulse, " + c.when() + ": an open wire that picks up hum, another signal, or an output that stopped"
			}
			return c.who() + " is held " + c.lines[0].Active.String() + " for longer than any pulse, " + c.when() + ": a short to " + c.lines[0].railed() + ", or an output that stopped"
		},
		evidence: func(c *explained) []string { return c.messages(decode.StuckLevel) },
		try:      handsOff + "unplug what the wire drives and record again",
		instead:  []string{"an open wire that a resistor holds at that level"},
	},
	{
		cause: inverter, source: practice, joins: onAny,
		takes: otherLevel, likely: always,
		story: func(c *explained) string {
			return "the pulses of " + c.who() + " are " + c.lines[0].Active.Other().String() + ", not " + c.lines[0].Active.String() + " as stated: the wrong level is stated, or something between receiver and probe inverts"
		},
		evidence: func(c *explained) []string { return c.messages(decode.StuckLevel) },
		try:      handsOff + "probe at the receiver's own pin; if the pulses are meant to be so, state the other level, or none",
		instead:  []string{"a line that is held at one level for most of the time"},
	},
	{
		cause: inverter, source: practice, joins: onAny,
		takes: ofKind(decode.Inverted), likely: always,
		story: func(c *explained) string {
			return "the pulses of " + c.who() + " are low and the line rests high: something between receiver and probe inverts"
		},
		evidence: func(c *explained) []string { return []string{"decoded as active low"} },
		try:      handsOff + "probe at the receiver's own pin; if a level shifter is meant to invert, state active low",
		instead:  []string{"a receiver output that is set to inverted pulses"},
	},
	{
		cause: otherSignal, source: practice,
		takes: ofKind(decode.WrongSignal), likely: always,
		story: func(c *explained) string {
			return c.who() + c.do(" does not carry what was asked for: it is a signal of kind ", " do not carry what was asked for: they are signals of kind ") + c.kinds()
		},
		evidence: func(c *explained) []string { return c.messages(decode.WrongSignal) },
		try:      "set this output of the receiver to servo pulses, or probe another pin",
		instead:  []string{"a probe on the wrong pin"},
	},
	{
		cause: otherSignal, source: practice,
		takes: replacedPulses, likely: always,
		story: func(c *explained) string {
			return c.who() + c.do(" carries", " carry") + " something else than servo pulses " + c.when() + ": " + phrase.And(c.meanwhile())
		},
		evidence: func(c *explained) []string { return c.messages(decode.SignalLoss) },
		try:      "look up what this output of the receiver is set to, and what changes it",
		instead:  []string{"a probe that was moved to another pin"},
	},
	{
		cause: notConnected, source: practice, joins: onAny,
		takes: silentThroughout(decode.Low), likely: always,
		story: func(c *explained) string {
			return c.who() + c.do(" stays", " stay") + " low from start to end: nothing is connected, or the receiver is off"
		},
		evidence: func(c *explained) []string { return c.messages(decode.SignalLoss) },
		try:      handsOff + "check the pin and the ground, then measure the supply at the receiver",
		instead:  []string{"a threshold above the signal", "a receiver that sends nothing without its transmitter"},
	},
	{
		cause: powerPin, source: practice, joins: onAny,
		takes: silentThroughout(decode.High), likely: always,
		story: func(c *explained) string {
			return c.who() + c.do(" stays", " stay") + " high from start to end: probably the supply pin of the plug, not the signal"
		},
		evidence: func(c *explained) []string { return c.messages(decode.SignalLoss) },
		try:      handsOff + "move the probe to the signal pin of the plug",
		instead:  []string{"an open input with a pull-up", "an output that is shorted to the supply"},
	},
	{
		cause: endPoints, source: practice, joins: onAny,
		takes: reachedEnds, likely: func(c *explained) bool { return !c.glitched() && c.walkedOut() },
		story: func(c *explained) string {
			return c.who() + c.do(" goes", " go") + " beyond the usual widths " + c.when() + ": end points or trims are set too far"
		},
		evidence: func(c *explained) []string { return c.messages(decode.WidthOutOfRange) },
		against:  glitchesToo,
		try:      running + "set end points and trims on the transmitter to normal, then sweep each stick once",
		instead:  []string{"a receiver preset out there", "limits that are tighter than the radio's"},
	},
	{
		cause: periodSetting, source: "internal oscillators may be off by more than 1 %: " + practice, joins: onAny,
		takes: meanPeriods, likely: always,
		story: func(c *explained) string {
			return "the frame period of " + c.who() + " is " + c.meanPeriod() + "not the stated one: another rate is set, or the receiver's clock is off"
		},
		evidence: func(c *explained) []string { return c.messages(decode.PeriodOutOfRange) },
		against: func(c *explained) []string {
			return []string{"the clock of the capture is not known better than about 50 ppm"}
		},
		try:     "look up the receiver's rate setting; compare with a second recorder",
		instead: []string{"a recorder whose clock is off"},
	},
	{
		cause: coarseRecording, source: practice, joins: onAny,
		takes: tooCoarse, likely: always,
		story: func(c *explained) string {
			return "the time stamps lose digits as they grow, so that " + c.who() + " only seems to jitter"
		},
		evidence: func(c *explained) []string { return c.messages(decode.WidthJitter) },
		try:      "export the capture with more digits, or record for a shorter time",
		instead:  []string{"jitter of the receiver that is as small as the stamps are coarse"},
	},
	// What is left over.
	{
		cause: supplyOrLink, source: practice, joins: onAny,
		takes: anyGaps, likely: never,
		story: func(c *explained) string {
			return c.who() + " lost frames " + c.when() + " while other channels were disturbed as well: the supply, the link or the wires"
		},
		evidence: func(c *explained) []string { return c.counts(decode.DroppedFrame, decode.SignalLoss) },
		try:      running + "record the receiver's supply as one more channel, and wiggle one plug at a time",
		instead:  []string{"several loose wires at once"},
	},
}
