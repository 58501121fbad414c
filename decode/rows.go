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
		begin := func(rows iter.Seq[PulseRow]) (stop func()) {
			f := &feed{}
			f.next, stop = iter.Pull(rows)
			f.row, f.more = f.next()
			feeds = append(feeds, f)
			return stop
		}
		for i, ca := range j.analysis.Channels {
			if !j.Channels[i].Judged {
				continue
			}
			for _, c := range append([]*ChannelAnalysis{ca}, ca.Slots...) {
				defer begin(j.pulses(c))()
				if glitches {
					defer begin(runts(c))()
				}
			}
		}
		for {
			var first *feed
			for _, f := range feeds {
				if f.more && (first == nil || f.row.Start < first.row.Start) {
					first = f
				}
			}
			if first == nil || !yield(first.row) {
				return
			}
			first.row, first.more = first.next()
		}
	}
}

// feed yields rows of one channel.
type feed struct {
	next func() (PulseRow, bool)
	row  PulseRow // the one to come
	more bool
}

// pulses yields a channel's pulses with the kinds of what touches them.
func (j *Judgement) pulses(ca *ChannelAnalysis) iter.Seq[PulseRow] {
	return func(yield func(PulseRow) bool) {
		touches := slices.Clone(j.touches[ca.decoded()])
		slices.SortStableFunc(touches, func(a, b touch) int { return cmp.Compare(a.start, b.start) })
		outside := j.outside[ca.decoded()]
		for p := range ca.Pulses() {
			row := PulseRow{Channel: ca.Name, Pulse: p}
			if outside != nil && outside(entry{start: p.Start, width: p.Width}) {
				row.Notes = append(row.Notes, WidthOutOfRange)
			}
			for len(touches) > 0 && touches[0].end < p.Start {
				touches = touches[1:]
			}
			for _, t := range touches {
				if t.start > p.Start+p.Width {
					break
				}
				if t.end >= p.Start && !slices.Contains(row.Notes, t.kind) {
					row.Notes = append(row.Notes, t.kind)
				}
			}
			if !yield(row) {
				return
			}
		}
	}
}

// runts yields a channel's rejected marks, breaks aside.
func runts(ca *ChannelAnalysis) iter.Seq[PulseRow] {
	return func(yield func(PulseRow) bool) {
		for g := range ca.Glitches() {
			if !g.Inside && !yield(PulseRow{Channel: ca.Name, Pulse: Pulse{Start: g.Start, Width: g.Width}, Notes: []Kind{Glitch}, Glitch: true}) {
				return
			}
		}
	}
}
