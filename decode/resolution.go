package decode

import (
	"math"

	"golang.org/x/exp/slices"
)

// minStamps is how many edges a sampling grid is found from.
const minStamps = 20

// grid is a usual sampling interval of num/den picoseconds.
type grid struct{ num, den Time }

func (g grid) step() float64 { return float64(g.num) / float64(g.den) }

// usualGrids are the intervals of usual sample rates, longest first: 1, 2,
// 2.5, 4, 5, 8 x 10^n Hz from 10 kHz, and 12, 16, 24, 32, 48, 96 MHz. Common
// practice, no source.
var usualGrids = func() []grid {
	var all []grid
	for decade := Time(10_000); decade <= 1e9; decade *= 10 {
		for _, tenths := range []Time{10, 20, 25, 40, 50, 80} {
			all = append(all, reduced(10*Second, tenths*decade))
		}
	}
	for _, mega := range []Time{12, 16, 24, 32, 48, 96} {
		all = append(all, reduced(Second, mega*1_000_000))
	}
	slices.SortFunc(all, func(a, b grid) int { return int(b.num*a.den - a.num*b.den) })
	return all
}()

func reduced(a, b Time) grid {
	x, y := a, b
	for y != 0 {
		x, y = y, x%y
	}
	return grid{a / x, b / x}
}

// sampleGrid finds the sampling grid behind a list of changes: the longest usual
// interval on which all stamps lie, to within one unit in which they are
// written.
type sampleGrid struct {
	unit  Time
	first Time
	n     int64
	fresh int64 // stamps that end a stretch unlike the one before it
	least Time  // smallest such difference, rounding of the stamps aside
	alive []grid
}

// add takes a stamp and by how much the stretch that it ends differs from the
// one before at that level. Only differences are evidence: a train that repeats
// exactly lies on many grids.
func (l *sampleGrid) add(t, difference Time) {
	if l.n == 0 {
		l.first, l.alive, l.least = t, slices.Clone(usualGrids), math.MaxInt64
	}
	l.n++
	if difference != 0 {
		l.fresh++
	}
	if difference > 2*l.unit {
		l.least = min(l.least, difference)
	}
	for len(l.alive) > 0 && !l.alive[0].holds(t-l.first, l.unit) {
		l.alive = l.alive[1:]
	}
	if l.n <= 1000 {
		for i := 1; i < len(l.alive); {
			if l.alive[i].holds(t-l.first, l.unit) {
				i++
			} else {
				l.alive = slices.Delete(l.alive, i, i+1)
			}
		}
	}
}

func (g grid) holds(d, unit Time) bool {
	r := d * g.den % g.num
	if r < 0 {
		r += g.num
	}
	return min(r, g.num-r) <= unit*g.den
}

// step returns the resolution in picoseconds: the grid, else the unit of the
// stamps, else 0. On a true grid stretches differ by one or two of its steps.
func (l *sampleGrid) step() float64 {
	if l.fresh >= minStamps {
		for _, g := range l.alive {
			if g.step() >= 4*float64(l.unit) && float64(l.least) <= 2.5*g.step() {
				return g.step()
			}
		}
	}
	return float64(l.unit)
}
