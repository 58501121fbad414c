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

	buf  []byte
	done chan struct{}
}

// Queue hands out the pieces of a text in order. Workers read a block each, the
// one where the other ends, and cut it where its last seam is. What stands
// behind that goes before the next block, so that a piece waits for the block
// before it, but not for its text to be looked at. A text that can be read at
// any place is read by all workers at once; a stream is read by one after the
// other, and decompressed beside the looking.
type Queue[T any] struct {
	r     io.Reader
	at    *io.SectionReader // nil for a stream
	seam  func(text []byte) int
	size  int
	order chan *Piece[T]
	free  chan *Piece[T]
	stop  chan struct{}
	busy  sync.WaitGroup

	blocks atomic.Int64
	turns  []chan seamed // one for each block that workers may have at hand
}

// seamed is what a block leaves to the next.
type seamed struct {
	rest  []byte // of the text, behind the last seam
	torn  bool   // the piece before did not end at a seam
	ended bool
}

// headRoom is kept before a block for what the block before leaves it.
const headRoom = 4 << 10

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
	q := &Queue[T]{r: r, seam: seam, size: how.Size,
		order: make(chan *Piece[T], pieces), free: make(chan *Piece[T], pieces), stop: make(chan struct{})}
	q.at, _ = r.(*io.SectionReader)
	for range pieces {
		q.free <- &Piece[T]{done: make(chan struct{}, 1)}
		q.turns = append(q.turns, make(chan seamed, 1))
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
	p := <-q.order
	<-p.done
	return p
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
	for {
		select {
		case <-q.stop:
			return
		case p := <-q.free:
			if !q.read(p) {
				return
			}
			if p.Seen {
				look(p)
			}
			p.done <- struct{}{}
		}
	}
}

// read fills a piece with the next block that has a seam, or with more than is
// usual without one; false where the text has ended.
func (q *Queue[T]) read(p *Piece[T]) bool {
	if p.buf == nil {
		p.buf = make([]byte, headRoom+q.size+Slack)
	}
	for {
		n := q.blocks.Add(1) - 1
		turn, next := q.turns[n%int64(len(q.turns))], q.turns[(n+1)%int64(len(q.turns))]
		block := p.buf[headRoom : headRoom+q.size]
		size := 0
		if q.at != nil {
			size, p.Err = q.at.ReadAt(block, n*int64(q.size))
		}
		before := <-turn
		if before.ended {
			next <- before
			return false
		}
		if q.at == nil {
			size, p.Err = fill(q.r, block)
		}
		after, ready := q.cut(p, before, size)
		next <- after
		if ready {
			return true
		}
	}
}

// cut makes a piece of what is left of the text before and the block that was
// read into it, up to the last seam. It is not ready if there is none and more
// may be read.
func (q *Queue[T]) cut(p *Piece[T], before seamed, size int) (after seamed, ready bool) {
	from, end := headRoom-len(before.rest), headRoom+size
	text := p.buf
	if from < 0 {
		text = append(bytes.Clone(before.rest), p.buf[headRoom:]...)
		from, end = 0, len(before.rest)+size
	} else {
		copy(text[from:], before.rest)
	}
	seam := from + q.seam(text[from:end])
	after = seamed{rest: before.rest[:0], torn: seam == from, ended: p.Err != nil}
	if after.torn && !after.ended && end-from < patience*q.size {
		return seamed{rest: append(after.rest, text[from:end]...), torn: before.torn}, false
	}
	if after.torn || after.ended {
		seam = end
	}
	after.rest = append(after.rest, text[seam:end]...)
	clear(text[seam : seam+Slack])
	p.Text, p.Seen = text[from:seam], !before.torn
	q.order <- p
	return after, true
}

// fill reads until buf is full or r has ended.
func fill(r io.Reader, buf []byte) (n int, err error) {
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
