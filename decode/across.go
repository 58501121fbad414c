package decode

import (
	"cmp"
	"fmt"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat/distuv"

	"widthwise/decode/phrase"
)

// gap is a gap over 1.5 periods on one channel.
type gap struct {
	c          *channel
	start, end Time
	frames     int64 // missing
}

// gapGroup is a row of gaps that several channels have together, not yet known
// to be no chance.
type gapGroup struct {
	slow  bool // they did not begin together
	gaps  []gap
	on    []*channel // with a gap
	alive []*channel // that could have one there
}

// togetherFrames is how far apart gaps of one origin begin: channels have their
// pulses at different places of a frame, and a receiver that resets drops its
// outputs one by one. Common practice, no source.
const togetherFrames = 3

// across looks at gaps on all channels together.
func (j *judge) across() {
	all := slices.DeleteFunc(j.a.measured(), func(c *channel) bool { return c.slot || !c.frames.any })
	if len(all) < 2 {
		return
	}
	var gaps []gap
	for _, c := range all {
		for _, e := range c.frames.drops.singly() {
			gaps = append(gaps, gap{c, e.Start, e.End, e.Count})
		}
		for _, e := range c.frames.losses.list {
			gaps = append(gaps, gap{c, e.Start, e.End, int64((e.End - e.Start) / max(1, c.frames.rhythm.period))})
		}
	}
	slices.SortStableFunc(gaps, func(a, b gap) int { return cmp.Compare(a.start, b.start) })
	groups := sharedGaps(gaps, all)
	groups = append(groups, slowSharedGaps(gaps, groups, all)...)
	for _, g := range groups {
		if !g.byChance(groups, gaps) {
			g.endTogether(gaps)
			j.share(g)
		}
	}
	j.sharedLosses(3 * all[0].frames.rhythm.period)
}

// sharedGaps groups gaps that overlap and begin within three frames of one
// another, where they lie on two channels and on half of those alive; with a
// single missing frame among them, on three quarters.
func sharedGaps(gaps []gap, all []*channel) []gapGroup {
	var groups []gapGroup
	for from := 0; from < len(gaps); {
		first := gaps[from]
		reach := min(first.end, first.start+togetherFrames*first.c.frames.rhythm.period)
		until := from + 1
		for until < len(gaps) && gaps[until].start < reach {
			until++
		}
		g := newGroup(gaps[from:until], all)
		if g.onAtLeast(len(g.alive)/2) && (!g.single() || g.onMost()) {
			groups = append(groups, g)
		}
		from = until
	}
	return groups
}

// slowSharedGaps groups what is left of the gaps that are longer, where at one
// time they lie on three quarters of the channels alive: as a supply fails, its
// outputs may go one after the other.
func slowSharedGaps(gaps []gap, groups []gapGroup, all []*channel) (slow []gapGroup) {
	grouped := map[gap]bool{}
	for _, g := range groups {
		for _, x := range g.gaps {
			grouped[x] = true
		}
	}
	var open []gap
	closeGroup := func() {
		if g := newGroup(open, all); len(open) > 1 && g.onMost() {
			g.slow = true
			slow = append(slow, g)
			open = nil
		}
	}
	for _, x := range gaps {
		if x.frames <= togetherFrames || grouped[x] {
			continue
		}
		over := func(o gap) bool { return o.end <= x.start }
		if slices.ContainsFunc(open, over) {
			closeGroup()
			open = slices.DeleteFunc(open, over)
		}
		open = append(open, x)
	}
	closeGroup()
	return slow
}

func newGroup(gaps []gap, all []*channel) gapGroup {
	g := gapGroup{gaps: slices.Clone(gaps)}
	for _, c := range all {
		if len(gaps) > 0 && c.alive(gaps[0].start) {
			g.alive = append(g.alive, c)
		}
	}
	g.findChannels()
	return g
}

func (g *gapGroup) onAtLeast(n int) bool { return len(g.on) >= max(2, n) }

// onMost reports whether a group lies on three quarters of the channels alive.
func (g *gapGroup) onMost() bool { return g.onAtLeast(len(g.alive) - len(g.alive)/4) }

// alive reports whether the channel has pulses about a time: it has begun, and
// is not in a gap that began well before.
func (c *channel) alive(at Time) bool {
	early := at - togetherFrames*c.frames.rhythm.period
	in := func(e Event) bool { return e.Start < early && e.End > at }
	return c.frames.first <= at && !slices.ContainsFunc(c.frames.losses.list, in) && !slices.ContainsFunc(c.frames.drops.list, in)
}

// failingTime is within what time the outputs of a supply that fails go. Common
// practice, no source.
const failingTime = 1 * Second

// endTogether takes in gaps that began earlier and end with the group: a gap
// that is part of a shared one is not alone. Those that the capture's end cuts off
// did not end together for that, and belong to the group if they began with it.
func (g *gapGroup) endTogether(gaps []gap) {
	start, end := g.gaps[0].start, g.end()
	for _, e := range gaps {
		if end == e.c.rec.end && e.start < start-failingTime {
			continue
		}
		if e.start < start && e.end > start && absDiff(e.end, end) <= togetherFrames*e.c.frames.rhythm.period {
			g.gaps = append(g.gaps, e)
		}
	}
	g.findChannels()
}

func (g *gapGroup) end() (end Time) {
	end = g.gaps[0].end
	for _, x := range g.gaps {
		end = max(end, x.end)
	}
	return end
}

func (g *gapGroup) findChannels() {
	g.on = nil
	for _, x := range g.gaps {
		if !slices.Contains(g.on, x.c) {
			g.on = append(g.on, x.c)
		}
	}
}

// chance is how likely independent channels make what is taken for chance.
const chance = 0.01

// single reports whether a gap is of one frame.
func (g *gapGroup) single() bool {
	return slices.ContainsFunc(g.gaps, func(x gap) bool { return x.frames == 1 })
}

// spread is how many frames apart the gaps of a group begin, or end where they do
// not begin together and pulses came back.
func (g *gapGroup) spread() float64 {
	begin, end := 0.0, 0.0
	first, last := g.gaps[0], g.end()
	for _, x := range g.gaps {
		period := float64(max(1, x.c.frames.rhythm.period))
		begin = max(begin, float64(x.start-first.start)/period)
		end = max(end, float64(last-x.end)/period)
	}
	if !g.slow || last == first.c.rec.end {
		return begin
	}
	return min(begin, end)
}

// shortest is how many frames the shortest gap of a group misses.
func (g *gapGroup) shortest() int64 {
	least := g.gaps[0].frames
	for _, x := range g.gaps {
		least = min(least, x.frames)
	}
	return least
}

// byChance reports whether independent channels with as many gaps of such a
// length would have let as many coincide on as many channels, as closely.
func (g *gapGroup) byChance(groups []gapGroup, gaps []gap) bool {
	const like = 0.05 // of a frame: outputs wander as much
	spread, least := g.spread(), g.shortest()/2
	together := 0
	for _, o := range groups {
		if len(o.on) >= len(g.on) && o.spread() <= spread+like && o.shortest() >= least {
			together++
		}
	}
	each := map[*channel]int{}
	for _, x := range gaps {
		if x.frames >= least {
			each[x.c]++
		}
	}
	reach := math.Floor(2*spread) + 1 // places at which a gap would be as close
	frames := math.Inf(1)
	chances := []float64{1} // that so many of the channels have a gap at one place
	for _, c := range g.alive {
		n := float64(max(1, c.FrameCount))
		frames = min(frames, n)
		p := min(1, float64(each[c])*reach/n)
		next := make([]float64, len(chances)+1)
		for k, q := range chances {
			next[k] += q * (1 - p)
			next[k+1] += q * p
		}
		chances = next
	}
	coincide := 1e-12
	for _, q := range chances[min(len(g.on), len(chances)):] {
		coincide += q
	}
	return 1-distuv.Poisson{Lambda: coincide * frames / reach}.CDF(float64(together)-1) > chance
}

// share keeps a group as a gap of all its channels.
func (j *judge) share(g gapGroup) {
	x := SharedGap{Start: g.gaps[0].start, End: g.end(), slow: g.slow}
	for _, ca := range j.a.Channels {
		if slices.ContainsFunc(g.on, func(c *channel) bool { return c.ChannelAnalysis == ca }) {
			x.Channels = append(x.Channels, ca.Name)
		}
	}
	for _, own := range g.gaps {
		x.Start = min(x.Start, own.start)
		j.touch(own.c, SharedLoss, own.start, own.end)
	}
	j.out.Shared = append(j.out.Shared, x)
}

// sharedLosses tells of the shared gaps; those of the same channels that are
// within reach of one another are told at once.
func (j *judge) sharedLosses(reach Time) {
	all := j.out.Shared
	slices.SortStableFunc(all, func(a, b SharedGap) int { return cmp.Compare(a.Start, b.Start) })
	for from := 0; from < len(all); {
		first, to := all[from], from+1
		for to < len(all) && all[to].Start-all[to-1].End <= reach && all[to].slow == first.slow && slices.Equal(all[to].Channels, first.Channels) {
			to++
		}
		j.sharedLoss(all[from:to])
		from = to
	}
}

func (j *judge) sharedLoss(row []SharedGap) {
	f := Finding{Kind: SharedLoss, Severity: Note, Channels: row[0].Channels, Start: row[0].Start, End: row[0].End, Count: int64(len(row)), Limit: math.NaN(), Unit: "ms"}
	longest := Time(0)
	for _, x := range row {
		f.End, longest = max(f.End, x.End), max(longest, x.End-x.Start)
	}
	f.Measured = millis(longest)
	how := "together for"
	switch {
	case row[0].slow:
		how = "one after another for"
	case len(row) > 1:
		how = fmt.Sprintf("together %d times, for up to", len(row))
	}
	f.Message = fmt.Sprintf("%s fall silent %s %s s: look at the supply or the link before the wires", phrase.And(f.Channels), how, longest.Seconds(3))
	j.out.Findings = append(j.out.Findings, f)
}

// capture finds what concerns the capture as a whole.
func (j *judge) capture() {
	var names []string
	limit := 0.0
	for i, ca := range j.a.Channels {
		if j.out.Channels[i].Judged {
			names = append(names, ca.Name)
			limit = max(limit, j.limits.For(ca.Name).WidthJitterFail)
		}
	}
	o := j.a.Origin
	if u := o.Uneven; u.Count > 0 {
		j.out.Findings = append(j.out.Findings, Finding{Kind: UnevenTime, Severity: Warn, Channels: names, Start: u.Start, End: u.End, Count: u.Count,
			Measured: micros(u.Largest), Limit: o.Step / float64(Microsecond), Unit: "us",
			Message: fmt.Sprintf("%s of the time column repeats or is off the usual step; the largest is %s us: samples may be missing there", phrase.Count(u.Count, "step"), u.Largest.Micros(3))})
	}
	whole := Finding{Kind: CoarseSampling, Severity: Note, Channels: names, Start: j.a.Start, End: j.a.End, Count: 1, Unit: "us"}
	switch {
	case len(names) == 0:
	case o.UnitAtEnd > o.Unit:
		whole.Measured, whole.Limit = micros(o.UnitAtEnd), micros(o.Unit)
		whole.Message = fmt.Sprintf("the stamps lose digits as they grow, from %s to %s us: export more digits", o.Unit.Micros(3), o.UnitAtEnd.Micros(3))
		j.out.Findings = append(j.out.Findings, whole)
	case limit > 0 && 2*j.a.Resolution > limit:
		whole.Measured, whole.Limit = j.a.Resolution, limit/2
		whole.Message = fmt.Sprintf("one time step is %s us: jitter of two steps, %s us, cannot be told from none; %s kHz or faster would decide", short(j.a.Resolution), short(2*j.a.Resolution), short(2000/limit))
		j.out.Findings = append(j.out.Findings, whole)
	}
}
