// Package ahead reads a text in pieces ahead of whoever takes them, and lets
// workers look at each piece first.
package ahead

import (
	"io"
	"runtime"
	"sync"
)

// Slack is how many zero bytes lie behind a piece's text, so that words of it
// can be read at any place.
const Slack = 16

// How steers a queue. The zero value takes the usual.
type How struct {
	Size    int // of a piece, about; usually half a mebibyte, which a core's cache holds
	Workers int // usually one a core
}

const (
	usualSize = 512 << 10
	longest   = 2 << 20 // a piece without a seam is handed out at this size
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

// Queue hands out the pieces of a text in order. The workers take turns at
// reading, so that a piece is in the cache of the core that looks at it, and a
// stream can be decompressed beside the looking.
type Queue[T any] struct {
	r     io.Reader
	seam  func(text []byte) int
	size  int
	order chan *Piece[T]
	free  chan *Piece[T]
	stop  chan struct{}
	busy  sync.WaitGroup

	turn  sync.Mutex // guards what follows
	rest  []byte     // of the text read, behind the last seam
	torn  bool       // the piece before did not end at a seam
	ended bool
}

// New begins to read r. A piece ends where seam finds the last place in a text
// to cut it, 0 for none. Each worker looks with what a call of look returns.
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
	for range pieces {
		q.free <- &Piece[T]{done: make(chan struct{}, 1)}
	}
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

// read fills a piece in its turn; false once the text has ended.
func (q *Queue[T]) read(p *Piece[T]) bool {
	q.turn.Lock()
	defer q.turn.Unlock()
	if q.ended {
		return false
	}
	p.Seen, p.Err = !q.torn, nil
	if p.buf == nil {
		p.buf = make([]byte, q.size+Slack)
	}
	end, n := 0, 0
	for read := 0; end == 0 && p.Err == nil && read < longest; {
		if n = max(n, len(q.rest)); n >= len(p.buf)-Slack {
			p.buf = append(p.buf[:n], make([]byte, n+Slack)...)
		}
		copy(p.buf, q.rest)
		n, p.Err = fill(q.r, p.buf[:len(p.buf)-Slack], n)
		end, read = q.seam(p.buf[:n]), n
		q.rest = q.rest[:0]
	}
	if q.torn = end == 0; q.torn || p.Err != nil {
		end = n
	}
	q.rest = append(q.rest[:0], p.buf[end:n]...)
	clear(p.buf[end : end+Slack])
	p.Text, q.ended = p.buf[:end], p.Err != nil
	q.order <- p
	return true
}

// fill reads until buf is full or r has ended; n bytes of it are there.
func fill(r io.Reader, buf []byte, n int) (int, error) {
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
