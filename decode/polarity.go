package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// polarities chooses the active level of each channel that moved. What a
// channel's own marks leave open the other channels decide, then custom.
func (r *Recording) polarities(a *Analysis) []*pulser {
	chosen, votes := r.ownPolarities(a)
	open := func(i int) bool { return r.channels[i].high != nil && chosen[i] == nil }
	doubt := votes[High] == votes[Low]
	for i, w := range r.channels {
		if doubt && open(i) && w.mostly() == Servo {
			votes[w.byCustom().active]++ // all of them then take what most do
		}
	}
	for i, w := range r.channels {
		if !open(i) {
			continue
		}
		if chosen[i] = w.byCustom(); votes[High]+votes[Low] > 0 {
			chosen[i] = w.either(votes[High] >= votes[Low])
		}
		if doubt && w.mostly() == Servo {
			a.Notes = append(a.Notes, Remarkf(EitherLevel, w.name, "both levels could be the pulse; %s is taken as active; option active says otherwise", chosen[i].active))
		}
	}
	return chosen
}

// ownPolarities chooses by each channel's own marks, and counts which levels the
// servo channels have for which nobody states one.
func (r *Recording) ownPolarities(a *Analysis) (chosen []*pulser, votes map[Level]int) {
	chosen, votes = make([]*pulser, len(r.channels)), map[Level]int{}
	for i, w := range r.channels {
		if w.high == nil {
			continue
		}
		chosen[i] = w.tellsItself(r.resolution)
		if w.misstated() {
			a.Notes = append(a.Notes, Remarkf(OtherLevel, w.name, "%s is stated as the level of the pulses, but what is as long as a pulse is %s", w.stated.Active, w.stated.Active.Other()))
		}
		if p := chosen[i]; p != nil && w.mostly() == Servo && w.stated.Active == Unknown {
			votes[p.active]++
		}
	}
	return chosen, votes
}

// tellsItself chooses the level that is stated, else the only one with at least
// 90 % of its marks from 300 to 3000 us, else the one whose leading edges are
// the steadier by more than rounding makes, a quarter of a time step, else the one
// that the line does not rest at; nil where all that leaves it open.
func (w *channelState) tellsItself(step float64) *pulser {
	if p := w.of(w.stated.Active); p != nil {
		return p
	}
	if h, l := w.high.fits(), w.low.fits(); h != l {
		return w.either(h)
	} else if !h {
		return w.either(w.high.accepted >= w.low.accepted)
	}
	n := min(w.high.train.n, w.low.train.n)
	h, l := w.high.train.unsteadiness(), w.low.train.unsteadiness()
	chance := 1 + 4/math.Sqrt(float64(n)) // how far apart two samples of one spread may be
	if math.Abs(h-l)*4 > step && (h*chance < l || l*chance < h) {
		return w.either(h < l)
	}
	if w.high.rested != w.low.rested {
		return w.either(w.high.rested > w.low.rested)
	}
	return nil
}

// fits reports whether marks of 300 to 3000 us make up at least 90 % of those
// that are longer than a glitch.
func (p *pulser) fits() bool {
	return p.accepted > 0 && p.accepted*10 >= (p.accepted+p.stuck)*9
}

// misstated reports whether the level that is stated has marks that are none of
// a pulse, and the other one has.
func (w *channelState) misstated() bool {
	stated, other := w.of(w.stated.Active), w.of(w.stated.Active.Other())
	return stated != nil && !stated.fits() && other.fits() && other.accepted >= fewMarks
}

// of returns the pulses of a level.
func (w *channelState) of(l Level) *pulser {
	switch l {
	case High:
		return w.high
	case Low:
		return w.low
	}
	return nil
}

func (w *channelState) either(high bool) *pulser {
	if high {
		return w.high
	}
	return w.low
}

// byCustom takes the shorter level for the pulse, then high.
func (w *channelState) byCustom() *pulser {
	h, l := w.high.train.typicalWidth(), w.low.train.typicalWidth()
	return w.either(within(h, l, 5) || h < l)
}

// unsteadiness is the mean change from one interval to the next, the largest
// tenth aside.
func (t *train) unsteadiness() float64 {
	var changes []Time
	var before, last Time
	have := 0
	r := t.read()
	for e, ok := r.next(); ok && len(changes) < scaleFrom; e, ok = r.next() {
		if e.marks&afterBlind != 0 {
			have = 0
		}
		if !e.accepted() {
			continue
		}
		if have++; have > 2 {
			changes = append(changes, absDiff(e.start-last, last-before))
		}
		before, last = last, e.start
	}
	if len(changes) == 0 {
		return 0
	}
	slices.Sort(changes)
	sum := 0.0
	n := (len(changes)*9 + 9) / 10
	for _, d := range changes[:n] {
		sum += float64(d)
	}
	return sum / float64(n)
}

func (t *train) typicalWidth() Time {
	var widths []Time
	r := t.read()
	for e, ok := r.next(); ok && len(widths) < scaleFrom; e, ok = r.next() {
		if e.accepted() {
			widths = append(widths, e.width)
		}
	}
	if len(widths) == 0 {
		return 0
	}
	return Time(quantile(widths, 0.5))
}
