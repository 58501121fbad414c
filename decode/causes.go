package decode

import (
	"fmt"

	"golang.org/x/exp/slices"
)

// clues are what speaks for or against a cause on one channel, or with c nil
// on the capture as a whole.
type clues struct {
	j    *judge
	c    *channel
	ca   *ChannelAnalysis
	seen map[Kind]int64 // counts of findings that are no mere notes

	alone     int // gaps on this channel only
	together  int // gaps shared with other channels
	broken    int64
	crosstalk crosstalk
	watched   int // other channels that pulse in this capture
}

// rule is one likely cause. speaks returns the evidence; the cause is named
// only if there is any. against says what the capture holds against it or
// cannot tell.
type rule struct {
	cause   string
	source  string
	speaks  func(*clues) []string
	against func(*clues) []string
	try     string
}

const practice = "common practice, no source"

// channelRules are tried in this order, the likelier cause first.
var channelRules = []rule{
	{
		cause: "nothing is connected, or the receiver is off", source: practice,
		speaks: func(k *clues) []string {
			return given(k.ca.Signal == Silent, "the level stays %s from start to end", k.ca.Level)
		},
		against: func(k *clues) []string {
			return given(k.watched > 0, "%s in the same capture", plural(int64(k.watched), "other channel")+" with pulses")
		},
		try: "check the pin and the ground, measure the supply at the receiver, then try another threshold",
	},
	{
		cause: "the port is set to another protocol", source: practice,
		speaks: func(k *clues) []string {
			return given(k.seen[WrongSignal] > 0, "the wire carries a %s signal", k.ca.Signal)
		},
		try: "set this output of the receiver to servo pulses, or probe another pin",
	},
	{
		cause: "a loose or broken signal wire or pin", source: practice,
		speaks: func(k *clues) []string {
			return joined(
				given(k.alone > 0 && k.watched > 0, "%s on this channel while the others go on", plural(int64(k.alone), "gap")),
				given(k.broken >= 2, "%s inside pulses, where only the wire is in play", plural(k.broken, "break")))
		},
		against: func(k *clues) []string {
			return joined(
				given(k.broken == 0, "no pulse is torn: a failing output of the receiver looks the same"),
				given(k.together > 0, "%s shared with other channels", plural(int64(k.together), "gap")))
		},
		try: "swap this wire with that of a quiet channel and record again: a fault that moves with the wire is the wire's",
	},
	{
		cause: "the wire, the supply or the link: one channel alone cannot tell", source: practice,
		speaks: func(k *clues) []string {
			return given(k.alone > 0 && k.watched == 0, "%s and no other channel recorded beside it", plural(int64(k.alone), "gap"))
		},
		try: "record a second channel of the same receiver at the same time",
	},
	{
		cause: "half the frames are lost, or the receiver changed to double the period", source: practice,
		speaks: func(k *clues) []string {
			n := 0
			for _, r := range k.rows() {
				if everySecond(r, k.c.frames.rhythm.period) {
					n++
				}
			}
			return given(n > 0, "every second frame is missing for %s", plural(int64(n), "stretch"))
		},
		try: "look up the frame rates that the receiver offers, then repeat at short range",
	},
	{
		cause: "radio packets are lost and the receiver repeats its last value", source: practice,
		speaks: func(k *clues) []string {
			return given(k.seen[RepeatedWidth] > 0, "%s of the same width while the stick moves", plural(int64(len(k.c.repeats.list)), "run"))
		},
		try: "range test: move one stick slowly for a minute, near and far, and compare the runs",
	},
	{
		cause: "crosstalk from another channel's wire", source: practice,
		speaks: func(k *clues) []string {
			x := k.crosstalk
			return given(x.hits >= 3 && x.hits*2 >= x.of, "%d of %s sit at edges of %s", x.hits, plural(int64(x.of), "glitch"), x.name)
		},
		try: "part the two wires, connect every ground lead, keep leads short",
	},
	{
		cause: "interference or a poor ground", source: practice,
		speaks: func(k *clues) []string {
			x := k.crosstalk
			return given(k.seen[Glitch] > 0 && k.seen[Glitch] > k.broken && (x.hits < 3 || x.hits*2 < x.of), "%s outside the pulses", plural(k.seen[Glitch]-k.broken, "glitch"))
		},
		try: "connect the ground at one point near the receiver, shorten the leads, record again with the motors stopped",
	},
	{
		cause: "a hand on the stick", source: practice,
		speaks: func(k *clues) []string {
			return given(k.seen[WidthJitter] > 0 && k.c.awayFromNeutral(), "the unsteady rest is away from neutral")
		},
		try: "let go of the stick and record again",
	},
	{
		cause: "pulses timed by software that is kept waiting", source: "nested and colliding interrupts in published reports; see DEVELOPERS.md",
		speaks: func(k *clues) []string {
			return joined(
				given(k.seen[WidthJitter] > 0, "the width jitters at rest"),
				given(k.seen[WidthSpike] > 0, "%s off by one or two frames, then back", plural(k.seen[WidthSpike], "width")),
				given(k.seen[PeriodOutOfRange] > 0 && k.lateFrames() > 0, "%s late or early with none missing", plural(k.lateFrames(), "frame")))
		},
		against: func(k *clues) []string {
			return given(k.seen[Glitch] > 0, "glitches on the same wire: noise may move the edges as well")
		},
		try: "record at the receiver's own pin with nothing else plugged in; if it stays, it is the receiver",
	},
	{
		cause: "end points or trims set too far", source: practice,
		speaks: func(k *clues) []string {
			return given(k.seen[WidthOutOfRange] > 0, "%s out of range", plural(k.seen[WidthOutOfRange], "pulse"))
		},
		against: func(k *clues) []string {
			return given(k.seen[Glitch] > 0, "glitches on the same wire may have cut or joined pulses")
		},
		try: "set end points and trims on the transmitter to normal, then sweep each stick once",
	},
	{
		cause: "a frame rate other than the one stated", source: "internal oscillators may be off by more than 1 %: " + practice,
		speaks: func(k *clues) []string {
			return given(k.seen[PeriodOutOfRange] > k.lateFrames(), "the mean period is off the stated one")
		},
		against: func(k *clues) []string {
			return []string{"the clock of the capture is not known better than about 50 ppm"}
		},
		try: "look up the receiver's rate setting; compare with a second recorder",
	},
	{
		cause: "the line is held: a short to the supply, or an output that stopped", source: practice,
		speaks: func(k *clues) []string {
			return given(k.seen[StuckLevel] > 0, "stuck %s for longer than a pulse can be", k.c.Active)
		},
		try: "power off, unplug what the wire drives, and record again",
	},
	{
		cause: "two sources on one wire", source: practice,
		speaks: func(k *clues) []string {
			return given(k.seen[ExtraPulse] > 0, "%s between frames whose grid goes on", plural(k.seen[ExtraPulse], "pulse"))
		},
		try: "unplug everything but the receiver from this wire",
	},
	{
		cause: "something between receiver and probe inverts", source: practice,
		speaks: func(k *clues) []string {
			return given(k.seen[Inverted] > 0, "the pulses are low and the line rests high")
		},
		try: "probe at the receiver's pin; if a level shifter is meant to invert, say so with --active low",
	},
}

// captureRules speak of the capture as a whole.
var captureRules = []rule{
	{
		cause: "the receiver's supply dips", source: "signature: " + practice,
		speaks: func(k *clues) []string {
			n, longest := k.sharedLosses()
			return given(n > 0, "%s on every channel that was alive, up to %s s", plural(int64(n), "shared loss"), longest.Seconds(3))
		},
		against: func(k *clues) []string {
			return []string{"a lost link looks the same where the receiver stops pulsing"}
		},
		try: "measure the supply at the receiver while the servos work hard; give the receiver its own supply and repeat",
	},
	{
		cause: "the radio link is lost", source: "receiver classes in the manuals of two autopilots; see DEVELOPERS.md",
		speaks: func(k *clues) []string {
			return given(len(k.j.sharedGaps) > 0, "%s on several channels at once", plural(int64(len(k.j.sharedGaps)), "gap"))
		},
		against: func(k *clues) []string {
			return []string{"a receiver that holds or presets its values shows no gap when the link is lost"}
		},
		try: "range test with the motors off, then on; look at the aerials",
	},
	{
		cause: "the recorder left samples out", source: practice,
		speaks: func(k *clues) []string {
			n := k.j.a.Origin.Uneven.Count
			return given(n > 0, "%s of the time column off the usual one", plural(n, "step"))
		},
		try: "record again at a lower rate or for a shorter time",
	},
}

// given returns one piece of evidence if it holds.
func given(holds bool, format string, args ...any) []string {
	if !holds {
		return nil
	}
	return []string{fmt.Sprintf(format, args...)}
}

// causes names likely causes for what was found; a capture in order gets none.
func (j *judge) causes() {
	for i, ca := range j.a.Channels {
		if !j.out.Channels[i].Judged {
			continue
		}
		k := j.cluesOf(ca)
		if len(k.seen) > 0 {
			j.out.Channels[i].Causes = k.apply(channelRules)
		}
	}
	whole := &clues{j: j}
	if len(j.sharedGaps) > 0 || j.a.Origin.Uneven.Count > 0 {
		j.out.Causes = whole.apply(captureRules)
	}
}

func (k *clues) apply(rules []rule) []Cause {
	var out []Cause
	for _, r := range rules {
		evidence := r.speaks(k)
		if len(evidence) == 0 {
			continue
		}
		if r.against != nil {
			for _, a := range r.against(k) {
				evidence = append(evidence, "against: "+a)
			}
		}
		out = append(out, Cause{Cause: r.cause, Evidence: evidence, Try: r.try})
	}
	return out
}

func (j *judge) cluesOf(ca *ChannelAnalysis) *clues {
	k := &clues{j: j, ca: ca, c: ca.channel, seen: map[Kind]int64{}}
	for _, f := range j.out.Findings {
		if f.Severity != Note && slices.Contains(f.Channels, ca.Name) && f.Kind != UnevenTime {
			k.seen[f.Kind] += f.Count
		}
	}
	for _, o := range j.a.measured() {
		if o.Name != ca.Name && !o.slot && o.frames.any {
			k.watched++
		}
	}
	if k.c == nil {
		k.c = &channel{ChannelAnalysis: ca, frames: &frames{}}
		return k
	}
	for _, g := range j.sharedGaps {
		if slices.ContainsFunc(g, func(x gap) bool { return x.c == k.c }) {
			k.together++
		}
	}
	k.alone = max(0, len(k.c.frames.drops.list)+len(k.c.frames.losses.list)-k.together)
	if k.c.pulser != nil {
		r := k.c.pulser.glitches.read()
		for e, ok := r.next(); ok; e, ok = r.next() {
			if e.marks&broken != 0 {
				k.broken++
			}
		}
		k.crosstalk = j.crosstalk(k.c)
	}
	return k
}

func (k *clues) rows() [][]Event { return k.c.rowsOf(k.c.frames.drops.list) }

// lateFrames counts the single frames off their time.
func (k *clues) lateFrames() int64 { return k.c.frames.odd.all }

// sharedLosses counts the shared losses of at least 100 ms on every channel
// alive, and the longest.
func (k *clues) sharedLosses() (n int, longest Time) {
	alive := 0
	for _, o := range k.j.a.measured() {
		if !o.slot && o.frames.any {
			alive++
		}
	}
	for _, g := range k.j.sharedGaps {
		on := map[*channel]bool{}
		start, end := g[0].start, g[0].end
		for _, x := range g {
			on[x.c] = true
			end = max(end, x.end)
		}
		if len(on) == alive && end-start >= 100*Millisecond {
			n++
			longest = max(longest, end-start)
		}
	}
	return n, longest
}

// crosstalk counts the glitches that sit at the edges of one other channel.
type crosstalk struct {
	name     string
	hits, of int
}

func (j *judge) crosstalk(c *channel) (most crosstalk) {
	var at []Time
	r := c.pulser.glitches.read()
	for e, ok := r.next(); ok && len(at) < maxEvents; e, ok = r.next() {
		at = append(at, e.start)
	}
	if len(at) == 0 {
		return crosstalk{}
	}
	for _, o := range j.a.measured() {
		if o == c || o.stream || o.slot {
			continue
		}
		x := crosstalk{name: o.Name, of: len(at)}
		i := 0
		r := o.pulses.read()
		for e, ok := r.next(); ok && i < len(at); e, ok = r.next() {
			for i < len(at) && at[i] <= e.start+e.width+3*Microsecond {
				if absDiff(at[i], e.start) <= 3*Microsecond || absDiff(at[i], e.start+e.width) <= 3*Microsecond {
					x.hits++
				}
				i++
			}
		}
		if x.hits > most.hits || most.of == 0 {
			most = x
		}
	}
	return most
}

// joined puts lists of evidence together.
func joined(lists ...[]string) (all []string) {
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}
