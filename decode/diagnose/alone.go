package diagnose

import (
	"fmt"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// Signatures of what befalls one line, or several by noise.

// atOnce is how close edges of one disturbance lie on two lines. Common
// practice, no source.
const atOnce = 3 * decode.Microsecond

// spikeBelow is how long a glitch is that is no mere spike.
const spikeBelow = 50 * decode.Microsecond

// glitchesIn lists the line's rejected marks and breaks in a stretch of time.
func (l *line) glitchesIn(start, end decode.Time) []decode.Rejected {
	from, _ := slices.BinarySearchFunc(l.glitches, start, byStart)
	to, _ := slices.BinarySearchFunc(l.glitches, end+1, byStart)
	return l.glitches[from:max(from, to)]
}

func byStart(g decode.Rejected, at decode.Time) int {
	switch {
	case g.Start < at:
		return -1
	case g.Start > at:
		return 1
	}
	return 0
}

// glitches lists what the glitch findings of an incident speak of on a line.
func (in incident) glitches(l *line) (all []decode.Rejected) {
	for _, o := range in.kinds(decode.Glitch) {
		if o.on(l) {
			all = append(all, l.glitchesIn(o.start, o.end)...)
		}
	}
	return all
}

// witness reports whether a line's own noise can testify: its edges are no
// signal of their own and no copies of another line's.
func (l *line) witness() bool {
	return l.stream == nil && (l.Signal == decode.Servo || l.Signal == decode.Silent || l.Signal == decode.Irregular)
}

// disturbedAt reports whether a line shows a glitch, or while it is no signal an
// edge, at a time.
func (l *line) disturbedAt(g decode.Rejected) bool {
	for _, o := range l.glitchesIn(g.Start-decode.Millisecond, g.Start+g.Width+atOnce) {
		if near(o.Start, g.Start, atOnce) || near(o.Start+o.Width, g.Start+g.Width, atOnce) {
			return true
		}
	}
	return !l.pulsing() && l.read().nearEdge(g.Start, atOnce)
}

// coincide counts the glitches of an incident that have one on another line
// beside them, and lists those lines.
func (b *bench) coincide(in incident) (hits, of int, others []*line) {
	for _, l := range in.kinds(decode.Glitch).lines(b) {
		n, all, with := b.coincideOn(l, in)
		hits, of, others = hits+n, of+all, append(others, with...)
	}
	return hits, of, b.inOrder(others)
}

func (b *bench) coincideOn(l *line, in incident) (hits, of int, others []*line) {
	for _, g := range in.glitches(l) {
		of++
		hit := false
		for _, o := range b.lines {
			if o != l && o.witness() && o.disturbedAt(g) {
				hit = true
				others = append(others, o)
			}
		}
		if hit {
			hits++
		}
	}
	return hits, of, b.inOrder(others)
}

var noiseKinds = []decode.Kind{decode.Glitch, decode.WidthSpike, decode.PeriodOutOfRange, decode.WidthOutOfRange, decode.DroppedFrame, decode.ExtraPulse}

// noiseOnSeveral takes glitches of which at least half come with one on another
// line, unless all sit at the edges of one line.
func noiseOnSeveral(b *bench, in incident) incident {
	var noisy []*line
	for _, l := range in.kinds(decode.Glitch).lines(b) {
		hits, of, _ := b.coincideOn(l, in)
		if of == 0 || hits*2 < of {
			continue
		}
		if edges, all, _ := b.atEdgesOf(l, in); all >= 3 && edges*10 >= all*9 {
			continue
		}
		noisy = append(noisy, l)
	}
	return in.of(func(o observation) bool {
		return slices.Contains(noiseKinds, o.kind) && slices.Contains(noisy, o.lines[0]) && o.besideGlitches(in)
	})
}

// missedByOthers reports whether marks on one line amid noise on several are that
// noise, which does not show on every line each time: no frame is lost, and with
// them at least half of the line's marks still come with one on another line.
func missedByOthers(c, of *explained, p incident, beside bool) bool {
	if !amidOwn(c, of, p, beside) && !(of.cause == noise && c.spans(p) && c.holds(p.lines(c.bench))) || len(p.kinds(gapKinds...)) > 0 {
		return false
	}
	own := c.observations()
	l := p[0].lines[0]
	hits, all, _ := c.bench.coincideOn(l, append(own.of(func(o observation) bool { return o.on(l) }), p...))
	return hits*2 >= all
}

// besideGlitches reports whether an observation is one of glitches, or lies
// among some of its line. Spikes make no extra pulses.
func (o observation) besideGlitches(in incident) bool {
	l, reach := o.lines[0], 3*o.lines[0].period
	if o.kind == decode.ExtraPulse {
		runts := slices.DeleteFunc(slices.Clone(l.glitchesIn(o.start-reach, o.end+reach)), func(g decode.Rejected) bool { return g.Width < spikeBelow })
		return int64(len(runts)) >= o.count
	}
	return slices.ContainsFunc(in, func(g observation) bool {
		return g.kind == decode.Glitch && g.on(l) && o.start <= g.end+reach && o.end >= g.start-reach
	})
}

// atEdgesOf counts the glitches of a line at the edges of the one other line at
// which most are, and names that.
func (b *bench) atEdgesOf(l *line, in incident) (hits, of int, name string) {
	// A runt where the line's own pulse is due is a torn pulse, which begins where the
	// pulse does; a break in one may be another line's.
	glitches := in.glitches(l)
	own := slices.DeleteFunc(slices.Clone(glitches), func(g decode.Rejected) bool { return !g.Inside && l.torn(g) })
	for _, o := range b.lines {
		if o == l || o.stream != nil || o.Signal == decode.Echo || o.Signal == decode.Silent || o.Signal == decode.Irregular {
			continue
		}
		n := 0
		for _, g := range own {
			if o.read().nearEdge(g.Start, atOnce) || o.read().nearEdge(g.Start+g.Width, atOnce) {
				n++
			}
		}
		if n > hits {
			hits, name = n, o.Name
		}
	}
	return hits, len(glitches), name
}

// atEdges takes the glitches of one line that sit at edges of another.
func atEdges(b *bench, in incident) incident {
	for _, c := range chains(in) {
		hits, of, _ := b.atEdgesOf(c.line, c.incident)
		if c.stuck(c.line) && of < 3 {
			continue // what is left of pulses where it begins and ends
		}
		if of > 0 && hits*2 >= of {
			return c.kinds(noiseKinds...).of(func(o observation) bool { return o.kind != decode.DroppedFrame })
		}
	}
	return nil
}

// amongEdges reports whether marks on a line amid those that sit at the edges of
// another are of the same origin: no frame is lost, and with them at least half of the
// line's marks still sit there.
func amongEdges(c, of *explained, p incident, beside bool) bool {
	if !amidOwn(c, of, p, beside) || len(p.kinds(gapKinds...)) > 0 {
		return false
	}
	hits, all, _ := c.bench.atEdgesOf(c.lines[0], append(c.observations(), p...))
	return hits*2 >= all
}

// tornIn counts the breaks in pulses, and the runts where a pulse was due.
func (l *line) tornIn(glitches []decode.Rejected) (n int) {
	for _, g := range glitches {
		if l.torn(g) {
			n++
		}
	}
	return n
}

func (l *line) torn(g decode.Rejected) bool { return g.Inside || l.due(g.Start) }

// due reports whether a pulse should be high at a time, going by one of those before
// and the widest of them: a wire that comes and goes cuts them at either end.
func (l *line) due(at decode.Time) bool {
	const some, slack = 5, 100 * decode.Microsecond
	t := l.read()
	n := t.from(at)
	if n == 0 || l.Period == nil || at-t.starts[n-1] >= 20*l.period {
		return false
	}
	width := decode.Time(0)
	for i := max(0, n-some); i < n; i++ {
		width = max(width, t.end(i)-t.starts[i])
	}
	if n < len(t.starts) && (t.starts[n]-t.starts[n-1])*2 < 3*l.period {
		// None is missing: it is of the one before, or the next lacks as much.
		return at-t.starts[n-1] <= width+slack || near(at+width, t.end(n), 2*slack)
	}
	for i := max(0, n-some); i < n; i++ {
		for _, place := range l.places {
			if (at-t.starts[i]-place+l.cycle+slack)%l.cycle <= width+2*slack {
				return true
			}
		}
	}
	return false
}

var wireKinds = []decode.Kind{decode.DroppedFrame, decode.SignalLoss, decode.Glitch, decode.ExtraPulse, decode.PeriodOutOfRange,
	decode.WidthOutOfRange, decode.WidthSpike, decode.StuckLevel}

// aloneOnOneLine takes gaps, torn pulses and runts in pulses on one line while
// another of the same receiver goes on.
func aloneOnOneLine(b *bench, in incident) incident {
	for _, c := range chains(in) {
		if c.line.Signal == decode.Silent {
			continue
		}
		gaps := c.kinds(gapKinds...).of(func(o observation) bool { return !o.replaced() })
		glitches := c.glitches(c.line)
		torn := c.line.tornIn(glitches)
		if len(gaps) == 0 && (torn == 0 || torn*2 < len(glitches)) || c.stuck(c.line) && torn < 3 {
			continue
		}
		if b.another(c.line, c.incident) {
			return c.kinds(wireKinds...)
		}
	}
	return nil
}

// besideOrCut reports whether an incident lies beside those of a wire, or is of
// pulses that it cut short anywhere else: to less than any stick gives, or where it
// tore others before and after and all that is odd on its line is cut short, which no
// chance makes of software that is late, and lengthens some.
func besideOrCut(c, of *explained, p incident, beside bool) bool {
	const chances = 3
	if !c.holds(p.lines(c.bench)) {
		return false
	}
	if beside || len(p.of(observation.cutShort).kinds(decode.WidthOutOfRange)) == len(p) {
		return true
	}
	odd := of.observations().of(func(o observation) bool { return o.on(p[0].lines[0]) })
	cut := odd.of(observation.cutShort)
	return len(odd) >= chances && len(cut) == len(odd) && c.torn() >= 2 && c.spans(p)
}

// cutShort reports whether an observation is of pulses that are shorter than both
// of their neighbours.
func (o observation) cutShort() bool {
	if !slices.Contains(strayKinds, o.kind) || o.count > 2 {
		return false
	}
	t := o.lines[0].read()
	from := t.from(o.start)
	to := max(t.from(o.end), from+1)
	if from == 0 || to >= len(t.widths) {
		return false
	}
	return slices.Max(t.widths[from:to]) < min(t.widths[from-1], t.widths[to])
}

// another reports whether another line has pulses and goes on through most of
// the gaps of this one; what it misses by chance just then does not count.
func (b *bench) another(l *line, in incident) bool {
	var gaps []gap
	for _, o := range in.kinds(gapKinds...) {
		gaps = append(gaps, l.within(o.start, o.end)...)
	}
	for _, o := range b.lines {
		if o == l || !o.pulsing() {
			continue
		}
		lost := 0
		for _, g := range gaps {
			if slices.ContainsFunc(b.shared, func(s shared) bool { return slices.Contains(s.lines, o) && s.has(l, g) }) {
				lost++
			}
		}
		if lost*2 < max(1, len(gaps)) {
			return true
		}
	}
	return false
}

// meanwhile lists what the line carried for most of a loss.
func (c *explained) meanwhile() (all []string) {
	for _, o := range c.observations() {
		if k, ok := o.instead(); ok {
			all = append(all, fmt.Sprintf("%s from %s to %s in its place", k.Signal, c.digits(k.Start), c.at(k.End)))
		}
	}
	return all
}

// instead is what its line carried for most of a loss.
func (o observation) instead() (k decode.KindSpan, ok bool) {
	if o.kind != decode.SignalLoss {
		return k, false
	}
	for _, k := range o.lines[0].OtherKinds {
		if (min(k.End, o.end)-max(k.Start, o.start))*2 > o.end-o.start {
			return k, true
		}
	}
	return k, false
}

// replaced reports whether a loss is one of servo pulses alone: another sort of
// signal came in their place.
func (o observation) replaced() bool {
	k, ok := o.instead()
	return ok && (k.Signal == decode.Serial || k.Signal == decode.PulsePosition)
}

// others lists the other lines of the same receiver.
func (c *explained) others() (all []*line) {
	for _, o := range c.bench.lines {
		if !slices.Contains(c.lines, o) && o.pulsing() && sameReceiver(o, c.lines[0]) {
			all = append(all, o)
		}
	}
	return all
}

func (c *explained) torn() (n int) {
	for _, p := range c.parts {
		n += c.lines[0].tornIn(p.glitches(c.lines[0]))
	}
	return n
}

// gaps lists the gaps of a case on its first line.
func (c *explained) gaps() (all []gap) {
	for _, o := range c.observations() {
		if slices.Contains(gapKinds, o.kind) {
			all = append(all, c.lines[0].within(o.start, o.end)...)
		}
	}
	return all
}

// wireLikely: one single frame, or a glitch or two, may be anything.
func wireLikely(c *explained) bool {
	gaps := c.gaps()
	return len(c.others()) > 0 && !c.onlyAtFirst() && (c.torn() >= 2 || len(gaps) >= 2 || len(gaps) == 1 && (gaps[0].loss || gaps[0].frames > 1))
}

// onlyAtFirst reports whether a line was silent from the capture's start to an instant
// and had no trouble from then on.
func (c *explained) onlyAtFirst() bool {
	gaps := c.gaps()
	return len(gaps) == 1 && gaps[0].start == c.bench.analysis.Start && len(c.times()) == 1 && c.sum(decode.Glitch) == 0
}

func wireStory(c *explained) string { return c.who() + " alone " + c.trouble() }

// trouble says what a line lost, and when: "missed 6 frames and had 3 torn
// pulses at 7.3 s". Losses are not counted twice.
func (c *explained) trouble() string {
	var frames, losses int64
	for _, g := range c.gaps() {
		if g.loss {
			losses++
		} else {
			frames += g.frames
		}
	}
	torn, all := int64(c.torn()), c.sum(decode.Glitch)
	when := c.occasions()
	switch {
	case frames == 0 && all == 0 && losses == int64(len(c.times())):
		losses, when = 1, c.when()
	case losses > 1:
		when = c.across()
	}
	silent := "was silent"
	if len(c.meanwhile()) > 0 {
		silent = "lost its pulses to other edges"
	}
	marks := phrase.And(joined(
		given(torn > 0, "%s", phrase.Count(torn, "torn pulse")),
		given(all > torn, "%s", phrase.Count(all-torn, "glitch"))))
	return phrase.And(joined(
		given(losses == 1, "%s", silent), given(losses > 1, "was silent %d times", losses),
		given(frames > 0, "missed %s", phrase.Count(frames, "frame")),
		given(marks != "", "had %s", marks))) + " " + when
}

func wireEvidence(c *explained) []string {
	gaps, torn, on := c.gaps(), c.torn(), c.others()
	return joined(
		given(len(gaps) > 0, "%s on this channel alone", phrase.Count(len(gaps), "gap")),
		c.meanwhile(),
		given(torn > 0, "%s, where only the wire is in play", phrase.Count(torn, "torn pulse")),
		given(len(on) > 0, "%s of the same receiver went on", phrase.And(names(on))))
}

// glitchesBesideOthers takes the glitches of one line of several.
func glitchesBesideOthers(b *bench, in incident) incident {
	if len(b.lines) < 2 {
		return nil
	}
	for _, c := range chains(in) {
		if len(c.kinds(decode.Glitch)) > 0 && !c.stuck(c.line) {
			return c.kinds(noiseKinds...).of(func(o observation) bool { return o.kind != decode.DroppedFrame })
		}
	}
	return nil
}

// onTheOnlyLine takes gaps and glitches of the only channel recorded.
func onTheOnlyLine(b *bench, in incident) incident {
	if only := b.only(); only != nil {
		for _, c := range chains(in) {
			trouble := c.kinds(decode.DroppedFrame, decode.SignalLoss, decode.Glitch).of(func(o observation) bool { return !o.replaced() })
			if c.line == only && len(trouble) > 0 && len(c.kinds(decode.StuckLevel)) == 0 {
				return c.kinds(wireKinds...)
			}
		}
	}
	return nil
}

// halfFrames is how many single frames in a row make a rhythm of every second one
// rather than chance. Common practice, no source.
const halfFrames = 8

// everySecondOf reports whether an observation is of every second frame missing,
// but for one in ten where something else came between.
func (b *bench) everySecondOf(o observation) bool {
	if o.kind != decode.DroppedFrame {
		return false
	}
	l := o.lines[0]
	gaps, others := l.within(o.start, o.end), 0
	for i, g := range gaps {
		// The last of a list that is full stands for many.
		if (2*(g.end-g.start)+3*l.period)/(4*l.period) != decode.Time(g.frames) || i > 0 && (g.start-gaps[i-1].end)*2 > l.period*3 {
			others++
		}
	}
	return len(gaps) >= halfFrames && others*10 <= len(gaps)
}

func everySecond(b *bench, in incident) incident { return in.of(b.everySecondOf) }

// anyGaps takes what no other rule did.
func anyGaps(_ *bench, in incident) incident { return in }

// extraPulses takes those of one line, and what they do where they meet its own:
// breaks, long marks, frames that seem late.
func extraPulses(_ *bench, in incident) incident {
	for _, c := range chains(in) {
		if c.sum(decode.ExtraPulse) > c.sum(decode.Glitch, decode.DroppedFrame, decode.SignalLoss) {
			return c.kinds(wireKinds...)
		}
	}
	return nil
}

// stuckLevels takes long marks of one line and what they hide.
func stuckLevels(b *bench, in incident) incident {
	for _, c := range chains(in) {
		if len(c.kinds(decode.StuckLevel)) > 0 && !b.misstated(c.line) {
			return c.kinds(wireKinds...)
		}
	}
	return nil
}

// railed is where a line must be tied to that is held at the level of its pulses.
func (l *line) railed() string {
	if l.Active == decode.Low {
		return "ground"
	}
	return "the supply"
}

// lasting reports whether long marks hold the line for most of the time, and not
// for some milliseconds now and then.
func (c *explained) lasting() bool {
	var held, all decode.Time
	for _, t := range c.times() {
		all += t[1] - t[0]
		for e := range c.lines[0].StuckMarks() {
			if e.Count == 1 { // not the rest of a long list in one
				held += max(0, min(e.End, t[1])-max(e.Start, t[0]))
			}
		}
	}
	return held*2 >= all
}

// otherLevel takes the same on lines whose pulses have the other level than was
// stated.
func otherLevel(b *bench, in incident) incident {
	return in.kinds(wireKinds...).of(func(o observation) bool { return b.misstated(o.lines[0]) })
}

func (b *bench) misstated(l *line) bool {
	return slices.ContainsFunc(b.analysis.Notes, func(r decode.Remark) bool {
		return r.Kind == decode.OtherLevel && r.Channel == l.Name
	})
}

// stuck reports whether a line is held at one level.
func (in incident) stuck(l *line) bool {
	return slices.ContainsFunc(in, func(o observation) bool { return o.kind == decode.StuckLevel && o.on(l) })
}

// repeatedWidths takes the runs of repeated widths.
func repeatedWidths(_ *bench, in incident) incident { return in.kinds(decode.RepeatedWidth) }

// repeated tells how many frames of repeated widths a case has, and on how many of
// the channels that move.
func (c *explained) repeated() []string {
	n, of := c.repeating()
	return given(n > 0, "%s of repeated widths on %d of %s", phrase.Count(c.sum(decode.RepeatedWidth), "frame"), n, phrase.Count(of, "moving channel"))
}

// ofWeakLink reports whether repeated widths are those of a link that mostly was lost
// for longer, on whatever channels they show, or spikes what it made of a stick that
// turned.
func ofWeakLink(c, of *explained, p incident, beside bool) bool {
	if len(c.observations().kinds(decode.SharedHold)) == 0 {
		return false
	}
	if of.cause == packets {
		return len(of.parts) < len(c.parts)
	}
	return amidOwn(c, of, p, beside) && len(p.kinds(decode.WidthSpike)) == len(p)
}

// repeating counts the channels with repeated widths, and those that move.
func (c *explained) repeating() (n, of int) {
	const moving = 100 * decode.Microsecond
	for _, l := range c.bench.lines {
		if l.Width != nil && l.Width.Max-l.Width.Min > moving {
			of++
		}
	}
	n = len(c.observations().kinds(decode.RepeatedWidth).lines(c.bench))
	return n, max(of, n)
}

// counts tells how often findings of some kinds were made.
func (c *explained) counts(kinds ...decode.Kind) (out []string) {
	words := map[decode.Kind]string{
		decode.WidthSpike: "pulse off its neighbours and back", decode.PeriodOutOfRange: "late frame, none missing",
		decode.WidthOutOfRange: "pulse out of range", decode.DroppedFrame: "missing frame", decode.SignalLoss: "signal loss",
	}
	for _, k := range kinds {
		switch n := c.sum(k); {
		case n == 1:
			out = append(out, "once: "+words[k])
		case n > 1:
			out = append(out, fmt.Sprintf("%d times: %s", n, words[k]))
		}
	}
	return out
}
