package decode

// timeStreams finds the streams whose frames last as long as the widths in them: so
// do the frames of their slots.
func (a *Analysis) timeStreams() {
	for _, c := range a.trains() {
		if !c.stream {
			continue
		}
		var slots []*channel
		for _, s := range c.Slots {
			slots = append(slots, s.channel)
		}
		if c.rhythm.pattern == Alternating || !followsWidths(c, slots) {
			continue
		}
		for _, o := range append(slots, c) {
			o.byWidths = true
		}
	}
}

// timedByWidths reports whether a channel's frames last as long as the widths of the
// servo channels in them.
func (c *channel) timedByWidths(servos []*channel) bool {
	if c.stream || c.slot {
		return c.byWidths
	}
	return c.rhythm.pattern != Alternating && followsWidths(c, servos)
}

// followsWidths reports whether the changes of a channel's intervals follow
// the changes of the sum of the widths of all channels within them.
func followsWidths(c *channel, all []*channel) bool {
	at := make([]Time, min(c.beats.n, patternFrames))
	for i := range at {
		at[i] = c.beats.start(i)
	}
	period := c.rhythm.period
	if period == 0 || len(at) < 20 {
		return false
	}
	if steady(at, period) {
		return false // outputs that follow one another shift a little
	}
	sums := widthSums(at, all)
	var l line
	for i := 2; i < len(at); i++ {
		a, b := at[i-1]-at[i-2], at[i]-at[i-1]
		if !within(a, period, 40) || !within(b, period, 40) {
			continue
		}
		if x, y := sums[i-1]-sums[i-2], b-a; absDiff(x, 0) < 1200*Microsecond {
			l.add(micros(x), micros(y))
		}
	}
	slope, _ := l.fit()
	sxx, syy := l.xx-l.x*l.x/l.n, l.yy-l.y*l.y/l.n
	if l.n < 20 || sxx < 100*l.n*0.04 || syy == 0 {
		return false
	}
	fit := slope * slope * sxx / syy
	return slope > 0.7 && slope < 1.3 && fit > 0.5
}

// steady reports whether the intervals spread less than half a percent of the
// period.
func steady(at []Time, period Time) bool {
	var spread moments
	for i := 1; i < len(at); i++ {
		if d := at[i] - at[i-1]; within(d, period, 40) {
			spread.add(int64(d - period))
		}
	}
	return !(spread.sd()*200 >= float64(period))
}

// widthSums adds up the widths of all channels' pulses that begin in each
// interval.
func widthSums(at []Time, all []*channel) []Time {
	sums := make([]Time, len(at))
	for _, o := range all {
		i := 0
		for k := range o.beats.n {
			start := o.beats.start(k)
			for i+1 < len(at) && at[i+1] <= start {
				i++
			}
			if start >= at[i] {
				sums[i] += o.beats.width(k)
			}
			if i+1 == len(at) {
				break
			}
		}
	}
	return sums
}
