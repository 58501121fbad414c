package decode

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"
	"gonum.org/v1/gonum/stat/distuv"
)

// gap is a gap over 1.5 periods on one channel.
type gap struct {
	c          *channel
	start, end Time
	single     bool // one frame
}

// across looks at gaps on all channels together.
func (j *judge) across() {
	alive := slices.DeleteFunc(j.a.measured(), func(c *channel) bool { return c.slot || !c.frames.any })
	if len(alive) < 2 {
		return
	}
	var gaps []gap
	for _, c := range alive {
		for _, e := range c.frames.drops.list {
			gaps = append(gaps, gap{c, e.Start, e.End, e.Count == 1})
		}
		for _, e := range c.frames.losses.list {
			gaps = append(gaps, gap{c, e.Start, e.End, false})
		}
	}
	slices.SortFunc(gaps, func(a, b gap) int { return cmpTime(a.start, b.start) })
	groups := sharedGaps(gaps, len(alive))
	if byChance(groups, alive) {
		groups = sharedGaps(slices.DeleteFunc(gaps, func(g gap) bool { return g.single }), len(alive))
	}
	for _, g := range groups {
		j.sharedLoss(g)
	}
}

// sharedGaps groups gaps that overlap, those groups that are shared.
func sharedGaps(gaps []gap, alive int) [][]gap {
	var groups [][]gap
	for from := 0; from < len(gaps); {
		until, end := from+1, gaps[from].end
		for until < len(gaps) && gaps[until].start < end {
			end = max(end, gaps[until].end)
			until++
		}
		if shared(gaps[from:until], alive) {
			groups = append(groups, gaps[from:until])
		}
		from = until
	}
	return groups
}

func cmpTime(a, b Time) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// shared reports whether gaps with a common instant lie on at least two
// channels and on at least half of those alive.
func shared(g []gap, alive int) bool {
	for _, x := range g {
		on := map[*channel]bool{}
		for _, y := range g {
			if y.start <= x.start && y.end > x.start {
				on[y.c] = true
			}
		}
		if len(on) >= 2 && len(on)*2 >= alive {
			return true
		}
	}
	return false
}

// byChance reports whether single frames missing together with something on
// another channel are no more than chance would make of independent channels,
// at 1 %.
func byChance(groups [][]gap, alive []*channel) bool {
	together := 0.0
	for _, g := range groups {
		if slices.ContainsFunc(g, func(x gap) bool { return x.single }) {
			together++
		}
	}
	if together == 0 {
		return false
	}
	expected := 0.0
	for i, a := range alive {
		for _, b := range alive[i+1:] {
			frames := float64(max(1, min(a.FrameCount, b.FrameCount)))
			gaps := func(c *channel) float64 { return float64(len(c.frames.drops.list) + len(c.frames.losses.list)) }
			reach := float64(a.longestGap()+b.longestGap()) / float64(max(1, a.frames.rhythm.period))
			expected += gaps(a) * gaps(b) * max(3, reach) / frames
		}
	}
	return 1-distuv.Poisson{Lambda: max(expected, 1e-9)}.CDF(together-1) > 0.01
}

// longestGap is the length of the channel's longest gap.
func (c *channel) longestGap() Time {
	var longest Time
	for _, l := range [][]Event{c.frames.drops.list, c.frames.losses.list} {
		for _, e := range l {
			longest = max(longest, e.End-e.Start)
		}
	}
	return longest
}

func (j *judge) sharedLoss(g []gap) {
	j.sharedGaps = append(j.sharedGaps, g)
	f := Finding{Kind: SharedLoss, Severity: Note, Start: g[0].start, End: g[0].end, Count: 1, Measured: math.NaN(), Limit: math.NaN(), Unit: "ms"}
	for _, x := range g {
		if !slices.Contains(f.Channels, x.c.Name) {
			f.Channels = append(f.Channels, x.c.Name)
		}
		f.End = max(f.End, x.end)
		j.touch(x.c, SharedLoss, x.start, x.end)
	}
	order := func(name string) int {
		return slices.IndexFunc(j.a.Channels, func(c *ChannelAnalysis) bool { return c.Name == name })
	}
	slices.SortFunc(f.Channels, func(a, b string) int { return order(a) - order(b) })
	f.Measured = millis(f.End - f.Start)
	f.Message = fmt.Sprintf("%s fall silent together for %s s: look at the supply or the link before the wires", list(f.Channels), (f.End - f.Start).Seconds(3))
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
			Message: fmt.Sprintf("%s of the time column repeats or is off the usual step; the largest is %s us: samples may be missing there", plural(u.Count, "step"), u.Largest.Micros(3))})
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
