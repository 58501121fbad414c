package decode

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
}

func (t *train) read() reader { return reader{chunks: t.chunks} }

// readFrom begins with the entry numbered i, which there is.
func (t *train) readFrom(i int) reader {
	k := i / chunkPulses
	return reader{t.chunks[k+1:], t.chunks[k][i%chunkPulses:]}
}

func (r *reader) next() (entry, bool) {
	if len(r.rest) == 0 {
		if len(r.chunks) == 0 {
			return entry{}, false
		}
		r.rest, r.chunks = r.chunks[0], r.chunks[1:]
	}
	e := r.rest[0].entry()
	r.rest = r.rest[1:]
	return e, true
}

// pulse goes on to the next accepted pulse.
func (r *reader) pulse() (e entry, ok bool) {
	for e, ok = r.next(); ok && !e.accepted(); {
		e, ok = r.next()
	}
	return e, ok
}

// starts fills in the leading edges of the accepted pulses that come next, of which
// there are as many.
func (r *reader) starts(to []Time) {
	for n := 0; n < len(to); {
		if len(r.rest) == 0 {
			r.rest, r.chunks = r.chunks[0], r.chunks[1:]
		}
		used := 0
		for ; used < len(r.rest) && n < len(to); used++ {
			p := &r.rest[used]
			if to[n] = p.start; p.accepted() {
				n++
			}
		}
		r.rest = r.rest[used:]
	}
}

// piece is how many values are laid out at a time.
const piece = 512

// accepted yields the leading edges and the widths of the accepted pulses in pieces.
func (t *train) accepted(yield func(starts, widths []Time) bool) {
	var starts, widths [piece]Time
	for _, chunk := range t.chunks {
		for len(chunk) > 0 {
			part := chunk[:min(len(chunk), piece)]
			n := 0
			for i := range part {
				p := &part[i]
				if starts[n], widths[n] = p.start, p.width(); p.accepted() {
					n++
				}
			}
			if !yield(starts[:n], widths[:n]) {
				return
			}
			chunk = chunk[len(part):]
		}
	}
}

// widths yields the widths alone.
func (t *train) widths(yield func([]Time) bool) {
	t.accepted(func(_, widths []Time) bool { return yield(widths) })
}
