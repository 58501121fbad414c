package table

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/capture"
)

// Bounds on what a table may ask of memory.
const (
	maxLine     = 1 << 20 // bytes of a line
	maxColumns  = 4096
	maxQuoted   = 100 // lines of one quoted cell
	firstBuffer = 256 << 10
	spaces      = ' ' // the delimiter that stands for runs of spaces and tabs
)

// lines cuts text into lines that end in LF, CR LF or, where there is no LF,
// CR. A line it returns is valid until the next call.
type lines struct {
	r      io.Reader
	buf    []byte
	lo, hi int // the text not yet returned
	err    error
	end    byte  // '\n' or '\r'
	number int64 // of the line returned last, counted from 1
	nul    bool  // there is a zero byte in buf[lo:hi]
	taken  int64 // bytes of text returned so far

	queue *ahead.Queue[found] // where the text is read ahead
	piece *ahead.Piece[found] // whose text buf is
	found found               // and what is left of what was found in it
}

func newLines(in *capture.Input) *lines {
	l := &lines{r: in.R, buf: make([]byte, in.Room(firstBuffer)), end: '\n'}
	l.fill()
	if text := l.buf[:l.hi]; bytes.IndexByte(text, '\n') < 0 && bytes.IndexByte(text, '\r') >= 0 {
		l.end = '\r'
	}
	return l
}

// fill makes room and reads until the buffer is full or the text ends.
func (l *lines) fill() {
	if l.queue != nil {
		l.nextPiece()
		return
	}
	switch {
	case l.lo > 0:
		copy(l.buf, l.buf[l.lo:l.hi])
		l.lo, l.hi = 0, l.hi-l.lo
	case l.hi == len(l.buf):
		l.buf = append(l.buf, make([]byte, len(l.buf))...)
	}
	l.nul = l.nul && bytes.IndexByte(l.buf[:l.hi], 0) >= 0
	for idle := 0; l.err == nil && l.hi < len(l.buf); {
		n, err := l.r.Read(l.buf[l.hi:])
		l.nul = l.nul || bytes.IndexByte(l.buf[l.hi:l.hi+n], 0) >= 0
		l.hi += n
		l.err = err
		if idle++; n > 0 {
			idle = 0
		} else if err == nil && idle == 100 {
			l.err = io.ErrNoProgress
		}
	}
}

// next returns the next line without its end, and whether it had one. After
// the last line it returns what ended the text, io.EOF as a rule.
func (l *lines) next() (line []byte, ended bool, err error) {
	at := bytes.IndexByte(l.buf[l.lo:l.hi], l.end)
	for at < 0 && l.err == nil && l.hi-l.lo <= maxLine {
		l.fill()
		at = bytes.IndexByte(l.buf[l.lo:l.hi], l.end)
	}
	size, skip := at, at+1
	if at < 0 {
		size, skip = l.hi-l.lo, l.hi-l.lo
		if size == 0 && l.err != nil {
			return nil, false, l.err
		}
	}
	l.number++
	if size > maxLine {
		return nil, false, l.damage(0, fmt.Errorf("a line of more than %d bytes", maxLine), "is this a table of text?")
	}
	line = l.buf[l.lo : l.lo+size]
	l.lo += skip
	l.taken += int64(skip)
	if l.nul {
		if at := bytes.IndexByte(line, 0); at >= 0 {
			return nil, false, l.damage(at, errors.New("a zero byte"), "a table is text")
		}
	}
	if l.end == '\n' && at >= 0 && size > 0 && line[size-1] == '\r' {
		line = line[:size-1]
	}
	return line, at >= 0, nil
}

// damage is an error in the line returned last, at a byte counted from 0.
func (l *lines) damage(at int, err error, fix string) *capture.ParseError {
	return &capture.ParseError{Line: l.number, Column: int64(at) + 1, Err: err, Fix: fix}
}

// records joins lines into rows of cells after RFC 4180: a cell in double
// quotes may hold delimiters, doubled quotes and line ends.
type records struct {
	lines
	delimiter byte
	cells     []cell
	joined    []byte
}

// cell is one field of a row. Quotes are removed, spaces are not.
type cell struct {
	text []byte
	at   int // byte in the row's text, counted from 0
}

// errQuote is a quote that was opened and not closed by the end of the line.
var errQuote = errors.New("a quote is not closed")

var errColumns = fmt.Errorf("more than %d columns", maxColumns)

// read splits line, the one next returned last, into cells, taking in further
// lines while a quote is open. ended tells whether the row had a line end.
func (r *records) read(line []byte, ended bool) (row []byte, whole bool, err error) {
	at, err := r.split(line)
	if err != errQuote {
		return line, ended, r.wrap(line, at, err)
	}
	start, opened := r.number, at
	r.joined = append(r.joined[:0], line...)
	for n := 1; err == errQuote; n++ {
		place := &capture.ParseError{Line: start, Column: int64(opened) + 1, Err: errQuote, Fix: "a closing quote within 100 lines"}
		if n == maxQuoted || len(r.joined) > maxLine {
			return nil, ended, place
		}
		more, e, nextErr := r.next()
		if nextErr != nil {
			return r.joined, ended && n > 1, place
		}
		r.joined = append(append(r.joined, '\n'), more...)
		ended = e
		at, err = r.split(r.joined)
	}
	return r.joined, ended, r.wrap(r.joined, at, err)
}

// wrap gives an error of split its place.
func (r *records) wrap(row []byte, at int, err error) error {
	if err == nil {
		return nil
	}
	if len(r.cells) == maxColumns {
		return r.place(row, at, err, "is this a table of text?")
	}
	return r.place(row, at, err, "a cell with quotes in it is quoted, and they are doubled")
}

// place is an error at a byte of the row read last, which may span lines.
func (r *records) place(row []byte, at int, err error, fix string) *capture.ParseError {
	at = min(at, len(row))
	after := int64(bytes.Count(row[at:], []byte{'\n'}))
	column := at - (bytes.LastIndexByte(row[:at], '\n') + 1)
	return &capture.ParseError{Line: r.number - after, Column: int64(column) + 1, Err: err, Fix: fix}
}

// split cuts row into r.cells. An error comes with its place in row.
func (r *records) split(row []byte) (at int, err error) {
	r.cells = r.cells[:0]
	switch {
	case r.delimiter == spaces:
		return r.splitSpaces(row)
	case bytes.IndexByte(row, '"') < 0:
		return r.splitPlain(row)
	}
	for {
		if len(r.cells) == maxColumns {
			return at, errColumns
		}
		rest := row[at:]
		if i := blanks(rest, r.delimiter); i < len(rest) && rest[i] == '"' {
			text, size, err := unquote(rest[i:])
			if err != nil {
				return at + i + size, err
			}
			r.cells = append(r.cells, cell{text, at})
			at += i + size
			at += blanks(row[at:], r.delimiter)
			if at == len(row) {
				return at, nil
			}
			if row[at] != r.delimiter {
				return at, errors.New("text after a closing quote")
			}
			at++
			continue
		}
		size := bytes.IndexByte(rest, r.delimiter)
		last := size < 0
		if last {
			size = len(rest)
		}
		if i := bytes.IndexByte(rest[:size], '"'); i >= 0 {
			return at + i, errors.New("a quote inside an unquoted cell")
		}
		r.cells = append(r.cells, cell{rest[:size], at})
		if last {
			return at, nil
		}
		at += size + 1
	}
}

// splitPlain is split for a row without a quote, as nearly all are.
func (r *records) splitPlain(row []byte) (at int, err error) {
	for i, c := range row {
		if c != r.delimiter {
			continue
		}
		if r.cells = append(r.cells, cell{row[at:i], at}); len(r.cells) == maxColumns {
			return i + 1, errColumns
		}
		at = i + 1
	}
	r.cells = append(r.cells, cell{row[at:], at})
	return at, nil
}

func (r *records) splitSpaces(row []byte) (at int, err error) {
	for {
		at += blanks(row[at:], 0)
		if at == len(row) {
			return at, nil
		}
		if len(r.cells) == maxColumns {
			return at, errColumns
		}
		rest := row[at:]
		if rest[0] == '"' {
			text, size, err := unquote(rest)
			if err != nil {
				return at + size, err
			}
			r.cells = append(r.cells, cell{text, at})
			at += size
			continue
		}
		size := 0
		for size < len(rest) && rest[size] != ' ' && rest[size] != '\t' {
			size++
		}
		r.cells = append(r.cells, cell{rest[:size], at})
		at += size
	}
}

// unquote reads the quoted cell that text begins with and returns its content
// and its size with the quotes.
func unquote(text []byte) (content []byte, size int, err error) {
	doubled := false
	for i := 1; ; i++ {
		n := bytes.IndexByte(text[i:], '"')
		if n < 0 {
			return nil, 0, errQuote
		}
		i += n
		if i+1 < len(text) && text[i+1] == '"' {
			doubled = true
			i++
			continue
		}
		content = text[1:i]
		if doubled {
			content = bytes.ReplaceAll(content, []byte(`""`), []byte(`"`))
		}
		return content, i + 1, nil
	}
}

// blanks counts the spaces and tabs text begins with, up to a delimiter.
func blanks(text []byte, delimiter byte) int {
	n := 0
	for n < len(text) && (text[n] == ' ' || text[n] == '\t') && text[n] != delimiter {
		n++
	}
	return n
}
