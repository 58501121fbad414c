package vcd

import (
	"errors"
	"fmt"
	"io"
	"strconv"

	"widthwise/decode"
)

// form is what the first character of a token among the changes makes of it.
type form uint8

const (
	formNone form = iota
	formScalar
	formVector
	formReal
	formString
	formPort
	formStamp
	formKeyword
)

var forms = [256]form{
	'0': formScalar, '1': formScalar, 'x': formScalar, 'X': formScalar, 'z': formScalar, 'Z': formScalar,
	'u': formScalar, 'U': formScalar, 'w': formScalar, 'W': formScalar, 'l': formScalar, 'L': formScalar,
	'h': formScalar, 'H': formScalar, '-': formScalar,
	'b': formVector, 'B': formVector, 'r': formReal, 'R': formReal, 's': formString, 'S': formString,
	'p': formPort, '#': formStamp, '$': formKeyword,
}

// levels are the levels of the value characters, portLevels those of the
// states of an extended dump (IEEE 1364-2005 18.4.3.1), of which these are all.
var (
	levels     = [256]decode.Level{'0': decode.Low, 'l': decode.Low, 'L': decode.Low, '1': decode.High, 'h': decode.High, 'H': decode.High}
	portLevels = [256]decode.Level{
		'D': decode.Low, 'd': decode.Low, 'L': decode.Low, 'l': decode.Low, '0': decode.Low,
		'U': decode.High, 'u': decode.High, 'H': decode.High, 'h': decode.High, '1': decode.High,
	}
	portStates = set("DUNZduLHXTlh01?FAaBbCcf")
	nineStates = set("uUwWlLhH-")
)

func set(characters string) (set [256]bool) {
	for i := range len(characters) {
		set[characters[i]] = true
	}
	return set
}

// changes reads time stamps and value changes until a block is full, which it
// says, or the dump ends.
func (s *source) changes() (full bool, err error) {
	for {
		if s.pieces != nil && s.atSpan() {
			return true, nil
		}
		token, err := s.tokens.next()
		if err != nil {
			return false, err
		}
		if full, err = s.change(token); err != nil {
			if err = s.survive(err); err != nil {
				return false, err
			}
		}
		if full || len(s.block.edges) >= 4*blockEdges && !s.block.starting {
			return true, nil
		}
	}
}

// change reads the time stamp, the value change or the keyword that begins with
// a token, and tells whether the block is full.
func (s *source) change(token []byte) (full bool, err error) {
	switch forms[token[0]] {
	case formScalar:
		return false, s.scalar(token)
	case formVector:
		return false, s.vector(token)
	case formReal:
		return false, s.real(token)
	case formString:
		_, err := s.signal()
		return false, err
	case formPort:
		return false, s.port(token)
	case formStamp:
		return s.stamp(token)
	case formKeyword:
		return false, s.keyword(string(token))
	}
	return false, s.fault(fmt.Errorf("%s is neither a time stamp nor a value change", shown(token)),
		"a value such as 1! or b101 !, or a time stamp such as #1500")
}

// scalar reads a value with the code of its signal behind it.
func (s *source) scalar(token []byte) error {
	signal, err := s.find(token[1:])
	if err != nil || signal == nil {
		return err
	}
	if nineStates[token[0]] {
		s.notes.add(remarkNineState, 0, "nine-state values: H was read as high, L as low, the others as unknown")
	}
	return s.assign(signal, token[:1], &levels)
}

// vector reads the digits of a vector, and its code from the next token.
func (s *source) vector(token []byte) error {
	digits := token[1:]
	bad, nine := len(digits) == 0, false
	for _, c := range digits {
		bad = bad || forms[c] != formScalar
		nine = nine || nineStates[c]
	}
	if bad && !s.tokens.ended {
		return s.fault(fmt.Errorf("the vector value %s", shown(token)), "b and digits 0, 1, x and z, such as b101 !")
	}
	if nine {
		s.notes.add(remarkNineState, 0, "nine-state values: H was read as high, L as low, the others as unknown")
	}
	s.value = append(s.value[:0], digits...)
	signal, err := s.signal()
	if err != nil || signal == nil {
		return err
	}
	return s.assign(signal, s.value, &levels)
}

// real reads the number of a real, and its code from the next token.
func (s *source) real(token []byte) error {
	value, err := strconv.ParseFloat(string(token[1:]), 64)
	if err != nil && !s.tokens.ended && !errors.Is(err, strconv.ErrRange) {
		return s.fault(fmt.Errorf("the real value %s", shown(token)), "r and a number, such as r3.3 !")
	}
	signal, err := s.signal()
	if err != nil || signal == nil {
		return err
	}
	switch {
	case signal.kind == ofEvent:
		s.occur(signal)
	case signal.kind == ofBits:
		return s.fault(errors.New("a real value for a variable of bits"), "a value such as 1! or b101 !")
	case signal.channel >= 0 && s.dumping():
		s.changeReal(signal.channel, value)
	}
	return nil
}

// port reads the states of a port, the strengths behind them or apart from
// them, and the code, which the standard begins with <.
func (s *source) port(token []byte) error {
	s.value = append(s.value[:0], token[1:]...)
	strengths := 0
	for {
		token, err := s.tokens.next()
		if err != nil {
			return s.cutOff(err)
		}
		if !isStrength(token) || strengths+len(token) > 2 {
			break
		}
		strengths += len(token)
	}
	s.tokens.unread()
	signal, err := s.signal()
	if err != nil || signal == nil {
		return err
	}
	states := s.value
	if glued := len(states) - (2 - strengths); strengths < 2 && glued >= int(signal.width) && isStrength(states[glued:]) {
		states = states[:glued]
	}
	if len(states) < int(signal.width) {
		return s.fault(fmt.Errorf("the port value %s for %d bits", shown("p"+string(s.value)), signal.width), "a state for each bit, then two strengths, such as pD 6 0 <0")
	}
	for _, c := range states {
		if !portStates[c] {
			return s.fault(fmt.Errorf("the port value %s", shown("p"+string(s.value))), "states of IEEE 1364, such as D, U, L and H")
		}
	}
	return s.assign(signal, states, &portLevels)
}

func isStrength(token []byte) bool {
	for _, c := range token {
		if c < '0' || c > '7' {
			return false
		}
	}
	return len(token) > 0
}

// signal reads the code that follows a value. It is nil where a change is to
// be left out.
func (s *source) signal() (*signal, error) {
	code, err := s.tokens.next()
	if err != nil {
		return nil, s.cutOff(err)
	}
	return s.find(code)
}

// cutOff tells the end of the file in the middle of a record from that between
// two.
func (s *source) cutOff(err error) error {
	if err == io.EOF {
		return errCut
	}
	return err
}

func (s *source) find(code []byte) (*signal, error) {
	s.stated = false
	if i := s.codes.find(code); i >= 0 {
		if s.skipping {
			s.bad++
			return nil, nil
		}
		s.kept++
		return &s.signals[i], nil
	}
	if s.tokens.ended && (len(code) == 0 || s.codes.continues(code)) {
		return nil, errCut
	}
	if len(code) == 0 {
		return nil, s.fault(errors.New("a value without an identifier code"), "the code would follow the value at once, such as 1!")
	}
	return nil, s.undeclared(code)
}

// assign gives a signal the value that its digits spell, the most significant
// one first, shortened as IEEE 1364-2005 Table 18-1 says.
func (s *source) assign(signal *signal, digits []byte, levels *[256]decode.Level) error {
	switch signal.kind {
	case ofReal:
		return s.fault(errors.New("a value of bits for a real"), "a number such as r3.3")
	case ofEvent:
		s.occur(signal)
		return nil
	case ofText:
		return nil
	}
	if len(digits) > int(signal.width) && signal.width > 0 {
		s.remark(remarkTooLong, "a value has more digits than its variable has bits: the low ones were taken")
	}
	if signal.channel < 0 && signal.taps == nil || !s.dumping() {
		return nil
	}
	if signal.channel >= 0 {
		s.block.set(signal.channel, s.now, levels[digits[len(digits)-1]])
		return nil
	}
	extension := levels[digits[0]]
	if extension == decode.High {
		extension = decode.Low
	}
	for _, tap := range signal.taps {
		level := extension
		if i := len(digits) - 1 - int(tap.bit); i >= 0 {
			level = levels[digits[i]]
		}
		s.block.set(tap.channel, s.now, level)
	}
	return nil
}

func (s *source) occur(signal *signal) {
	if signal.channel >= 0 && s.dumping() {
		s.block.pulse(signal.channel, s.now)
	}
}

// dumping tells whether values count: those within $dumpoff do not.
func (s *source) dumping() bool {
	if !s.off {
		return true
	}
	if s.open == "$dumpoff" || s.open == "$dumpportsoff" {
		return false
	}
	s.off = false
	s.remark(remarkNoDumpOn, "values follow $dumpoff without $dumpon and were taken as they are")
	return true
}

// stamp moves on to the instant of a time stamp, and tells whether the block
// is full with what came before it.
func (s *source) stamp(token []byte) (full bool, err error) {
	digits := token[1:]
	at, err := s.instant(digits)
	if err != nil {
		s.skipping = s.skipBad
		return false, err
	}
	if s.open != "" {
		s.remark(remarkUnclosed, "%s was not closed before the next time stamp, which was taken to close it", s.open)
		s.open = ""
	}
	if at < s.now && s.started {
		if s.tokens.ended {
			return false, errCut
		}
		fault := s.fault(fmt.Errorf("time goes back to #%s after #%s", digits, s.lastStamp),
			"time stamps grow; option skip-bad-rows leaves out what follows until they do")
		s.skipping = s.skipBad
		return false, fault
	}
	s.skipping = false
	s.kept++
	s.rows++
	s.stated = true
	s.lastStamp = append(s.lastStamp[:0], digits...)
	if s.tokens.ended && s.broken {
		s.cut("the file ends in a time stamp, of which digits may be missing")
	}
	s.broken = s.tokens.lineBroken
	switch {
	case !s.started:
		s.begin(at)
	case at > s.now:
		s.block.starting = false
	}
	// An instant is not parted: an unknown level may turn out to last for none.
	moved := at > s.now
	s.now = at
	return moved && !s.block.starting && s.isFull(), nil
}

// instant reads the digits of a time stamp. The first one decides whether all
// are kept relative to it.
func (s *source) instant(digits []byte) (decode.Time, error) {
	const right = "# and the ticks since the start, such as #1500"
	tick, err := parseTick(digits)
	if err != nil {
		if s.tokens.ended && len(digits) == 0 {
			return 0, errCut
		}
		return 0, s.fault(fmt.Errorf("the time stamp %s is %w", shown("#"+string(digits)), err), right)
	}
	if !s.started && s.clock.start(tick) {
		s.relative = string(digits)
		s.remark(remarkRelative, "times count from the first time stamp, #%s of %s, which is far from 0", digits, s.clock.scale)
	}
	if tick < s.clock.origin {
		return -1, nil
	}
	at, err := s.clock.time(tick)
	if err != nil {
		return 0, s.fault(fmt.Errorf("the time stamp #%s is %w", digits, err), "a timescale that the stamps belong to")
	}
	return at, nil
}

// begin starts the record: what came before is the level to start from.
func (s *source) begin(at decode.Time) {
	s.started, s.first, s.now = true, at, at
	s.block.date(at)
	s.beginReals(at)
	for i := range s.signals {
		if g := &s.signals[i]; g.kind == ofEvent && g.channel >= 0 {
			s.block.set(g.channel, at, decode.Low)
		}
	}
}

// keyword reads a keyword among the changes, with its body unless that is of
// changes itself.
func (s *source) keyword(word string) error {
	switch word {
	case "$end":
		if s.open == "" {
			s.remark(remarkStrayEnd, "$end closes nothing and was ignored")
		}
		s.open = ""
		return nil
	case "$dumpvars", "$dumpall", "$dumpports", "$dumpportsall":
	case "$dumpon", "$dumpportson":
		s.off = false
	case "$dumpoff", "$dumpportsoff":
		s.off = true
		s.blind()
	case "$vcdclose":
		return s.vcdclose()
	case "$scope", "$upscope", "$var", "$timescale", "$enddefinitions":
		return s.fault(fmt.Errorf("%s among the value changes", word), "declarations come before the first time stamp")
	default:
		if s.tokens.ended {
			return errCut
		}
		return s.cutOff(s.skipText(word))
	}
	if s.open != "" {
		s.remark(remarkUnclosed, "%s was not closed before %s, which was taken to close it", s.open, word)
	}
	s.open = word
	return nil
}

// vcdclose reads the final time of an extended dump.
func (s *source) vcdclose() error {
	for {
		token, err := s.tokens.next()
		if err != nil {
			return s.cutOff(err)
		}
		if string(token) == "$end" {
			return nil
		}
		if token[0] != '#' {
			return s.fault(fmt.Errorf("$vcdclose with %s", shown(token)), "the final time and $end, such as $vcdclose #1500 $end")
		}
		if _, err := s.stamp(token); err != nil {
			return err
		}
	}
}
