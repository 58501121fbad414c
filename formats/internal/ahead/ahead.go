// Package ahead reads a text in pieces ahead of whoever takes them, and lets
// workers look at each piece first.
package ahead

import (
	"bytes"
	"io"
	"runtime"
	"sync"
	"sync/atomic"
)

// Slack is how many zero bytes lie behind a piece's text, so that words of it
// can be read at any place.
const Slack = 24

// How steers a queue. The zero value takes the usual.
type How struct {
	Size    int // of a piece, about; usually half a mebibyte, which a core's cache holds
	Workers int // usually one a core
}

const (
	usualSize = 512 << 10
	patience  = 4 // a piece without a seam is handed out after so many blocks
)

// Piece is a part of the text that ends at a seam, and what a worker found.
type Piece[T any] struct {
	Text  []byte
	Found T
	Seen  bool  // it begins behind a seam, and a worker has looked at it
	Err   error // what ended the text behind this piece; nil where more follows

	buf []byte
}

// Queue hands out the pieces of a text in order. Workers read a block each, the
// one where the other ends, and cut it where its last seam is. What stands
// behind that goes before the next block. Of a text that can be read at any place
// a worker reads the end of the block before as well, and so mostly knows what
// that is before it is told; a stream is read by one worker after the other, and
// decompressed beside the looking.
type Queue[T any] struct {
	r      io.Reader
	at     *io.SectionReader // nil for a stream
	seam   func(text []byte) int
	size   int
	free   chan *Piece[T]
	stop   chan struct{}
	busy   sync.WaitGroup
	handed int // pieces, empty ones too

	blocks atomic.Int64
	turns  []chan seamed    // what each block that is at hand finds before it
	pieces []chan *Piece[T] // and its piece
}

// seamed is what a block leaves to the next.
type seamed struct {
	rest  []byte // of the text, behind the last seam
	torn  bool   // the piece before did not end at a seam
	ended bool
}

const (
	headRoom = 4 << 10 // is kept before a block for what the block before leaves it
	glance   = 1 << 10 // that much of the block before is read again
)

// New begins to read r; an *io.SectionReader is read from its beginning, by
// positions. A piece ends where seam finds the last place in a text to cut it,
// 0 for none. Each worker looks with what a call of look returns.
func New[T any](r io.Reader, how How, seam func([]byte) int, look func() func(*Piece[T])) *Queue[T] {
	if how.Size == 0 {
		how.Size = usualSize
	}
	if how.Workers == 0 {
		how.Workers = runtime.GOMAXPROCS(0)
	}
	pieces := 2*how.Workers + 1
	q := &Queue[T]{r: r, seam: seam, size: how.Size, free: make(chan *Piece[T], pieces), stop: make(chan struct{})}
	q.at, _ = r.(*io.SectionReader)
	for range pieces {
		q.free <- &Piece[T]{}
		q.turns = append(q.turns, make(chan seamed, 1))
		q.pieces = append(q.pieces, make(chan *Piece[T], 1))
	}
	q.turns[0] <- seamed{}
	q.busy.Add(how.Workers)
	for range how.Workers {
		go q.work(look())
	}
	return q
}

// Next returns the next piece, which is the caller's until it is given to Free.
// It is not called again after a piece with an error.
func (q *Queue[T]) Next() *Piece[T] {
	for {
		p := <-q.pieces[q.handed%len(q.pieces)]
		q.handed++
		if len(p.Text) > 0 || p.Err != nil {
			return p
		}
		q.Free(p)
	}
}

// Free takes back a piece.
func (q *Queue[T]) Free(p *Piece[T]) { q.free <- p }

// Close stops the workers and waits until none reads.
func (q *Queue[T]) Close() {
	close(q.stop)
	q.busy.Wait()
}

func (q *Queue[T]) work(look func(*Piece[T])) {
	defer q.busy.Done()
	for more := true; more; {
		select {
		case <-q.stop:
			return
		case p := <-q.free:
			if p.buf == nil {
				p.buf = make([]byte, headRoom+q.size+Slack)
			}
			more = q.fill(p, look)
		}
	}
}

// fill makes a piece of the next block and looks at it; false where the text has
// ended.
func (q *Queue[T]) fill(p *Piece[T], look func(*Piece[T])) (more bool) {
	n := int(q.blocks.Add(1) - 1)
	turn, next := q.turns[n%len(q.turns)], q.turns[(n+1)%len(q.turns)]
	before, size, known := q.readAt(p, n)
	if !known {
		before = <-turn
	}
	if before.ended {
		next <- before
		return false
	}
	if q.at == nil {
		size, p.Err = readFull(q.r, p.buf[headRoom:headRoom+q.size])
	}
	after := q.cut(p, before, size)
	next <- after
	if p.Seen {
		look(p)
	}
	if known {
		<-turn
	}
	q.pieces[n%len(q.pieces)] <- p
	return !after.ended
}

// readAt reads the n-th block of a text that can be read at any place. What stands
// before it is known where the last seam is near the end of the block before.
func (q *Queue[T]) readAt(p *Piece[T], n int) (before seamed, size int, known bool) {
	if q.at == nil {
		return seamed{}, 0, false
	}
	back := min(n*q.size, q.size, glance)
	text := p.buf[headRoom-back : headRoom+q.size]
	size, p.Err = q.at.ReadAt(text, int64(n)*int64(q.size)-int64(back))
	if size -= back; size < 0 { // the file has become shorter
		return seamed{}, 0, false
	}
	if seam := q.seam(text[:back]); seam > 0 {
		return seamed{rest: text[seam:back]}, size, true
	}
	return seamed{}, size, false
}

// cut makes a piece of what is left of the text before and the block that was
// read into it, up to the last seam. Where there is none the piece is empty, and all
// goes to the next while that is not too much.
func (q *Queue[T]) cut(p *Piece[T], before seamed, size int) (after seamed) {
	from, end := headRoom-len(before.rest), headRoom+size
	text := p.buf
	if from < 0 {
		text = append(bytes.Clone(before.rest), p.buf[headRoom:]...)
		from, end = 0, len(before.rest)+size
	} else {
		copy(text[from:], before.rest)
	}
	seam := from + q.seam(text[from:end])
	after = seamed{torn: seam == from, ended: p.Err != nil}
	p.Seen = !before.torn
	if after.torn && !after.ended && end-from < patience*q.size {
		after.torn, p.Seen = before.torn, false
	} else if after.torn || after.ended {
		seam = end
	}
	after.rest = bytes.Clone(text[seam:end])
	clear(text[seam : seam+Slack])
	p.Text = text[from:seam]
	return after
}

// readFull reads until buf is full or r has ended.
func readFull(r io.Reader, buf []byte) (n int, err error) {
	for idle := 0; n < len(buf); idle++ {
		k, err := r.Read(buf[n:])
		if n += k; err != nil {
			return n, err
		}
		if k > 0 {
			idle = 0
		} else if idle == 100 {
			return n, io.ErrNoProgress
		}
	}
	return n, nil
}
