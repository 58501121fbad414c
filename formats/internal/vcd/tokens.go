package vcd

import (
	"bytes"
	"errors"
	"io"

	"widthwise/formats/internal/capture"
)

const (
	bufferSize = 64 << 10
	tokenLimit = 1 << 20 // the longest token that is read
)

var (
	errToken  = errors.New("a token of more than 1 MiB")
	errBinary = errors.New("a control byte that is no white space")
)

// tokens splits a dump at white space. Line breaks mean nothing to it; they
// are only counted, so that every token has a place.
type tokens struct {
	r          io.Reader
	buf        []byte // a space follows buf[end-1], so that tokens end without a bounds check
	start      int    // of the last token
	pos, end   int
	passed     int64 // bytes before buf[0]
	counted    int   // the next two hold for buf[counted]
	line       int64 // line breaks before it
	column     int64 // bytes since the last of them
	err        error // of r, once it has ended
	ended      bool  // the last token runs to the end of the file, no white space after it
	lineBroken bool  // a line break followed the last token
}

func newTokens(in *capture.Input) *tokens {
	return &tokens{r: in.R, buf: make([]byte, in.Room(bufferSize))}
}

// next returns the next token, which is valid until the next call, or io.EOF
// after the last one.
func (t *tokens) next() ([]byte, error) {
	p := t.pos
	for {
		for p < t.end && isSpace(t.buf[p]) {
			p++
		}
		if p < t.end {
			break
		}
		t.start, t.pos = p, p
		if !t.fill() {
			return nil, t.err
		}
		p = t.pos
	}
	t.start = p
	for {
		buf := t.buf
		for buf[p] > ' ' {
			p++
		}
		if p < t.end {
			break
		}
		t.pos = p
		if p-t.start > tokenLimit {
			return nil, errToken
		}
		more := t.fill()
		if p = t.pos; !more {
			break
		}
	}
	t.pos = p
	if t.ended = p == t.end; t.ended && t.err != io.EOF {
		return nil, t.err // nobody knows how the token goes on
	}
	t.lineBroken = isBreak(t.buf[p])
	if t.isBinary(p) {
		t.start = p
		return nil, errBinary
	}
	return t.buf[t.start:p], nil
}

// isBinary tells whether what ends the token at p is neither white space nor the
// end of the file.
func (t *tokens) isBinary(p int) bool { return p == t.start || !t.ended && !isSpace(t.buf[p]) }

// unread makes next return the last token again.
func (t *tokens) unread() { t.pos = t.start }

// offset returns how many bytes lie before the last token.
func (t *tokens) offset() int64 { return t.passed + int64(t.start) }

// place returns line and column of the last token, counted from 1.
func (t *tokens) place() (line, column int64) {
	t.count(t.start)
	return t.line + 1, t.column + 1
}

func (t *tokens) count(to int) {
	skipped := t.buf[t.counted:to]
	if last := bytes.LastIndexByte(skipped, '\n'); last >= 0 {
		t.line += int64(bytes.Count(skipped, []byte{'\n'}))
		t.column = int64(len(skipped) - last - 1)
	} else {
		t.column += int64(len(skipped))
	}
	t.counted = to
}

// fill reads more behind what is kept from start on, and moves start and pos
// along. It tells whether there was more.
func (t *tokens) fill() bool {
	if t.err != nil {
		t.buf[t.end] = ' '
		return false
	}
	if t.start > 0 {
		t.count(t.start)
		copy(t.buf, t.buf[t.start:t.end])
		t.passed += int64(t.start)
		t.end -= t.start
		t.pos -= t.start
		t.start, t.counted = 0, 0
	}
	if t.end > len(t.buf)/2 {
		t.buf = append(t.buf, make([]byte, len(t.buf))...)
	}
	n := 0
	for tries := 0; n == 0 && t.err == nil; tries++ {
		n, t.err = t.r.Read(t.buf[t.end : len(t.buf)-1])
		if tries == 100 && n == 0 && t.err == nil {
			t.err = io.ErrNoProgress
		}
	}
	t.end += n
	t.buf[t.end] = ' '
	return n > 0
}

func isSpace(c byte) bool { return c == ' ' || c >= '\t' && c <= '\r' }

func isBreak(c byte) bool { return c == '\n' || c == '\r' }
