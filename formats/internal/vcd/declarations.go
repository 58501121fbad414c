package vcd

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/formats/internal/capture"
)

// A dump declares at most this much, so that none takes the memory away.
const (
	maxVariables = 1 << 20
	maxWidth     = 1 << 20
	maxPath      = 64 << 10
	maxNames     = 128 << 20 // bytes of names, paths and codes together
)

// kind is what the values of a signal are.
type kind uint8

const (
	ofBits kind = iota
	ofReal
	ofEvent
	ofText
)

// signal is what one identifier code stands for.
type signal struct {
	kind    kind
	width   int32
	channel int32 // of a single bit, a real or an event; -1: not selected
	taps    []tap // of a vector: the bits that are channels
}

// tap is a bit, counted from the least significant one, that is a channel.
type tap struct{ bit, channel int32 }

// name is a name under which a signal is declared, with its index range.
type name struct {
	signal     int32
	bare, path string
	msb, lsb   int
}

// bit returns the index of a bit that is counted from the least significant one.
func (n name) bit(fromLow int) int {
	if n.msb < n.lsb {
		return n.lsb - fromLow
	}
	return n.lsb + fromLow
}

// scope is the path of the scopes that are open, and where each begins.
type scope struct {
	path  []byte
	marks []int
}

func (s *scope) enter(name string) {
	s.marks = append(s.marks, len(s.path))
	if name == "" {
		return
	}
	if len(s.path) > 0 {
		s.path = append(s.path, '.')
	}
	s.path = append(s.path, name...)
}

// leave goes back to the enclosing scope, if there is one.
func (s *scope) leave() bool {
	last := len(s.marks) - 1
	if last < 0 {
		return false
	}
	s.path, s.marks = s.path[:s.marks[last]], s.marks[:last]
	return true
}

func (s *scope) join(name string) string {
	if len(s.path) == 0 {
		return name
	}
	return string(s.path) + "." + name
}

// sections read the declarations, from behind their keyword to their $end.
var sections = map[string]func(*source) error{
	"$timescale":      (*source).timescale,
	"$scope":          (*source).enterScope,
	"$upscope":        (*source).leaveScope,
	"$var":            (*source).variable,
	"$enddefinitions": func(s *source) error { return s.closed("$enddefinitions") },
	"$end": func(s *source) error {
		s.remark(remarkStrayEnd, "$end closes nothing and was ignored")
		return nil
	},
}

// declarations reads up to the first token that is no declaration.
func (s *source) declarations() error {
	ended := false // $enddefinitions has been read
	for {
		token, err := s.tokens.next()
		if err != nil {
			return s.noChanges(err)
		}
		keyword := string(token)
		if keyword[0] != '$' || slices.Contains(dumpKeywords, keyword) {
			return s.endDeclarations(token, ended)
		}
		if ended && (keyword == "$scope" || keyword == "$var") {
			s.remark(remarkLateDeclaration, "declarations follow $enddefinitions and were taken as such")
		}
		ended = ended || keyword == "$enddefinitions"
		if section := sections[keyword]; section != nil {
			err = section(s)
		} else {
			err = s.text(keyword)
		}
		if err != nil {
			return err
		}
	}
}

// leaveScope goes back to the enclosing scope.
func (s *source) leaveScope() error {
	err := s.closed("$upscope")
	if err == nil && !s.scope.leave() {
		s.remark(remarkStrayUpscope, "$upscope leaves no scope and was ignored")
	}
	return err
}

// endDeclarations gives the first token that is no declaration back to the
// changes. Without $enddefinitions before it, some declarations may be missing.
func (s *source) endDeclarations(token []byte, ended bool) error {
	if !ended && !s.skipBad {
		return s.fault(fmt.Errorf("%s before $enddefinitions", shown(token)), "$enddefinitions $end closes the declarations; option skip-bad-rows does without")
	}
	if !ended {
		s.remark(remarkNoEnd, "$enddefinitions is missing: %s was taken as the end of the declarations", shown(token))
	}
	s.tokens.unread()
	return nil
}

// noChanges is the error for a dump that ends, or fails, with its declarations.
func (s *source) noChanges(err error) error {
	if err != io.EOF {
		return s.failed(err)
	}
	return s.fault(errors.New("the dump ends with its declarations"), "time stamps and value changes would follow")
}

// unclosed is the error for a declaration that another keyword or the end of
// the file breaks off.
func (s *source) unclosed(keyword string, line int64, err error) error {
	if err != nil && err != io.EOF {
		return s.failed(err)
	}
	return s.fault(fmt.Errorf("%s of line %d is not closed", keyword, line), "$end would close it")
}

// text skips to the $end of a comment or of a section that is not known.
func (s *source) text(keyword string) error {
	line, _ := s.tokens.place()
	if err := s.skipText(keyword); err != nil {
		return s.unclosed(keyword, line, err)
	}
	return nil
}

func (s *source) skipText(keyword string) error {
	switch keyword {
	case "$comment", "$date", "$version":
	default:
		s.remark(remarkSection, "the section %s is not of the standard and was skipped", shown(keyword))
	}
	for {
		token, err := s.tokens.next()
		if err != nil || string(token) == "$end" {
			return err
		}
	}
}

// body reads the tokens of a declaration up to its $end. They are strings of
// their own.
func (s *source) body(keyword string) ([]string, error) {
	line, column := s.tokens.place()
	s.opened = [2]int64{line, column}
	s.words = s.words[:0]
	size := 0
	for {
		token, err := s.tokens.next()
		if err != nil {
			return nil, s.unclosed(keyword, line, err)
		}
		// The third word of a variable is its code, which may look like a keyword.
		if token[0] == '$' && (keyword != "$var" || len(s.words) != 2) {
			switch word := string(token); {
			case word == "$end":
				return s.words, nil
			case slices.Contains(declarationKeywords, word), word == "$dumpvars", word == "$dumpall":
				return nil, s.unclosed(keyword, line, nil)
			}
		}
		if size += len(token) + 1; size > maxPath {
			return nil, s.fault(fmt.Errorf("%s of line %d goes on for more than 64 KiB", keyword, line), "$end would close it")
		}
		s.words = append(s.words, string(token))
	}
}

// closed reads the $end of a declaration without a body.
func (s *source) closed(keyword string) error {
	words, err := s.body(keyword)
	if err == nil && len(words) > 0 {
		err = s.misdeclared(fmt.Errorf("%s with %s in it", keyword, shown(words[0])), "$end would follow at once")
	}
	return err
}

// misdeclared is an error in the declaration whose body was read last.
func (s *source) misdeclared(what error, right string) error {
	return &capture.ParseError{File: s.name, Line: s.opened[0], Column: s.opened[1], Err: what, Fix: right}
}

func (s *source) timescale() error {
	words, err := s.body("$timescale")
	if err != nil {
		return err
	}
	clock, err := newClock(strings.Join(words, ""))
	if err != nil {
		return s.misdeclared(err, "1, 10 or 100 of s, ms, us, ns, ps or fs, such as 10 ns")
	}
	s.clock = clock
	return nil
}

func (s *source) enterScope() error {
	words, err := s.body("$scope")
	if err != nil {
		return err
	}
	name := ""
	if len(words) > 1 {
		name = printable(strings.TrimPrefix(strings.Join(words[1:], " "), `\`))
	}
	s.scope.enter(name)
	if len(s.scope.path) > maxPath || len(s.scope.marks) > maxPath {
		return s.fault(errors.New("scopes nested to a path of more than 64 KiB"), "$upscope would leave them")
	}
	return nil
}

// variable reads "type size code reference" of $var.
func (s *source) variable() error {
	if s.declared++; s.declared > maxVariables {
		return s.fault(fmt.Errorf("more than %d variables", maxVariables), "dump fewer scopes")
	}
	words, err := s.body("$var")
	if err != nil {
		return err
	}
	if len(words) > 1 && strings.HasPrefix(words[1], "[") {
		words = joinRange(words)
	}
	if len(words) < 4 {
		return s.misdeclared(fmt.Errorf("a $var of %d words", len(words)), "type, size, identifier code and name, such as $var wire 1 ! throttle $end")
	}
	signal := signal{kind: kindOf(words[0]), channel: -1}
	name := name{}
	msb, lsb, ranged := indexRange(words[1])
	switch n, err := strconv.Atoi(words[1]); {
	case ranged:
		signal.width, name.msb, name.lsb = rangeWidth(msb, lsb), msb, lsb
	case err == nil && n >= 0 && n <= maxWidth:
		signal.width, name.msb, name.lsb = int32(n), n-1, 0
	default:
		signal.width = -1
	}
	if signal.width < 0 {
		return s.misdeclared(fmt.Errorf("a variable of size %s", shown(words[1])), fmt.Sprintf("a number of bits, at most %d", maxWidth))
	}
	bare, index := splitReference(words[3:])
	msb, lsb, ok := indexRange(index)
	switch {
	case !ok:
		bare += index
	case !ranged && signal.kind == ofBits:
		if rangeWidth(msb, lsb) != signal.width {
			s.remark(remarkRange, "%s has %d bits and an index range of another length: its bits were counted from the last index",
				shown(bare), signal.width)
		}
		name.msb, name.lsb = msb, lsb
	}
	name.bare = printable(bare)
	return s.declare([]byte(words[2]), signal, name)
}

// joinRange makes one word of a size that is written as an index range.
func joinRange(words []string) []string {
	for i := 1; i < len(words); i++ {
		if strings.HasSuffix(words[i], "]") {
			return append([]string{words[0], strings.Join(words[1:i+1], "")}, words[i+1:]...)
		}
	}
	return words
}

func kindOf(word string) kind {
	switch strings.ToLower(word) {
	case "real", "realtime", "shortreal":
		return ofReal
	case "event":
		return ofEvent
	case "string":
		return ofText
	}
	return ofBits
}

// splitReference splits what names a variable into its name and a last index
// in brackets. An escaped name ends at the white space, whatever is in it.
func splitReference(words []string) (name, index string) {
	name, index = words[0], strings.Join(words[1:], "")
	if escaped, ok := strings.CutPrefix(name, `\`); ok {
		return escaped, index
	}
	if index != "" && index[0] != '[' {
		return strings.Join(words, " "), ""
	}
	name += index
	if i := strings.LastIndexByte(name, '['); i > 0 && name[len(name)-1] == ']' {
		return name[:i], name[i:]
	}
	return name, ""
}

// indexRange reads "[msb:lsb]".
func indexRange(text string) (msb, lsb int, ok bool) {
	text, opened := strings.CutPrefix(text, "[")
	text, closed := strings.CutSuffix(text, "]")
	high, low, two := strings.Cut(text, ":")
	m, err1 := strconv.ParseInt(high, 10, 32)
	l, err2 := strconv.ParseInt(low, 10, 32)
	return int(m), int(l), opened && closed && two && err1 == nil && err2 == nil
}

// rangeWidth returns the number of bits of an index range, -1 if there are
// absurdly many.
func rangeWidth(msb, lsb int) int32 {
	n := max(msb-lsb, lsb-msb) + 1
	if n > maxWidth {
		return -1
	}
	return int32(n)
}

// declare enters a signal under its code, or a further name of it.
func (s *source) declare(code []byte, signal signal, name name) error {
	name.path = s.scope.join(name.bare)
	if s.nameBytes += len(name.path) + len(name.bare) + len(code); s.nameBytes > maxNames {
		return s.fault(errors.New("names of more than 128 MiB"), "dump fewer scopes")
	}
	name.signal = s.codes.find(code)
	if name.signal < 0 {
		name.signal = int32(len(s.signals))
		s.codes.add(code, name.signal)
		s.signals = append(s.signals, signal)
	} else if first := s.signals[name.signal]; first.kind != signal.kind || first.kind == ofBits && first.width != signal.width {
		s.remark(remarkAlias, "%s shares its identifier code with a variable of another size or type, which holds", shown(name.path))
	}
	s.names = append(s.names, name)
	return nil
}
