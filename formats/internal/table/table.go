// Package table reads generic tables of text: rows of a time, or of nothing but
// levels at a stated rate, and a level in volts or 0 and 1 for each channel. How
// a table is spelt is found from its first rows: every spelling is tried
// (dialect.go), its columns are told apart (columns.go), the best reading is the
// plan. The table type then reads row by row; fast*.go take what they are sure of.
package table

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"unicode/utf8"

	"widthwise/decode"
	"widthwise/formats/internal/analog"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// A block ends after this many rows or this much text.
const (
	blockRows = 64 << 10
	blockText = 1 << 20
)

// spreadsheetRows is the most rows a spreadsheet holds; from memory.
const spreadsheetRows = 1 << 20

// table reads a generic CSV table row by row: plain and exact, the definition
// of right for anything faster.
type table struct {
	records
	in       *capture.Input
	plan     *plan
	skipBad  bool
	stated   exact.Rate // by the user
	header   capture.Header
	unit     decode.Time // of the stamps in the head
	uneven   bool        // they stand apart unevenly
	channels []decode.Channel
	selected int // of them
	levels
	progress
	pace   pace
	origin decode.Origin
	readAhead
}

// levels are how cells become edges.
type levels struct {
	readers  []cellReader // of each column
	byName   map[string]int
	opposite map[int]decode.Level // long tables: levels before the first row
	edges    capture.Edges
	analog   analog.Group
}

// progress is where among the rows the table stands.
type progress struct {
	row     int64 // number of the row at hand, counted from 0
	last    decode.Time
	tail    []byte // text of the last good row behind its stamp
	leading int    // cells up to and with the stamp that hold no level; 0: look at all
	bad     int64
	blind   bool   // rows were skipped since the last good one
	pushed  []byte // the first row, read while looking for it
	ended   bool
}

// readAhead is what the fast paths have at hand.
type readAhead struct {
	lookAt int64 // the row at which one is looked for next
	shape  atomic.Pointer[shape]
	spans  decode.Block
}

// Open finds out how a table is spelt and reads up to its first row.
func Open(in *capture.Input, o capture.Options) (capture.Source, error) {
	t := &table{in: in, skipBad: o.SkipBadRows, stated: o.Rate, records: records{lines: *newLines(in)}}
	t.pace.settleAfter = cmp.Or(in.Settle, settleAfter)
	t.lookAt = int64(2 * t.pace.settleAfter) // the usual step has settled by then
	t.header = capture.Header{File: in.Name, Format: "csv", Compression: in.Compression, Encoding: in.Encoding}
	if err := t.open(o); err != nil {
		return nil, t.named(err)
	}
	return capture.Chosen(t, o), nil
}

func (t *table) open(o capture.Options) error {
	head, err := t.headText()
	if err != nil {
		return err
	}
	if t.header.Encoding == "utf-8" && !utf8.Valid(head) {
		t.header.Encoding = "iso-8859-1" // as plainText takes it
	}
	p, others, err := findPlan(head, t.end, o)
	if err != nil {
		return err
	}
	t.plan, t.delimiter = p, p.delimiter
	t.header.Dialect, t.header.Alternatives = p.describe(), others
	t.origin.Notes = append(t.origin.Notes, p.notes...)
	t.unit, t.uneven = p.spacing()
	if err := t.makeChannels(o); err != nil {
		return err
	}
	t.leading = p.leadingCells()
	return t.skipTo(p.first)
}

// named puts the capture's name into an error that has a place.
func (t *table) named(err error) error {
	var at *capture.ParseError
	if errors.As(err, &at) && at.File == "" {
		at.File = t.in.Name
	}
	return err
}

// headText returns the first lines, those cut off by the end of the buffer
// left out.
func (t *table) headText() ([]byte, error) {
	head := t.buf[t.lo:t.hi]
	if len(bytes.TrimSpace(head)) == 0 && t.err != nil {
		if t.err != io.EOF {
			return nil, &capture.ParseError{Line: 1, Err: t.err, Fix: capture.Readable}
		}
		return nil, &capture.ParseError{Line: 1, Err: errors.New("the capture is empty"), Fix: "a table, a value change dump or a scenario"}
	}
	if at := controlAt(head); at >= 0 {
		line := bytes.Count(head[:at], []byte{t.end})
		column := at - (bytes.LastIndexByte(head[:at], t.end) + 1)
		return nil, &capture.ParseError{Line: int64(line) + 1, Column: int64(column) + 1,
			Err: fmt.Errorf("a control byte 0x%02x", head[at]), Fix: "a table is text"}
	}
	whole := t.err != nil
	if len(head) > capture.HeadSize {
		if at := bytes.LastIndexByte(head[:capture.HeadSize], t.end); at >= 0 {
			head, whole = head[:at+1], true
		}
	}
	if !whole {
		for bytes.IndexByte(t.buf[t.lo:t.hi], t.end) < 0 && t.err == nil && t.hi-t.lo <= maxLine {
			t.fill()
		}
		head = t.buf[t.lo:t.hi]
		if first := bytes.IndexByte(head, t.end); first < 0 || first > maxLine {
			t.number = 1
			return nil, t.damage(0, fmt.Errorf("a line of more than %d bytes", maxLine), "is this a table of text?")
		}
		head = head[:bytes.LastIndexByte(head, t.end)+1]
	}
	return bytes.Clone(head), nil
}

// controlAt finds the first byte that no text holds, -1 for none.
func controlAt(text []byte) int {
	for i, c := range text {
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' && c != '\f' && c != 0x1a {
			return i
		}
	}
	return -1
}

// leadingCells counts the cells up to the stamp if none before it holds a
// level, so that a row can be cut there.
func (p *plan) leadingCells() int {
	if p.timeAt < 0 || p.long() {
		return 0
	}
	for _, c := range p.columns[:p.timeAt] {
		if c.kind == levelColumn || c.kind == numberColumn || c.kind == packedColumn {
			return 0
		}
	}
	return p.timeAt + 1
}

// skipTo passes over everything before the line of the first row.
func (t *table) skipTo(first int64) error {
	for {
		line, ended, err := t.next()
		if err != nil {
			return t.readError(err)
		}
		if t.number == first {
			// The row is read again by Next.
			t.number--
			t.pushed = append([]byte{}, line...)
			if !ended {
				t.ended = true
			}
			return nil
		}
		if bytes.IndexByte(line, '"') >= 0 && !isComment(line, t.delimiter) {
			t.read(line, ended) // it may take in further lines
		}
	}
}

// Header implements source.
func (t *table) Header() *capture.Header { return &t.header }

// Channels implements decode.Source.
func (t *table) Channels() []decode.Channel { return t.channels }

// Want implements decode.Source. The plain reader hands over everything.
func (t *table) Want(int, decode.Need) {}

// Close implements decode.Source.
func (t *table) Close() error {
	if t.queue != nil {
		t.queue.Close()
	}
	return nil
}

// Origin implements decode.Source.
func (t *table) Origin() decode.Origin { return t.origin }

// makeChannels offers the columns to the selector and makes a reader for each
// that holds levels.
func (t *table) makeChannels(o capture.Options) error {
	s := capture.NewSelector(o)
	p := t.plan
	t.readers = make([]cellReader, len(p.columns))
	if p.long() {
		t.makeLong(s)
	} else {
		t.makeColumns(s, o)
	}
	if err := s.Unmatched(); err != nil {
		return err
	}
	if t.selected > maxColumns {
		return &capture.ParseError{Line: p.first, Err: fmt.Errorf("more than %d channels", maxColumns), Fix: "option channel chooses some"}
	}
	t.edges = *capture.NewEdges(len(t.channels))
	return nil
}

// makeLong makes a channel of every name in the head.
func (t *table) makeLong(s *capture.Selector) {
	p := t.plan
	t.byName = map[string]int{}
	for i := range p.columns {
		if i != p.nameAt && i != p.levelAt {
			t.addVariable(s, i, p.nameFor(i), p.kindName(i), 0)
		}
	}
	for _, name := range p.names {
		t.byName[name] = -1
		if c, ok := t.addVariable(s, p.levelAt, name, "digital", 1); ok {
			t.byName[name] = c
		}
	}
	t.findOpposites(p.rows)
}

// makeColumns makes a channel of every column of levels, and of every bit of
// a packed one.
func (t *table) makeColumns(s *capture.Selector, o capture.Options) {
	p := t.plan
	names := t.uniqueNames()
	for i, c := range p.columns {
		r := &t.readers[i]
		r.kind, r.base, r.size, r.channel = c.kind, c.base, c.size, -1
		if c.kind == packedColumn {
			t.makeBits(s, i, names[i])
			continue
		}
		channel, ok := t.addVariable(s, i, names[i], p.kindName(i), 1)
		if !ok {
			continue
		}
		r.channel = channel
		if c.kind == numberColumn {
			r.shift = c.shift
			r.analog = analog.New(analog.Settings{Channel: channel, Name: names[i], Volts: hasVoltUnit(c.unit), Uneven: t.uneven, ZeroOne: c.zeroOne,
				Threshold: capture.Nanovolts(o.Threshold), Band: capture.Nanovolts(o.Hysteresis)}, &t.edges)
			t.analog.Channels = append(t.analog.Channels, r.analog)
		}
	}
}

// makeBits makes the channels of a packed column: the bits asked for, or all.
func (t *table) makeBits(s *capture.Selector, i int, name string) {
	r := &t.readers[i]
	width := r.size
	if r.base == 16 {
		width *= 4
	}
	v := capture.Variable{Name: name, Kind: "vector", Width: width, Column: i + 1}
	wholeSelected, wholeNamed := s.Match(v)
	r.bits = make([]int, width)
	for bit := range width {
		named := s.MatchBit(v, bit) || wholeNamed
		selected := named || wholeSelected
		r.bits[bit] = t.addChannel(fmt.Sprintf("%s[%d]", name, bit), selected, named)
		v.Selected = v.Selected || selected
	}
	t.header.Variables = append(t.header.Variables, v)
}

// addChannel makes a channel, a witness if it is not selected.
func (t *table) addChannel(name string, selected, named bool) int {
	t.channels = append(t.channels, decode.Channel{Name: name, Named: named, Witness: !selected})
	if selected {
		t.selected++
	}
	return len(t.channels) - 1
}

// addVariable declares a variable and makes it a channel if it holds levels.
func (t *table) addVariable(s *capture.Selector, i int, name, kind string, width int) (channel int, ok bool) {
	v := capture.Variable{Name: name, Kind: kind, Width: width, Column: i + 1}
	selected, named := s.Match(v)
	v.Selected = selected
	t.header.Variables = append(t.header.Variables, v)
	if kind != "digital" && kind != "analog" {
		return -1, false
	}
	return t.addChannel(name, selected, named), true
}

// kindName is the kind of a column for people. Where samples are numbered that is no
// time.
func (p *plan) kindName(i int) string {
	c := p.columns[i]
	switch {
	case c.kind == indexColumn || i == p.timeAt && p.clock.kind == sampleClock:
		return "index"
	case c.kind == timeColumn:
		return "time"
	case c.isDigital():
		return "digital"
	case c.kind == numberColumn:
		return "analog"
	case c.kind == packedColumn:
		return "vector"
	}
	return "text"
}

// uniqueNames returns a name for each column. One that another column has
// already gets its column number behind it, which is noted.
func (t *table) uniqueNames() []string {
	taken := map[string]bool{}
	names := make([]string, len(t.plan.columns))
	for i := range names {
		name := t.plan.nameFor(i)
		for taken[name] {
			name = fmt.Sprintf("%s_col%d", name, i+1)
		}
		if given := t.plan.nameFor(i); name != given {
			t.note(decode.NameChanged, "Two columns are named %s: the one in column %d is called %s.", given, i+1, name)
		}
		taken[name] = true
		names[i] = name
	}
	return names
}

// cut warns that the table is not whole.
func (t *table) cut(format string, args ...any) {
	t.origin.Warnings = append(t.origin.Warnings, decode.Remarkf(decode.CutOff, "", "cut off: "+format, args...))
}

func (t *table) note(kind decode.RemarkKind, format string, args ...any) {
	t.origin.Notes = append(t.origin.Notes, decode.Remarkf(kind, "", format, args...))
}
