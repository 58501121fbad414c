package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"widthwise/decode"
)

// Seconds is an instant or a duration, written in seconds with all its
// decimals and no more, never through a float.
type Seconds decode.Time

// Number is written with all the digits a float64 has, NaN as null.
type Number float64

// Word is written as a string, and as null where there is none.
type Word string

// MarshalJSON writes seconds such as 12.344 or 0.0.
func (s Seconds) MarshalJSON() ([]byte, error) {
	text := strings.TrimRight(decode.Time(s).Seconds(12), "0")
	if strings.HasSuffix(text, ".") {
		text += "0"
	}
	return []byte(text), nil
}

// Decimals writes seconds with so many decimals.
func (s Seconds) Decimals(n int) string { return decode.Time(s).Seconds(n) }

// MarshalJSON writes the shortest decimal that reads back as the same number.
func (n Number) MarshalJSON() ([]byte, error) {
	if n.Missing() {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

// MarshalJSON adds the error, and leaves out all but file and verdict where there
// is one.
func (c *Capture) MarshalJSON() ([]byte, error) {
	type plain Capture
	var document any = struct {
		*plain
		Err Word `json:"error"`
	}{(*plain)(c), ""}
	if c.Err != "" {
		none := []string{}
		document = struct {
			File     string   `json:"file"`
			Err      string   `json:"error"`
			Verdict  Word     `json:"verdict"`
			Notes    []string `json:"notes"`
			Channels []string `json:"channels"`
			Events   []string `json:"events"`
			Findings []string `json:"findings"`
		}{c.File, c.Err, "", none, none, none, none}
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(document)
	return b.Bytes(), err
}

// MarshalJSON writes null for the empty word.
func (w Word) MarshalJSON() ([]byte, error) {
	if w == "" {
		return []byte("null"), nil
	}
	return json.Marshal(string(w))
}

// String is the number as JSON has it, and nothing where there is none.
func (n Number) String() string {
	if n.Missing() {
		return ""
	}
	b, _ := json.Marshal(float64(n))
	return string(b)
}

// String is the time in seconds with all its decimals and no more.
func (s Seconds) String() string {
	b, _ := s.MarshalJSON()
	return string(b)
}

// Missing says that there is no such number.
func (n Number) Missing() bool { return math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) }

// micros is exact: a float64 holds every picosecond of three hours.
func micros(t decode.Time) Number {
	n, _ := strconv.ParseFloat(t.Micros(6), 64)
	return Number(n)
}

// WriteJSON writes a document indented, for reading and for comparing by line.
// Whatever could steer a terminal is written as an escape.
func WriteJSON(w io.Writer, document any) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(document); err != nil {
		return err
	}
	_, err := w.Write(escapeControls(b.Bytes()))
	return err
}

// PageJSON is a document in one line for the inside of a page: nothing in it
// can end the element it stands in.
func PageJSON(document any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(document); err != nil {
		return nil, err
	}
	line := escapeControls(bytes.TrimSuffix(b.Bytes(), []byte("\n")))
	return bytes.ReplaceAll(line, []byte("<"), []byte(`\u003c`)), nil
}

// escapeControls writes what encoding/json leaves as it is, the upper control
// characters and the invisible ones that turn text around, as \u escapes. They
// occur in strings only.
func escapeControls(b []byte) []byte {
	out := make([]byte, 0, len(b))
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		switch {
		case r != '\n' && (unicode.Is(unicode.Cc, r) || unicode.Is(unicode.Cf, r)):
			if high, low := utf16Pair(r); low == 0 {
				out = fmt.Appendf(out, `\u%04x`, high)
			} else {
				out = fmt.Appendf(out, `\u%04x\u%04x`, high, low)
			}
		default:
			out = append(out, b[:n]...)
		}
		b = b[n:]
	}
	return out
}

func utf16Pair(r rune) (high, low rune) {
	if r < 0x10000 {
		return r, 0
	}
	r -= 0x10000
	return 0xd800 + r>>10, 0xdc00 + r&0x3ff
}
