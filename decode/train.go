package decode

import "golang.org/x/exp/slices"

// marks of an entry in a train.
type mark uint8

const (
	afterBlind mark = 1 << iota // nothing is known of the time before it
	broken                      // a break, or a rejected part, touched it
	stuck                       // a mark over 3000 us
	cut                         // an edge unknown: no width, but a sign of life
)

// entry is one pulse of a train, or what else stood in the place of one.
type entry struct {
	start, width Time
	marks        mark
}

func (e entry) accepted() bool { return e.marks&(stuck|cut) == 0 }

// packed is an entry in 16 bytes. Below the width lie its marks. A width of
// 2^59 ps (6.7 days) or more is kept in units of 16 ps, which is finer than the
// float64 that any figure of it is given as.
type packed struct {
	start Time
	rest  uint64 // width << 5 | coarse | marks
}

const (
	coarse      = 1 << 4
	finest      = 1 << 59 // widths from here on are coarse
	chunkPulses = 4096    // 64 KiB
)

func pack(e entry) packed {
	if e.width >= finest {
		return packed{e.start, uint64(e.width)>>4<<5 | coarse | uint64(e.marks)}
	}
	return packed{e.start, uint64(e.width)<<5 | uint64(e.marks)}
}

func (p packed) width() Time    { return Time(p.rest >> 5 << (p.rest & coarse >> 2)) }
func (p packed) marks() mark    { return mark(p.rest & (coarse - 1)) }
func (p packed) entry() entry   { return entry{p.start, p.width(), p.marks()} }
func (p packed) accepted() bool { return p.marks()&(stuck|cut) == 0 }

// train stores entries in order of start, in chunks that are full but for the
// last. The first grows as it fills, since most trains of a short capture are
// small; n entries are in all of them, and odd says which of them are not plainly
// accepted, or come after a time of which nothing is known.
type train struct {
	n      int64
	chunks [][]packed
	odd    []int
}

func (t *train) add(e entry) {
	k := len(t.chunks) - 1
	if k < 0 || len(t.chunks[k]) == chunkPulses {
		t.chunks = append(t.chunks, nil)
		if k++; k > 0 {
			t.chunks[k] = make([]packed, 0, chunkPulses)
		}
	}
	t.chunks[k] = append(t.chunks[k], pack(e))
	if e.marks&^broken != 0 {
		t.odd = append(t.odd, int(t.n))
	}
	t.n++
}

// room is what the last chunk has room for; fill takes up the first n entries of it,
// which are plainly accepted.
func (t *train) room() []packed {
	if len(t.chunks) == 0 {
		return nil
	}
	last := t.chunks[len(t.chunks)-1]
	return last[len(last):min(cap(last), chunkPulses)]
}

func (t *train) fill(n int) {
	last := &t.chunks[len(t.chunks)-1]
	*last = (*last)[:len(*last)+n]
	t.n += int64(n)
}

// entryAt is the entry numbered i.
func (t *train) entryAt(i int) *packed { return &t.chunks[uint(i)/chunkPulses][uint(i)%chunkPulses] }

// reader walks a train.
type reader struct {
	chunks [][]packed
	rest   []packed
	at     int   // number of the next entry
	odd    []int // those to come, and perhaps some before
}

func (t *train) read() reader { return reader{chunks: t.chunks, odd: t.odd} }

// readFrom begins with the entry numbered i, which there is.
func (t *train) readFrom(i int) reader {
	k := i / chunkPulses
	before, _ := slices.BinarySearch(t.odd, i)
	return reader{t.chunks[k+1:], t.chunks[k][i%chunkPulses:], i, t.odd[before:]}
}

// more goes on to the next chunk where one ends.
func (r *reader) more() bool {
	if len(r.rest) == 0 && len(r.chunks) > 0 {
		r.rest, r.chunks = r.chunks[0], r.chunks[1:]
	}
	return len(r.rest) > 0
}

func (r *reader) next() (entry, bool) {
	if !r.more() {
		return entry{}, false
	}
	return r.take(1)[0].entry(), true
}

func (r *reader) take(n int) []packed {
	taken := r.rest[:n]
	r.rest = r.rest[n:]
	r.at += n
	return taken
}

// pulse goes on to the next accepted pulse.
func (r *reader) pulse() (e entry, ok bool) {
	for e, ok = r.next(); ok && !e.accepted(); {
		e, ok = r.next()
	}
	return e, ok
}

// run goes on to the accepted pulses that come next and lie side by side, so many at
// most; there are none at the end.
func (r *reader) run(most int) []packed {
	for r.more() {
		for len(r.odd) > 0 && r.odd[0] < r.at {
			r.odd = r.odd[1:]
		}
		n := min(most, len(r.rest))
		if len(r.odd) > 0 {
			n = min(n, r.odd[0]-r.at)
		}
		if n > 0 {
			return r.take(n)
		}
		if one := r.take(1); one[0].accepted() {
			return one
		}
	}
	return nil
}

// intervals fills in the times between the leading edges of the accepted pulses that
// come next, of which there are as many; last is the edge before them, and then the
// last of theirs.
func (r *reader) intervals(to []Time, last Time) Time {
	for len(to) > 0 {
		some := r.run(len(to))
		own := to[:len(some)]
		for i := range own {
			at := some[i].start
			own[i], last = at-last, at
		}
		to = to[len(some):]
	}
	return last
}

// piece is how many values are laid out at a time.
const piece = 512

// accepted yields the leading edges and the widths of the accepted pulses in pieces.
func (t *train) accepted(yield func(starts, widths []Time) bool) {
	var starts, widths [piece]Time
	r := t.read()
	for some := r.run(piece); len(some) > 0; some = r.run(piece) {
		for i := range some {
			starts[i], widths[i] = some[i].start, some[i].width()
		}
		if !yield(starts[:len(some)], widths[:len(some)]) {
			return
		}
	}
}

// widths yields the widths alone.
func (t *train) widths(yield func([]Time) bool) {
	var widths [piece]Time
	r := t.read()
	for some := r.run(piece); len(some) > 0; some = r.run(piece) {
		for i := range some {
			widths[i] = some[i].width()
		}
		if !yield(widths[:len(some)]) {
			return
		}
	}
}
