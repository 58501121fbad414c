package decode

// Start-up is what comes before the first ten regular frames, as long as it
// lasts no longer than this or is no more than this. Common practice, no source.
const (
	regularFrames  = 10
	longestStartUp = 2 * Second
	mostStartUp    = 20 // pulses
)

// startUp returns how many pulses come before the first frame. begin is where
// the capture begins: a channel that pulses from there on was alive before, and
// its first pulses may be frames with some missing between.
func (y *rhythm) startUp(b *beats, begin Time) int {
	first := y.firstRegular(b)
	if first == 0 || b.at(first)-b.at(0) > longestStartUp && first > mostStartUp {
		return 0
	}
	if b.start(0)-begin > 3*y.period {
		return first
	}
	kept := y.framesBefore(b, first)
	if kept > first-kept {
		return first // the few that are on the grid are there by chance
	}
	return kept
}

// firstRegular returns the first of ten beats at regular intervals; 0 where
// there are no such ten.
func (y *rhythm) firstRegular(b *beats) int {
	regular, end := 1, 0
	for from, some := range b.intervals(0, b.n) {
		if from != end {
			regular = 1
		}
		for k, d := range some {
			if !y.regular(d, y.paceAt(from+k-1)) {
				regular = 1
			} else if regular++; regular == regularFrames {
				return from + k + 1 - regularFrames
			}
		}
		end = from + len(some)
	}
	return 0
}

// framesBefore goes back from the first ten regular frames as long as pulses
// are on their grid, or in a row of four that is regular in itself, as before
// an early loss.
func (y *rhythm) framesBefore(b *beats, kept int) int {
	first := kept
	onGrid := func(i int) bool {
		if i < 0 {
			return false
		}
		gap := b.at(kept) - b.at(i)
		k := (gap + y.period/2) / y.period
		if k > 8 {
			return absDiff(gap, k*y.period)*100 <= y.period
		}
		return k >= 1 && absDiff(gap, k*y.period)*20 <= y.period
	}
	inRow := func(i int) bool {
		from, to := i, i
		for from > 0 && y.regular(b.at(from)-b.at(from-1), y.paceAt(from-1)) {
			from--
		}
		for to < first && y.regular(b.at(to+1)-b.at(to), y.paceAt(to)) {
			to++
		}
		return to-from >= 3
	}
	for i := kept - 1; i >= 0; i-- {
		switch {
		case onGrid(i), inRow(i):
			kept = i
		case onGrid(i-1) && onGrid(i-2): // one late frame, or one extra pulse
		default:
			return kept
		}
	}
	return kept
}

// boundCapture looks at what lies before the first frame and after the last:
// a start that all servo channels share is a late start, one channel silent
// while others pulse is a loss; so is a silent tail.
func (a *Analysis) boundCapture() {
	earliest := a.End
	for _, c := range a.measured() {
		if !c.slot && c.frames.any {
			earliest = min(earliest, c.frames.first)
		}
	}
	for _, c := range a.measured() {
		if !c.slot {
			c.boundHead(a, earliest)
			c.boundTail(a)
			c.boundSlots(a, earliest)
		}
	}
}

// boundSlots lets the slots share what lies before and after the stream. One that
// the stream's first or last frames do not have has not lost anything there.
func (c *channel) boundSlots(a *Analysis, earliest Time) {
	if !c.frames.any {
		return
	}
	frame := c.frames.rhythm.period
	for _, s := range c.Slots {
		f := s.channel.frames
		if f.any && f.first-c.frames.first < frame {
			s.channel.boundHead(a, earliest+f.first-c.frames.first)
		}
		if f.any && f.last >= c.frames.last {
			s.channel.boundTail(a)
		}
	}
}

func (c *channel) boundHead(a *Analysis, earliest Time) {
	f := c.frames
	if !f.any {
		if c.Named || c.Stated.Signal == Servo {
			f.losses.add(Event{Start: a.Start, End: a.End, Count: 1, Measured: millis(a.End - a.Start)})
		}
		return
	}
	if f.first-a.Start <= f.lossAfter || c.headBlind() {
		return
	}
	if f.first-earliest <= f.lossAfter {
		c.lateStart = true
		return
	}
	f.losses.precede(Event{Start: a.Start, End: f.first, Count: 1, Measured: millis(f.first - a.Start)})
	r := c.pulses.read()
	if e, ok := r.next(); ok && e.marks&cut != 0 && e.width > longest { // held, like a mark that lasts to the end
		f.stuckMarks.precede(Event{Start: e.start, End: e.start + e.width, Count: 1, Measured: millis(e.width)})
	}
}

// headBlind says whether anything hides the time before the first pulse.
func (c *channel) headBlind() bool {
	r := c.pulses.read()
	e, ok := r.next()
	return ok && e.marks&afterBlind != 0
}

func (c *channel) boundTail(a *Analysis) {
	f := c.frames
	if !f.any || !f.tailKnown || c.pulser != nil && (c.pulser.after || c.pulser.unsure) || a.End-f.lastLife <= f.lossAfter {
		return
	}
	period := f.rhythm.paces[len(f.rhythm.paces)-1].period
	start := f.lastLife + period
	f.losses.add(Event{Start: start, End: a.End, Count: 1, Measured: millis(a.End - start), Expected: millis(period)})
}
