package table

import (
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
)

// settleAfter is how many steps between stamps usually show the usual one.
const settleAfter = 1000

// pace watches the stamps of a table: evenly sampled, or a row for a change.
type pace struct {
	rows        int64
	first, last decode.Time
	lastIdle    bool  // the last row changed nothing
	idle        int64 // rows that changed nothing
	decimals    int   // of the last stamp
	lastSeen    [maxDecimals + 1]int64

	settleAfter int     // steps
	early       []early // until the usual step is known
	settled     bool
	low         decode.Time // usual steps lie in low..low+slack
	slack       decode.Time
	even        int64
	sum         decode.Time // of the even steps
	uneven      decode.Uneven
}

// early is a step seen before the usual one was known.
type early struct {
	from, to decode.Time
	decimals int // the fewer of both stamps
}

const maxDecimals = 12

// add takes in a row's stamp.
func (p *pace) add(t decode.Time, decimals int, idle bool) {
	decimals = min(max(decimals, 0), maxDecimals)
	p.rows++
	p.lastSeen[decimals] = p.rows
	p.lastIdle = idle
	if idle {
		p.idle++
	}
	if p.rows == 1 {
		p.first, p.last, p.decimals = t, t, decimals
		p.early = make([]early, 0, p.settleAfter)
		return
	}
	from := p.last
	p.last = t
	coarse := min(decimals, p.decimals)
	p.decimals = decimals
	if p.settled {
		if d := t - from; uint64(d-p.low) <= uint64(p.slack) {
			p.even++
			p.sum += d
			return
		}
		p.odd(from, t, coarse)
		return
	}
	p.early = append(p.early, early{from, t, coarse})
	if len(p.early) == p.settleAfter {
		p.settle()
	}
}

// settle finds the usual step, the median of those seen, and judges them.
func (p *pace) settle() {
	p.settled = true
	steps := make([]decode.Time, len(p.early))
	for i, e := range p.early {
		steps[i] = e.to - e.from
	}
	slices.Sort(steps)
	unit := p.unit()
	if len(steps) > 0 {
		p.low = steps[len(steps)/2] - unit
		p.slack = 2 * unit
	}
	for _, e := range p.early {
		p.judge(e)
	}
	p.early = nil
}

func (p *pace) judge(e early) {
	if d := e.to - e.from; uint64(d-p.low) <= uint64(p.slack) {
		p.even++
		p.sum += d
		return
	}
	p.odd(e.from, e.to, e.decimals)
}

// odd takes in a step off the usual one. One unit of the last digit printed is
// rounding, however few digits that leaves.
func (p *pace) odd(from, to decode.Time, decimals int) {
	d, unit := to-from, unitOf(decimals)
	usual := p.low + p.slack/2
	if d >= usual-unit && d <= usual+unit {
		p.even++
		p.sum += d
		return
	}
	p.off(from, to)
}

// off takes in a step that is not the usual one.
func (p *pace) off(from, to decode.Time) {
	u := &p.uneven
	if u.Count == 0 {
		u.Start = from
	}
	u.Count++
	u.End = to
	u.Largest = max(u.Largest, to-from)
}

// widened returns the bounds of a usual step where all stamps have so many
// decimals: odd lets pass no other.
func (p *pace) widened(decimals int) (low, slack decode.Time) {
	usual, half := p.low+p.slack/2, max(p.slack/2, unitOf(decimals))
	return usual - half, 2 * half
}

func unitOf(decimals int) decode.Time {
	return decode.Time(exact.PowersOfTen[maxDecimals-decimals])
}

// spacing tells of the stamps of the head in which unit they are written, 0 where
// samples are counted, and whether they stand apart unevenly.
func (p *plan) spacing() (unit decode.Time, uneven bool) {
	if p.timeAt < 0 {
		return 0, false
	}
	seen, clock := pace{}, p.clock
	for _, r := range p.rows {
		if !fits(r.cells, len(p.columns)) {
			continue
		}
		if at, decimals, err := clock.read(r.cells[p.timeAt]); err == nil {
			seen.add(at, decimals, false)
		}
	}
	seen.settle()
	if clock.step() == 0 {
		unit = seen.unit()
	}
	return unit, 10*seen.even < 9*(seen.rows-1)
}

// unit is the finest step the stamps are written in.
func (p *pace) unit() decode.Time { return p.unitSince(1) }

// unitSince is the same from a row on; 0 where there was none.
func (p *pace) unitSince(row int64) decode.Time {
	for d := maxDecimals; d >= 0; d-- {
		if p.lastSeen[d] >= row {
			return unitOf(d)
		}
	}
	return 0
}

// sampled tells whether rows are samples, and not changes: evenly spaced, or
// for the most part without a change. Volts change in every row.
func (p *pace) sampled(volts bool) bool {
	steps := p.rows - 1
	switch {
	case p.rows < 4:
		return false
	case 10*p.even >= 9*steps:
		return volts || 50*p.idle >= p.rows
	}
	return 4*p.idle >= 3*p.rows
}

// fill completes o from what was seen.
func (p *pace) fill(o *decode.Origin, volts bool) {
	if !p.settled {
		p.settle()
	}
	o.Start, o.End, o.Rows = p.first, p.last, p.rows
	o.Unit = p.unit()
	// Stamps of few digits lose decimals as they grow.
	if late := p.unitSince(p.rows - p.rows/4); p.rows >= 40 && late > o.Unit {
		o.UnitAtEnd = late
	}
	if !p.sampled(volts) {
		o.ChangesOnly, o.EndStated = true, p.lastIdle
		return
	}
	o.EndStated = true
	switch {
	case p.uneven.Count == 0:
		o.Step = float64(p.last-p.first) / float64(p.rows-1)
	case 10*p.even >= 9*(p.rows-1):
		o.Step = float64(p.sum) / float64(p.even) // without the gaps
	default:
		o.Step = float64(p.last-p.first) / float64(p.rows-1)
	}
	o.Uneven = p.uneven
}
