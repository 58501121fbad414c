// Package vcd reads value change dumps (IEEE Std 1364-2005 clause 18, four-state
// and extended, and the letters of VHDL that simulators write into them): the
// declarations (declarations.go), then token by token what changes (changes.go),
// into blocks of runs (blocks.go). fast*.go take what they are sure of.
package vcd

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"unicode"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// A block holds about this many edges, or what as many bytes of the dump say.
const (
	blockEdges = 64 << 10
	blockBytes = 4 << 20
	// firstBytes is how much is read plainly before anything is read ahead.
	firstBytes = 4 << 10
)

var errCut = errors.New("cut off")

// Keywords of IEEE 1364-2005 clause 18: of declarations, and of what follows them.
var (
	declarationKeywords = []string{"$comment", "$date", "$enddefinitions", "$scope", "$timescale", "$upscope", "$var", "$version"}
	dumpKeywords        = []string{"$dumpall", "$dumpoff", "$dumpon", "$dumpvars", "$dumpports", "$dumpportsall", "$dumpportsoff", "$dumpportson", "$vcdclose"}
)

// Looks tells whether a capture begins with a keyword of a value change
// dump (IEEE 1364-2005 clause 18).
func Looks(head []byte) bool {
	word, _, _ := bytes.Cut(head[:min(len(head), capture.HeadSize)], []byte("$end"))
	word = bytes.TrimSpace(word)
	if !bytes.HasPrefix(word, []byte("$")) {
		return false
	}
	if end := bytes.IndexFunc(word, unicode.IsSpace); end >= 0 {
		word = word[:end]
	}
	return slices.Contains(declarationKeywords, string(word)) || slices.Contains(dumpKeywords, string(word)) ||
		bytes.Contains(head, []byte("$var ")) || bytes.Contains(head, []byte("$enddefinitions"))
}

// source reads a value change dump: plain, token by token, and exactly. It
// is the judge of any faster way to do it.
type source struct {
	in      *capture.Input
	name    string
	skipBad bool
	tokens  *tokens
	header  capture.Header
	notes   notes
	variables
	progress
	block     *block
	blockFrom int64 // where in the text the block begins
	readAhead
	done error
}

// variables are what the declarations say.
type variables struct {
	clock     *clock
	scope     scope
	words     []string
	opened    [2]int64 // line and column of the declaration whose words these are
	declared  int      // variables, further names of one counted
	nameBytes int
	names     []name // in the order of the file
	signals   []signal
	codes     codes
	channels  []decode.Channel
	reals     reals
}

// progress is where among the changes the source stands, and what came so far.
type progress struct {
	started    bool // there was a time stamp
	first, now decode.Time
	lastStamp  []byte
	relative   string
	open       string // the keyword whose $end is still to come
	off        bool   // switched off
	skipping   bool   // until the next time stamp that is in order
	stated     bool   // nothing has changed since the last time stamp
	broken     bool   // a line break followed the last time stamp
	value      []byte

	warnings []decode.Remark
	rows     int64
	kept     int64 // time stamps and changes
	bad      int64 // those left out
}

// readAhead is what the fast path has at hand.
type readAhead struct {
	looked bool    // for a way to read ahead
	pieces *pieces // nil if there is none
	busy   []bool  // counts will do for the channel where it is busy
	fast   decode.Block
}

// Open reads the declarations of a dump.
func Open(in *capture.Input, o capture.Options) (capture.Source, error) {
	s := &source{
		in: in, name: in.Name, skipBad: o.SkipBadRows, tokens: newTokens(in),
		header: capture.Header{File: in.Name, Format: "vcd", Compression: in.Compression, Encoding: in.Encoding},
	}
	s.looked = in.Plain
	if err := s.declarations(); err != nil {
		return nil, err
	}
	if err := s.timeUnit(o.TimeUnit); err != nil {
		return nil, err
	}
	if len(s.signals) == 0 {
		return nil, s.fault(errors.New("the dump declares no variable"), "$var would declare one, such as $var wire 1 ! throttle $end")
	}
	if err := s.selectChannels(o); err != nil {
		return nil, err
	}
	s.header.Dialect = fmt.Sprintf("value change dump, timescale %s", s.clock.scale)
	s.block, s.busy = newBlock(len(s.channels)), make([]bool, len(s.channels))
	s.newReals(o)
	s.blockFrom = s.tokens.offset()
	return capture.Chosen(s, o), nil
}

// timeUnit takes the timescale from the user if the dump has none.
func (s *source) timeUnit(stated string) error {
	if s.clock != nil {
		if stated != "" {
			s.notes.add(remarkUnitIgnored, 0, "the dump has its own timescale, %s, so the stated time unit was not used", s.clock.scale)
		}
	} else {
		clock, err := newClock("1" + stated)
		if err != nil {
			return s.fault(errors.New("no $timescale before the first change, so its times have no unit"),
				"state the unit with option time-unit s, ms, us or ns")
		}
		s.clock = clock
		s.notes.add(remarkUnitStated, 0, "the dump has no $timescale: its times were taken in %s, as stated", stated)
	}
	if s.clock.fraction > 1 {
		s.notes.add(remarkRounded, 0, "the timescale of %s is finer than 1 ps: times were rounded to 1 ps", s.clock.scale)
	}
	return nil
}

func (s *source) Header() *capture.Header    { return &s.header }
func (s *source) Channels() []decode.Channel { return s.channels }

func (s *source) Close() error {
	if s.pieces != nil {
		s.pieces.queue.Close()
	}
	return nil
}

// Want heeds what is not wanted at all.
func (s *source) Want(channel int, n decode.Need) {
	s.block.states[channel].muted = n == decode.Nothing
	s.busy[channel] = n == decode.CountsWhenBusy
}

func (s *source) Next() (*decode.Block, error) {
	if s.done != nil {
		return nil, s.done
	}
	s.lookAhead()
	if s.pieces != nil && s.atSpan() {
		return s.spanBlock(), nil
	}
	full, err := s.changes()
	if full {
		return s.finish(), nil
	}
	if s.done = s.end(err); s.done != io.EOF {
		return nil, s.done
	}
	return s.finish(), nil
}

// isFull tells whether the block may end here: it holds enough, and no real
// still looks ahead for its threshold.
func (s *source) isFull() bool {
	offset := s.tokens.offset()
	if !s.looked && len(s.reals.Channels) == 0 && offset-s.blockFrom > int64(cmp.Or(s.in.Settle, firstBytes)) {
		return true // to look for a way to read ahead
	}
	if len(s.block.edges) < blockEdges && offset-s.blockFrom < blockBytes {
		return false
	}
	return s.mayEmit()
}

func (s *source) finish() *decode.Block {
	s.reals.Settle(s.now, int64(s.now))
	s.blockFrom = s.tokens.offset()
	b := s.block.finish(s.now)
	b.Facts = s.facts()
	return b
}

func (s *source) facts() decode.Facts {
	return decode.Facts{Start: s.first, Unit: decode.Time(s.clock.multiple)}
}

// end turns what ended the changes into io.EOF where it is no error.
func (s *source) end(err error) error {
	switch {
	case err == io.ErrUnexpectedEOF:
		s.cut("the compressed data end early")
	case err == errCut:
		s.cut("the file ends in the middle of a record, which was left out")
	case err != io.EOF:
		return s.failed(err)
	}
	if s.open != "" {
		s.remark(remarkUnclosed, "%s was not closed before the end of the file", s.open)
	}
	if !s.started {
		return s.fault(errors.New("no time stamp"), "value changes follow a time stamp such as #0")
	}
	if s.bad > s.kept {
		return &capture.ParseError{File: s.name, Err: fmt.Errorf("%d of %d records are damaged", s.bad, s.bad+s.kept), Fix: "leaving them out leaves too little"}
	}
	s.reals.Finish(s.now, int64(s.now))
	return io.EOF
}

func (s *source) Origin() decode.Origin {
	return decode.Origin{
		Start: s.first, End: s.now, ChangesOnly: true, EndStated: s.stated, Rows: s.rows,
		Unit: decode.Time(s.clock.multiple), Text: s.relative, Warnings: s.warnings, Notes: s.noteReals(s.notes.list()),
	}
}

// cut warns that the dump is not whole.
func (s *source) cut(how string) {
	line, _ := s.tokens.place()
	s.warnings = append(s.warnings, decode.Remarkf(decode.CutOff, "", "cut off: %s (line %d)", how, line))
}

// fault is an error at the last token.
func (s *source) fault(what error, right string) error {
	line, column := s.tokens.place()
	return &capture.ParseError{File: s.name, Line: line, Column: column, Err: what, Fix: right}
}

// failed gives an error of reading its place.
func (s *source) failed(err error) error {
	var placed *capture.ParseError
	switch {
	case errors.As(err, &placed):
		return err
	case err == errToken, err == errBinary:
		return s.fault(err, "a dump is text, its words parted by white space")
	case err == io.ErrUnexpectedEOF:
		err = errors.New("the compressed data end early")
	}
	return s.fault(err, capture.Readable)
}

// survive leaves a damaged record out if the user wishes so.
func (s *source) survive(err error) error {
	var damage *capture.ParseError
	if !s.skipBad || !errors.As(err, &damage) {
		return err
	}
	s.bad++
	s.remark(remarkDamaged, "damaged records were left out, and levels are unknown after each until they change")
	s.blind()
	return nil
}

// undeclared is the error for a code that no variable has. Left out, it does
// no harm to the others.
func (s *source) undeclared(code []byte) error {
	if !s.skipBad {
		return s.fault(fmt.Errorf("undeclared identifier %s", shown(code)), "$var would declare it; option skip-bad-rows leaves its changes out")
	}
	s.remark(remarkUndeclared, "changes of undeclared identifiers were left out, such as %s", shown(code))
	return nil
}

// blind makes the level of every channel unknown from now on.
func (s *source) blind() {
	s.block.blind(s.now)
	s.blindReals()
}
