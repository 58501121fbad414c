// Package alike finds captures that hold the same recording, after any shift in
// time, whatever their channels are called.
package alike

import (
	"math"
	"math/bits"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

const (
	// Frames is how long a stretch has to agree, pulse by pulse.
	Frames = 100
	// resolvedSteps is the jitter at rest, in time steps, from which a stretch
	// that agrees is no chance.
	resolvedSteps = 1.5
)

// Recording is what is kept of a capture to compare it: 12 bytes a pulse.
type Recording struct {
	step   decode.Time // time step, rounded up
	trains []train
}

// train is one channel's pulses.
type train struct {
	name   string
	rms    float64 // of the width at rest, picoseconds
	starts []decode.Time
	widths []uint32
}

// Keep takes from an analysis what likeness is told by: the servo channels and
// the slots of streams.
func Keep(a *decode.Analysis) *Recording {
	r := &Recording{step: a.Origin.Unit}
	if step := a.Resolution * float64(decode.Microsecond); step > 0 {
		r.step = max(r.step, decode.Time(math.Ceil(step)))
	}
	for _, c := range a.Measured() {
		if c.Signal != decode.Servo || c.PulseCount < Frames {
			continue
		}
		t := train{name: c.Name}
		if c.Jitter != nil && c.Jitter.WidthRMS > 0 {
			t.rms = c.Jitter.WidthRMS * float64(decode.Microsecond)
		}
		for p := range c.Pulses() {
			t.starts = append(t.starts, p.Start)
			t.widths = append(t.widths, uint32(p.Width))
		}
		r.trains = append(r.trains, t)
	}
	return r
}

// Told says whether the recording has noise enough to be told from another: on
// some channel, the jitter at rest is at least 1.5 of its time steps.
func (r *Recording) Told() bool {
	return slices.ContainsFunc(r.trains, func(t train) bool { return t.resolved(r.step) })
}

func (t *train) resolved(step decode.Time) bool {
	return t.rms >= resolvedSteps*float64(step) && t.rms > 0
}

// Whole is the match of a recording with its like, from its first pulse to its
// last on its first channel.
func (r *Recording) Whole(a, b int) Match {
	m := Match{A: a, B: b}
	if len(r.trains) > 0 {
		t := &r.trains[0]
		n := len(t.starts)
		m.Channels, m.Frames = [2]string{t.name, t.name}, n
		m.Start = [2]decode.Time{t.starts[0], t.starts[0]}
		m.End = [2]decode.Time{t.end(n - 1), t.end(n - 1)}
	}
	return m
}

// Match is a pair of recordings, by their places in the list, and the stretch
// in which they agree: on which channels, over how many frames, and when it
// begins and ends in each.
type Match struct {
	A, B       int
	Channels   [2]string
	Frames     int
	Start, End [2]decode.Time
}

// Find lists the pairs that hold the same recording, each once, in the order of
// the list. Entries may be nil. Pairs of one owner are left out.
func Find(all []*Recording, owner func(int) string) []Match {
	s := &search{all: all, owner: owner, found: map[[2]int]Match{}}
	for _, level := range s.levels() {
		s.compare(level)
	}
	out := make([]Match, 0, len(s.found))
	for _, m := range s.found {
		out = append(out, m)
	}
	slices.SortFunc(out, func(x, y Match) int {
		if x.A != y.A {
			return x.A - y.A
		}
		return x.B - y.B
	})
	return out
}

// search looks for stretches that agree. Laying every train beside every other
// at every shift would take minutes for a class, so it looks up candidates. All
// blocks of 50 pulses of the trains are listed by a few of their widths and by
// the time from the first to the last leading edge, each rounded to cells of
// twice the tolerance. A stretch of 100 frames holds at least one of the blocks
// that begin at every fiftieth pulse of the other train. In two files of one
// recording every edge lies within a time step of the same instant, so that
// block's figures are within the tolerance of those listed, in the same cell or
// in the nearer neighbour; every combination of the two is looked up. None is
// missed, and what is found by chance is seen at the first pulses that differ.
type search struct {
	all   []*Recording
	owner func(int) string
	found map[[2]int]Match
}

// place is a pulse of a train.
type place struct{ recording, train, pulse int32 }

// listed is a block under the cells that its figures lie in.
type listed struct {
	key uint64
	place
}

const (
	block  = Frames / 2
	probes = 6 // widths of a block that are looked at
)

// levels are the tolerances at which recordings have to be compared: each time
// step, rounded up to a power of two.
func (s *search) levels() []decode.Time {
	var out []decode.Time
	for _, r := range s.all {
		if r != nil && r.Told() && !slices.Contains(out, r.level()) {
			out = append(out, r.level())
		}
	}
	slices.Sort(out)
	return out
}

func (r *Recording) level() decode.Time {
	l := decode.Time(1)
	for l < r.step {
		l *= 2
	}
	return l
}

// compare looks the blocks of recordings of one level up among those of this
// level and finer ones.
func (s *search) compare(level decode.Time) {
	tolerance := 2 * level // no less than the sum of both steps
	list := s.list(level, tolerance)
	var keys []uint64
	for i, r := range s.all {
		if r == nil || r.level() != level {
			continue
		}
		for k := range r.trains {
			t := &r.trains[k]
			if !t.resolved(r.step) {
				continue
			}
			for at := 0; at+block <= len(t.starts); at += block {
				keys = t.keys(at, tolerance, keys)
				for _, key := range keys {
					for _, l := range list.near(key) {
						if l.key == key {
							s.try(l.place, place{int32(i), int32(k), int32(at)})
						}
					}
				}
			}
		}
	}
}

// list lists every block of the recordings of a level and finer ones, by its key.
func (s *search) list(level, tolerance decode.Time) *index {
	var list []listed
	for i, r := range s.all {
		if r == nil || r.level() > level {
			continue
		}
		for k := range r.trains {
			t := &r.trains[k]
			for at := 0; at+block <= len(t.starts) && t.resolved(level/2); at++ {
				list = append(list, listed{t.key(at, tolerance), place{int32(i), int32(k), int32(at)}})
			}
		}
	}
	return newIndex(list)
}

// index holds what is listed in the order of the upper bits of its keys.
type index struct {
	list []listed
	from []int32 // by those bits: where they begin
	cut  int     // the bits below them
}

func newIndex(list []listed) *index {
	n := bits.Len(uint(len(list)))
	x := &index{list: make([]listed, len(list)), from: make([]int32, 1<<n+1), cut: 64 - n}
	for _, l := range list {
		x.from[l.key>>x.cut+1]++
	}
	for i := range 1 << n {
		x.from[i+1] += x.from[i]
	}
	next := slices.Clone(x.from)
	for _, l := range list {
		at := &next[l.key>>x.cut]
		x.list[*at] = l
		*at++
	}
	return x
}

// near returns what has the upper bits of a key.
func (x *index) near(key uint64) []listed {
	upper := key >> x.cut
	return x.list[x.from[upper]:x.from[upper+1]]
}

// figures are what a block is listed by: the time that it spans and a few of
// its widths.
func (t *train) figures(at int) (f [probes + 1]decode.Time) {
	f[0] = t.starts[at+block-1] - t.starts[at]
	for i := range probes {
		f[i+1] = decode.Time(t.widths[at+i*(block-1)/(probes-1)])
	}
	return f
}

// key is that of the cells that the block from a pulse on lies in.
func (t *train) key(at int, tolerance decode.Time) (key uint64) {
	for _, f := range t.figures(at) {
		key = mix(key, f/(2*tolerance))
	}
	return key
}

// keys are those of all cells in which a block within the tolerance of this one
// may lie.
func (t *train) keys(at int, tolerance decode.Time, keys []uint64) []uint64 {
	keys = append(keys[:0], 0)
	for _, f := range t.figures(at) {
		cell := f / (2 * tolerance)
		other := cell + 1
		if f%(2*tolerance) < tolerance {
			other = cell - 1
		}
		for i, k := range keys {
			keys[i] = mix(k, cell)
			keys = append(keys, mix(k, other))
		}
	}
	return keys
}

// mix takes a further cell into a key; keys that meet by chance cost time only.
func mix(key uint64, cell decode.Time) uint64 {
	key = (key ^ uint64(cell)) * 0x9e3779b97f4a7c15
	return key ^ key>>29
}

// try compares two trains as two of their pulses lay them beside each other.
func (s *search) try(p, q place) {
	if p.recording == q.recording || s.owner(int(p.recording)) == s.owner(int(q.recording)) {
		return
	}
	if p.recording > q.recording {
		p, q = q, p
	}
	pair := [2]int{int(p.recording), int(q.recording)}
	if _, ok := s.found[pair]; ok {
		return
	}
	a, b := s.all[pair[0]], s.all[pair[1]]
	x, y := &a.trains[p.train], &b.trains[q.train]
	coarser := max(a.step, b.step)
	if !x.resolved(coarser) || !y.resolved(coarser) {
		return
	}
	from, to := agree(x, y, int(p.pulse), int(q.pulse), a.step+b.step)
	if to-from < Frames {
		return
	}
	shift := int(q.pulse - p.pulse)
	s.found[pair] = Match{A: pair[0], B: pair[1], Channels: [2]string{x.name, y.name}, Frames: to - from,
		Start: [2]decode.Time{x.starts[from], y.starts[from+shift]},
		End:   [2]decode.Time{x.end(to - 1), y.end(to - 1 + shift)}}
}

func (t *train) end(i int) decode.Time { return t.starts[i] + decode.Time(t.widths[i]) }

// agree returns the stretch of x about pulse i whose widths and intervals agree
// with those of y about pulse j.
func agree(x, y *train, i, j int, tolerance decode.Time) (from, to int) {
	near := func(a, b decode.Time) bool { return max(a-b, b-a) <= tolerance }
	width := func(k int) bool { return near(decode.Time(x.widths[i+k]), decode.Time(y.widths[j+k])) }
	step := func(k, l int) bool { return near(x.starts[i+l]-x.starts[i+k], y.starts[j+l]-y.starts[j+k]) }
	if !width(0) {
		return 0, 0
	}
	up := 1
	for i+up < len(x.starts) && j+up < len(y.starts) && width(up) && step(up-1, up) {
		up++
	}
	down := 0
	for i-down-1 >= 0 && j-down-1 >= 0 && width(-down-1) && step(-down-1, -down) {
		down++
	}
	return i - down, i + up
}
