package decode

import (
	"cmp"
	"iter"

	"golang.org/x/exp/slices"
)

// PulseRow is a pulse with the channel it belongs to and the kinds of the
// findings that touch it. A rejected runt or spike has Glitch set.
type PulseRow struct {
	Channel string
	Pulse
	Notes  []Kind
	Glitch bool
}

// Rows yields the accepted pulses of the judged channels in order of time over
// all channels, ties in channel order; slots of a pulse-position stream are
// channels of their own. Rejected pulses are among them where glitches is set.
func (j *Judgement) Rows(glitches bool) iter.Seq[PulseRow] {
	return func(yield func(PulseRow) bool) {
		var feeds []*feed
		for i, ca := range j.analysis.Channels {
			if !j.Channels[i].Judged {
				continue
			}
			if c := ca.channel; c != nil && !c.stream {
				feeds = append(feeds, j.feed(c, glitches))
			}
			if ca.asked != nil {
				feeds = append(feeds, j.feed(ca.asked, glitches))
			}
			for _, s := range ca.Slots {
				feeds = append(feeds, j.feed(s.channel, false))
			}
		}
		for {
			var first *feed
			for _, f := range feeds {
				if f.more() && (first == nil || f.at() < first.at()) {
					first = f
				}
			}
			if first == nil || !yield(first.take()) {
				return
			}
		}
	}
}

// feed yields one channel's rows.
type feed struct {
	c        *channel
	pulses   reader
	pulse    entry
	hasPulse bool
	runts    reader
	runt     entry
	hasRunt  bool
	touches  []touch
	outside  func(entry) bool
	last     Time
	hasLast  bool
}

func (j *Judgement) feed(c *channel, glitches bool) *feed {
	f := &feed{c: c, pulses: c.pulses.read(), touches: slices.Clone(j.touches[c]), outside: j.outside[c]}
	slices.SortStableFunc(f.touches, func(a, b touch) int { return cmp.Compare(a.start, b.start) })
	f.nextPulse()
	if glitches && c.pulser != nil {
		f.runts = c.pulser.glitches.read()
		f.nextRunt()
	}
	return f
}

func (f *feed) nextPulse() {
	for {
		var ok bool
		if f.pulse, ok = f.pulses.next(); !ok {
			f.hasPulse = false
			return
		}
		if f.pulse.marks&afterBlind != 0 {
			f.hasLast = false
		}
		if f.pulse.accepted() {
			f.hasPulse = true
			return
		}
	}
}

func (f *feed) nextRunt() {
	for {
		if f.runt, f.hasRunt = f.runts.next(); !f.hasRunt || f.runt.marks&broken == 0 {
			return
		}
	}
}

func (f *feed) more() bool { return f.hasPulse || f.hasRunt }

func (f *feed) at() Time {
	if f.hasRunt && (!f.hasPulse || f.runt.start < f.pulse.start) {
		return f.runt.start
	}
	return f.pulse.start
}

func (f *feed) take() PulseRow {
	if f.hasRunt && (!f.hasPulse || f.runt.start < f.pulse.start) {
		row := PulseRow{Channel: f.c.Name, Pulse: Pulse{Start: f.runt.start, Width: f.runt.width}, Notes: []Kind{Glitch}, Glitch: true}
		f.nextRunt()
		return row
	}
	e := f.pulse
	row := PulseRow{Channel: f.c.Name, Pulse: Pulse{Start: e.start, Width: e.width}, Notes: f.noted(e)}
	if f.hasLast {
		row.Interval = e.start - f.last
	}
	f.last, f.hasLast = e.start, true
	f.nextPulse()
	return row
}

// noted returns the kinds of what touches the pulse.
func (f *feed) noted(e entry) []Kind {
	for len(f.touches) > 0 && f.touches[0].end < e.start {
		f.touches = f.touches[1:]
	}
	var notes []Kind
	if f.outside != nil && f.outside(e) {
		notes = append(notes, WidthOutOfRange)
	}
	for _, t := range f.touches {
		if t.start > e.start+e.width {
			break
		}
		if t.end >= e.start && !slices.Contains(notes, t.kind) {
			notes = append(notes, t.kind)
		}
	}
	return notes
}
