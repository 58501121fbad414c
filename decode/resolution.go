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
	odd   [2]bool // whether stamps of an even and of an odd number of units occur

	settled bool // no grid is left, whatever stamps come
}

// tested is from how many stamps on only the longest grid left is tested.
const tested = 200

// add takes a stamp and by how much the stretch that it ends differs from the
// one before at that level. Only differences are evidence: a train that repeats
// exactly lies on many grids.
func (l *sampleGrid) add(t, difference Time) {
	if l.n == 0 {
		l.first, l.alive, l.least = t, slices.Clone(usualGrids), math.MaxInt64
	}
	l.n++
	if l.unit > 0 && !(l.odd[0] && l.odd[1]) {
		l.odd[t/l.unit&1] = true
	}
	if difference != 0 {
		l.fresh++
	}
	if difference > 2*l.unit {
		l.least = min(l.least, difference)
	}
	for len(l.alive) > 0 && !l.holds(l.alive[0], t) {
		l.alive = l.alive[1:]
	}
	if l.n <= tested {
		for i := 1; i < len(l.alive); {
			if l.holds(l.alive[i], t) {
				i++
			} else {
				l.alive = slices.Delete(l.alive, i, i+1)
			}
		}
	}
	l.settled = len(l.alive) == 0 || !l.wide(l.alive[0])
}

// wide reports whether a grid is wide enough to be told from the unit: two units,
// four where stamps are odd as well as even, as rounded to its unit anything lies
// on a grid of two.
func (l *sampleGrid) wide(g grid) bool {
	units := Time(2)
	if l.odd[0] && l.odd[1] {
		units = 4
	}
	return g.num >= units*l.unit*g.den
}

// holds reports whether a stamp lies on a grid through the first: to within a
// unit, as either may be rounded; a grid of less than four units to half of one.
func (l *sampleGrid) holds(g grid, t Time) bool {
	r := (t - l.first) * g.den % g.num
	if r < 0 {
		r += g.num
	}
	off := min(r, g.num-r)
	if g.num < 4*l.unit*g.den {
		off *= 2
	}
	return off <= l.unit*g.den
}

// step returns the resolution in picoseconds: the longest grid left, else the
// unit of the stamps, else 0. On a true grid stretches differ by one or two of
// its steps.
func (l *sampleGrid) step() float64 {
	if l.fresh >= minStamps && !l.settled && float64(l.least) <= 2.5*l.alive[0].step() {
		return l.alive[0].step()
	}
	return float64(l.unit)
}
