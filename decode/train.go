package decode

import "encoding/binary"

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

const chunkSize = 64 << 10

// train stores entries in order of start. Interval and width are kept as their
// change from the entry before, in as few bytes as that takes: a steady train
// needs 3 to 8 bytes a pulse, which is what bounds the memory of a long capture.
type train struct {
	n      int64
	chunks [][]byte
	last   coder
}

// coder is the state that writing and reading share.
type coder struct{ start, interval, width Time }

func zigzag(v Time) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(u uint64) Time { return Time(u>>1) ^ -Time(u&1) }

func (t *train) add(e entry) {
	interval := e.start - t.last.start
	var b [2*binary.MaxVarintLen64 + 1]byte
	head := zigzag(interval-t.last.interval) << 1
	if e.marks != 0 {
		head |= 1
	}
	n := binary.PutUvarint(b[:], head)
	n += binary.PutUvarint(b[n:], zigzag(e.width-t.last.width))
	if e.marks != 0 {
		b[n] = byte(e.marks)
		n++
	}
	if k := len(t.chunks) - 1; k < 0 || len(t.chunks[k])+n > chunkSize {
		t.chunks = append(t.chunks, nil)
	}
	k := len(t.chunks) - 1
	if k > 0 && t.chunks[k] == nil {
		t.chunks[k] = make([]byte, 0, chunkSize)
	}
	t.chunks[k] = append(t.chunks[k], b[:n]...)
	t.last = coder{e.start, interval, e.width}
	t.n++
}

// reader walks a train.
type reader struct {
	chunks [][]byte
	rest   []byte
	last   coder
}

func (t *train) read() reader { return reader{chunks: t.chunks} }

func (r *reader) next() (entry, bool) {
	for len(r.rest) == 0 {
		if len(r.chunks) == 0 {
			return entry{}, false
		}
		r.rest, r.chunks = r.chunks[0], r.chunks[1:]
	}
	head, n := binary.Uvarint(r.rest)
	change, k := binary.Uvarint(r.rest[n:])
	r.rest = r.rest[n+k:]
	var m mark
	if head&1 != 0 {
		m, r.rest = mark(r.rest[0]), r.rest[1:]
	}
	interval := r.last.interval + unzigzag(head>>1)
	r.last = coder{r.last.start + interval, interval, r.last.width + unzigzag(change)}
	return entry{r.last.start, r.last.width, m}, true
}
