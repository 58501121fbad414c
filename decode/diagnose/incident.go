package diagnose

import (
	"cmp"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// observation is one finding of warn or fail with the lines it speaks of.
// Glitches on lines that are not judged are no observations of their own: they
// are asked for where they can testify.
type observation struct {
	kind       decode.Kind
	lines      []*line
	start, end decode.Time
	count      int64
	finding    int // index
}

func (o observation) on(l *line) bool { return slices.Contains(o.lines, l) }

// incident is a row of observations that belong together in time.
type incident []observation

// observations lists what was seen, in order of time.
func (b *bench) observations() (all []observation) {
	for i, f := range b.judgement.Findings {
		if f.Severity == decode.Note {
			continue
		}
		o := observation{f.Kind, b.named(f.Channels), f.Start, f.End, f.Count, i}
		if len(o.lines) == 0 {
			o.lines = b.lines // of the capture as a whole
		}
		if f.Kind == decode.PeriodOutOfRange && !b.meanPeriod(o) {
			o.start = o.end // the frame came late, at the end of its interval
		}
		all = append(all, o)
	}
	slices.SortStableFunc(all, func(x, y observation) int { return cmp.Compare(x.start, y.start) })
	return all
}

// incidents gathers all observations. What lasts the whole capture is an
// incident by itself.
func (b *bench) incidents() (all []incident) {
	var moments []observation
	for _, o := range b.observations() {
		if b.lasting(o) {
			all = append(all, incident{o})
		} else {
			moments = append(moments, o)
		}
	}
	return append(all, b.gather(moments)...)
}

// lastingKinds speak of a channel as a whole.
var lastingKinds = []decode.Kind{decode.WidthJitter, decode.PeriodJitter, decode.Inverted, decode.WrongSignal,
	decode.CoarseSampling, decode.FewFrames}

func (b *bench) lasting(o observation) bool {
	switch o.kind {
	case decode.PeriodOutOfRange:
		return b.meanPeriod(o)
	case decode.SignalLoss:
		return o.lines[0].Signal == decode.Silent
	}
	return slices.Contains(lastingKinds, o.kind)
}

// meanPeriod reports whether a finding speaks of the mean period, not of one
// late frame.
func (b *bench) meanPeriod(o observation) bool {
	p := o.lines[0].Period
	f := b.judgement.Findings[o.finding]
	return p != nil && o.lines[0].Stated.Period > 0 && (f.Measured == p.Intervals.Mean/1000 || f.Measured == p.Nominal/1000)
}

const shortestPause = 100 * decode.Millisecond

// chain is a row of observations on one line.
type chain struct {
	incident
	line       *line
	begin, end decode.Time
}

// chains puts observations of one line in a row that are less than three frames
// (or 100 ms) apart. All are in order of time.
func chains(all []observation) (out []*chain) {
	last := map[*line]*chain{}
	for _, o := range all {
		l := o.lines[0]
		c := last[l]
		if c == nil || o.start-c.end >= max(3*l.period, shortestPause) {
			c = &chain{line: l, begin: o.start, end: o.end}
			last[l] = c
			out = append(out, c)
		}
		c.incident = append(c.incident, o)
		c.end = max(c.end, o.end)
	}
	return out
}

// gather makes incidents: chains of different lines are one where they overlap
// or begin within two frames of one another.
func (b *bench) gather(all []observation) (out []incident) {
	var end, lastBegin decode.Time
	for _, c := range chains(all) {
		if n := len(out); n > 0 && (c.begin <= end || c.begin-lastBegin <= 2*c.line.period) {
			out[n-1] = append(out[n-1], c.incident...)
			end, lastBegin = max(end, c.end), max(lastBegin, c.begin)
			continue
		}
		out = append(out, c.incident)
		end, lastBegin = c.end, c.begin
	}
	for _, in := range out {
		slices.SortStableFunc(in, func(x, y observation) int { return cmp.Compare(x.start, y.start) })
	}
	return out
}

func (in incident) start() decode.Time {
	start := in[0].start
	for _, o := range in {
		start = min(start, o.start)
	}
	return start
}

func (in incident) end() decode.Time {
	end := in[0].end
	for _, o := range in {
		end = max(end, o.end)
	}
	return end
}

func (in incident) without(part incident) (rest []observation) {
	taken := map[int]bool{}
	for _, o := range part {
		taken[o.finding] = true
	}
	return in.of(func(o observation) bool { return !taken[o.finding] })
}

// of keeps the observations that fit.
func (in incident) of(fits func(observation) bool) (part incident) {
	for _, o := range in {
		if fits(o) {
			part = append(part, o)
		}
	}
	return part
}

// kinds keeps the observations of some kinds.
func (in incident) kinds(kinds ...decode.Kind) incident {
	return in.of(func(o observation) bool { return slices.Contains(kinds, o.kind) })
}

// lines lists the lines of the observations, in the order of the capture.
func (in incident) lines(b *bench) (all []*line) {
	for _, o := range in {
		all = append(all, o.lines...)
	}
	return b.inOrder(all)
}
