package decode

import (
	"cmp"
	"math"

	"golang.org/x/exp/slices"
)

// placedFrames is how many pulses a place in the frame is found from.
const placedFrames = 2000

// receivers finds the channels that share a clock, their place in the frame
// and which of them begins where another ends. A slot of a stream begins where
// the one before it ends.
func (a *Analysis) receivers() {
	for _, ca := range a.Channels {
		for i := 1; i < len(ca.Slots); i++ {
			ca.Slots[i].channel.leader = ca.Slots[i-1].channel
		}
	}
	left := slices.DeleteFunc(a.servos(), func(c *channel) bool { return c.rhythm.period == 0 || c.beats.n < regularFrames })
	for len(left) > 0 {
		first := left[0]
		shares := func(c *channel) bool { return absDiff(c.rhythm.mean, first.rhythm.mean)*1000 <= first.rhythm.mean }
		var group []*channel
		for _, c := range left {
			if shares(c) {
				group = append(group, c)
			}
		}
		left = slices.DeleteFunc(left, shares)
		if len(group) > 1 {
			placeInFrame(group)
			chain(group)
		}
	}
}

// placeInFrame puts the channels of a receiver in the order in which their
// pulses begin. The frame begins after the longest pause.
func placeInFrame(group []*channel) {
	first, period := group[0], group[0].rhythm.mean
	at := map[*channel]Time{}
	for _, c := range group {
		at[c] = c.behind(first, period)
	}
	slices.SortStableFunc(group, func(x, y *channel) int { return cmp.Compare(at[x], at[y]) })
	begin, longest := 0, Time(-1)
	for i, c := range group {
		before := at[group[(i+len(group)-1)%len(group)]]
		if pause := (at[c] - before + 2*period) % period; pause > longest {
			begin, longest = i, pause
		}
	}
	ordered := append(slices.Clone(group[begin:]), group[:begin]...)
	copy(group, ordered)
	for i, c := range group {
		c.Place = i + 1
		c.Offset = micros((at[c] - at[group[0]] + period) % period)
	}
}

// pairs calls f for pulses of c, numbered i, and the pulse of o, numbered j,
// that began last before it or up to slack after it; for 2000 of them at most,
// spread over the capture.
func (c *channel) pairs(o *channel, slack Time, f func(i, j int)) {
	stride := max(1, c.beats.n/placedFrames)
	begun := 0 // pulses of o
	for i := 0; i < c.beats.n; i += stride {
		if begun = o.beats.begunBy(c.beats.start(i)+slack, begun); begun > 0 {
			f(i, begun-1)
		}
		begun += stride // what is likely next
	}
}

// begunBy counts the pulses that begin no later than an instant, likely so many. It
// doubles its steps away from there, and halves them again.
func (b *beats) begunBy(at Time, n int) int {
	n = min(n, b.n)
	for step := 1; n > 0 && b.start(n-1) > at; step *= 2 {
		n = max(0, n-step)
	}
	step := 1
	take := func() bool {
		if n+step > b.n || b.start(n+step-1) > at {
			return false
		}
		n += step
		return true
	}
	for take() {
		step *= 2
	}
	for step /= 2; step > 0; step /= 2 {
		take()
	}
	return n
}

// behind is the median time from a pulse of o to the next one of c.
func (c *channel) behind(o *channel, period Time) Time {
	const same = 100 * Microsecond // outputs that start together scatter about zero
	var all []Time
	c.pairs(o, same, func(i, j int) {
		if d := c.beats.start(i) - o.beats.start(j); d < period-same {
			all = append(all, d)
		}
	})
	if len(all) == 0 {
		return 0
	}
	return Time(quantile(all, 0.5))
}

// chain finds for each channel of a receiver, given in order of place, the one
// that it follows.
func chain(group []*channel) {
	sideBySide(group, func(*channel) {}, func(c *channel) {
		best := math.Inf(1)
		for k := slices.Index(group, c) - 1; k >= 0; k-- {
			if scatter, ok := c.follows(group[k]); ok && scatter*2 < best {
				best = scatter
				c.leader = group[k]
			}
		}
		if c.leader != nil {
			c.Follows = c.leader.Name
		}
	})
}

// nextTo is how far the start of an output that follows another may be from its
// end where neither moves. Common practice, no source.
const nextTo = 200 * Microsecond

// follows says whether a channel starts when o ends, and how much the time
// between scatters: less than a third of the time from start to start, all the
// while or where o moves now and then; or both lie within two steps, next to one
// another, also where o moves for a moment.
func (c *channel) follows(o *channel) (scatter float64, ok bool) {
	var fromStart, fromEnd []Time
	c.pairs(o, 0, func(i, j int) {
		d := c.beats.start(i) - o.beats.start(j)
		if width := o.beats.width(j); d*4 < c.rhythm.period*3 {
			fromStart = append(fromStart, d)
			fromEnd = append(fromEnd, d-width)
		}
	})
	if len(fromEnd) < regularFrames {
		return 0, false
	}
	after := Time(quantile(fromEnd, 0.5))
	still := math.Max(2*c.step, float64(2*c.rec.origin.Unit))
	deviations(fromStart)
	deviations(fromEnd)
	scatter = 1.4826 * quantile(fromEnd, 0.5) // 1 over the normal distribution's third quartile
	for _, share := range []float64{0.5, 0.98} {
		byStart, byEnd := quantile(fromStart, share), quantile(fromEnd, share)
		ok = ok || byStart > still && byEnd*3 < byStart
	}
	if quantile(fromStart, 0.98) <= still {
		ok = after <= nextTo && quantile(fromEnd, 0.998) <= still // neither moves
	}
	return scatter, ok && float64(after) >= -still
}

// deviations replaces values by how far they are from their median.
func deviations(v []Time) {
	middle := Time(quantile(v, 0.5))
	for i := range v {
		v[i] = absDiff(v[i], middle)
	}
}

// leaders is how many channels there are before one in its chain.
func (c *channel) leaders() int {
	if c.leader == nil {
		return 0
	}
	return 1 + c.leader.leaders()
}

// shifted takes out of a channel's leading edges by how much the pulses before it in
// its chain were longer than usual; led are the instants of its leader's beats that
// this came to, nil where they are the leading edges. Where a pulse of the leader is
// missing the receiver kept its last width.
func (c *channel) shifted(led []Time) []Time {
	usual := Time(quantilesOf(c.leader.pulses.widths, c.leader.beats.n, 0, math.MaxUint32, 0.5)[0])
	own := make([]Time, 0, c.beats.n)
	r := c.leader.pulses.read()
	var o entry // the leader's pulse that began last
	next, more := r.pulse()
	by, j, known := Time(0), -1, false
	for starts := range c.pulses.accepted {
		for _, start := range starts {
			for ; more && next.start <= start; j++ {
				o = next
				next, more = r.pulse()
			}
			if j >= 0 && start-o.start < c.rhythm.period*3/4 {
				by = o.width - usual
				if led != nil {
					by += o.start - led[j]
				}
				if !known {
					known = true
					for k := range own {
						own[k] -= by
					}
				}
			}
			own = append(own, start-by)
		}
	}
	return own
}

// ownLateFrames leaves to a channel that follows another what it is late by
// itself.
func ownLateFrames(all []*channel) {
	own := map[*channel][]Event{}
	for _, c := range all {
		if c.leader != nil {
			own[c] = c.lateBeyond(c.frames.odd.list, c.leader.frames.odd.list)
		}
	}
	for c, list := range own {
		c.frames.odd.all -= int64(len(c.frames.odd.list) - len(list))
		c.frames.odd.list = list
	}
}

// lateBeyond returns the late frames whose leader was not late by as much in
// the same frame.
func (c *channel) lateBeyond(mine, leaders []Event) (own []Event) {
	period := c.rhythm.period
	for _, e := range mine {
		for len(leaders) > 0 && leaders[0].End <= e.End-period {
			leaders = leaders[1:]
		}
		same := len(leaders) > 0 && leaders[0].End <= e.End &&
			math.Abs(leaders[0].Measured-leaders[0].Expected-e.Measured+e.Expected)*40 <= micros(period)
		if !same && !c.leaderDisturbed(e) {
			own = append(own, e)
		}
	}
	return own
}

// leaderDisturbed reports whether a channel before this one in its chain is disturbed about a
// late frame, or its pulse there off both of its neighbours by as much: nobody knows then
// when that pulse ended in the receiver.
func (c *channel) leaderDisturbed(late Event) bool {
	reach := 3 * c.rhythm.period
	by := Time(math.Abs(late.Measured-late.Expected) * float64(Microsecond))
	about := func(e Event) bool { return e.Start <= late.End+reach && e.End >= late.Start-reach }
	for o := c.leader; o != nil; o = o.leader {
		if o.beats.oddWidth(late.End)*2 >= by {
			return true
		}
		f := o.frames
		for _, of := range []events{f.drops, f.losses, f.extras, f.stuckMarks} {
			if slices.ContainsFunc(of.list, about) {
				return true
			}
		}
	}
	return false
}

// oddWidth is by how much the pulse that begins last before an instant is longer than
// both of its neighbours, or shorter than both.
func (b *beats) oddWidth(at Time) Time {
	i := b.begunBy(at, 0) - 1
	if i < 1 || i+1 >= b.n {
		return 0
	}
	w, before, after := b.width(i), b.width(i-1), b.width(i+1)
	return max(w-max(before, after), min(before, after)-w, 0)
}

// lateFrames walks a channel again for another bound on a single interval.
func (c *channel) lateFrames(odd float64) []Event {
	c.retime()
	list := c.follow(odd).odd.list
	if c.leader != nil {
		list = c.lateBeyond(list, c.leader.follow(odd).odd.list)
	}
	for o := c; o != nil; o = o.leader {
		o.beats = nil
	}
	return list
}

// retime makes the beats of a channel and of those it follows anew.
func (c *channel) retime() {
	c.beats = c.pulses.beats()
	if c.leader != nil {
		c.leader.retime()
		c.beats.own = c.shifted(c.leader.beats.own)
	}
}
