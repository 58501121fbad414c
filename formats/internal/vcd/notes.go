package vcd

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
)

// remark is something about a dump that its reader should be told.
type remark int

// What is remarked, in the order in which it is told.
const (
	remarkDamaged remark = iota
	remarkUndeclared
	remarkUnitStated
	remarkUnitIgnored
	remarkRelative
	remarkRounded
	remarkNoEnd
	remarkLateDeclaration
	remarkUnclosed
	remarkStrayEnd
	remarkStrayUpscope
	remarkSection
	remarkTooLong
	remarkRange
	remarkAlias
	remarkSamePath
	remarkNineState
	remarkReal
	remarkNoDumpOn
	remarkLevels
	remarkCount
)

// notes keeps each remark once, with its text and line where it first came
// up, and how often it did.
type notes [remarkCount]struct {
	text  string
	line  int64
	count int64
}

// add remarks something at a line; 0 is no line.
func (n *notes) add(r remark, line int64, format string, args ...any) {
	if n[r].count == 0 {
		n[r].text, n[r].line = fmt.Sprintf(format, args...), line
	}
	n[r].count++
}

func (n *notes) list() []string {
	var notes []string
	for _, r := range n {
		switch {
		case r.count == 0:
		case r.line == 0:
			notes = append(notes, r.text)
		case r.count == 1:
			notes = append(notes, fmt.Sprintf("%s (line %d)", r.text, r.line))
		default:
			notes = append(notes, fmt.Sprintf("%s (%d times, first in line %d)", r.text, r.count, r.line))
		}
	}
	return notes
}

// remark notes something about the last token.
func (s *source) remark(r remark, format string, args ...any) {
	if s.notes[r].count > 0 {
		s.notes[r].count++
		return
	}
	line, _ := s.tokens.place()
	s.notes.add(r, line, format, args...)
}

// shown quotes a piece of a dump for a message, shortened.
func shown[T ~string | ~[]byte](token T) string {
	const most = 40
	if len(token) > most {
		return strconv.Quote(string(token[:most])) + "..."
	}
	return strconv.Quote(string(token))
}

// printable is a name with what cannot be printed replaced.
func printable(name string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, strings.ToValidUTF8(name, string(unicode.ReplacementChar)))
}
