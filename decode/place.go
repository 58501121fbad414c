package decode

import "golang.org/x/exp/slices"

const placedFrames = 2000 // pulses that a place in the frame is found from

// placeInFrame orders the channels that keep one period by where in the frame
// their pulses begin. The frame begins after the longest pause.
func (a *Analysis) placeInFrame() {
	all := slices.DeleteFunc(a.servos(), func(c *channel) bool { return c.frames.rhythm.period == 0 || c.frames.frames < regularFrames })
	if len(all) < 2 {
		return
	}
	first := all[0]
	period := first.frames.rhythm.period
	all = slices.DeleteFunc(all, func(c *channel) bool { return absDiff(c.frames.rhythm.period, period)*1000 > period })
	if len(all) < 2 {
		return
	}
	at := map[*channel]Time{}
	for _, c := range all {
		at[c] = c.behind(first, period)
	}
	slices.SortStableFunc(all, func(x, y *channel) int { return cmpTime(at[x], at[y]) })
	begin, longest := 0, Time(-1)
	for i, c := range all {
		before := at[all[(i+len(all)-1)%len(all)]]
		if pause := (at[c] - before + 2*period) % period; pause > longest {
			begin, longest = i, pause
		}
	}
	for i := range all {
		c := all[(begin+i)%len(all)]
		c.Place = i + 1
		c.Offset = micros((at[c] - at[all[begin]] + period) % period)
	}
}

// behind is the median time from a pulse of o to the next one of c.
func (c *channel) behind(o *channel, period Time) Time {
	const same = 100 * Microsecond // outputs that start together scatter about zero
	var all []Time
	mine, theirs := c.pulses.read(), o.pulses.read()
	last, more := theirs.next()
	next, _ := theirs.next()
	for e, ok := mine.next(); ok && more && len(all) < placedFrames; e, ok = mine.next() {
		for next.start > last.start && next.start <= e.start+same {
			last = next
			next, _ = theirs.next()
		}
		if d := e.start - last.start; e.accepted() && last.accepted() && d >= -same && d < period-same {
			all = append(all, d)
		}
	}
	if len(all) == 0 {
		return 0
	}
	return Time(quantile(all, 0.5))
}
