package vcd

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"widthwise/decode"
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

// kinds are the remarks in the vocabulary of decode.
var kinds = [remarkCount]decode.RemarkKind{
	remarkDamaged: decode.LeftOut, remarkUndeclared: decode.LeftOut,
	remarkUnitStated: decode.TimesRead, remarkUnitIgnored: decode.TimesRead, remarkRelative: decode.TimesRead,
	remarkRounded: decode.TimesCoarse,
	remarkNoEnd:   decode.Irregularity, remarkLateDeclaration: decode.Irregularity, remarkUnclosed: decode.Irregularity,
	remarkStrayEnd: decode.Irregularity, remarkStrayUpscope: decode.Irregularity, remarkSection: decode.Irregularity,
	remarkTooLong: decode.Irregularity, remarkRange: decode.Irregularity, remarkAlias: decode.Irregularity, remarkNoDumpOn: decode.Irregularity,
	remarkSamePath:  decode.NameChanged,
	remarkNineState: decode.LevelsRead, remarkReal: decode.LevelsRead, remarkLevels: decode.LevelsRead,
}

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

func (n *notes) list() []decode.Remark {
	var notes []decode.Remark
	for i, r := range n {
		kind := kinds[i]
		switch {
		case r.count == 0:
		case r.line == 0:
			notes = append(notes, decode.Remark{Kind: kind, Text: r.text})
		case r.count == 1:
			notes = append(notes, decode.Remarkf(kind, "", "%s (line %d)", r.text, r.line))
		default:
			notes = append(notes, decode.Remarkf(kind, "", "%s (%d times, first in line %d)", r.text, r.count, r.line))
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
