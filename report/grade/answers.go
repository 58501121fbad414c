package grade

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
	"widthwise/formats"
	"widthwise/formats/tomlfile"
)

// Answers are what a student wrote, and which wire is which.
type Answers struct {
	Values   map[string]Answer
	Channels map[string]string // the rubric's name to the capture's
}

// Answer is one answer as it was written, and its number if it is one.
type Answer struct {
	text   string
	value  float64
	number bool
}

// newAnswer reads an answer; the decimal mark may be a comma.
func newAnswer(text string) Answer {
	a := Answer{text: text}
	plain := strings.TrimSpace(text)
	if strings.Count(plain, ",") == 1 && !strings.Contains(plain, ".") {
		plain = strings.Replace(plain, ",", ".", 1)
	}
	if v, err := strconv.ParseFloat(plain, 64); err == nil && !math.IsNaN(v) && !math.IsInf(v, 0) {
		a.value, a.number = v, true
	}
	return a
}

// With is both together; what the other says weighs more.
func (a Answers) With(o Answers) Answers {
	out := Answers{Values: map[string]Answer{}, Channels: o.Channels}
	for _, from := range []Answers{a, o} {
		maps.Copy(out.Values, from.Values)
	}
	return out
}

// Channel is the capture's name of what the rubric calls by a name.
func (a Answers) Channel(name string) string {
	if own, ok := a.Channels[name]; ok {
		return own
	}
	return name
}

// ParseAnswers reads what one student wrote beside a capture: a TOML file of
// `question = number`, and a table [channels] of which wire is which.
func ParseAnswers(file string, text []byte) (Answers, error) {
	in := map[string]any{}
	places, err := tomlfile.Decode(file, text, &in)
	if err != nil {
		return Answers{}, err
	}
	out := Answers{Values: map[string]Answer{}, Channels: map[string]string{}}
	keys := maps.Keys(in)
	slices.Sort(keys)
	for _, key := range keys {
		switch v := in[key].(type) {
		case int64, float64:
			out.Values[key] = newAnswer(fmt.Sprint(v))
		case string:
			out.Values[key] = newAnswer(v)
		case map[string]any:
			if key != "channels" {
				return Answers{}, places.Error(key, fmt.Sprintf("a table [%s]", key), "question = number, and [channels]")
			}
			for name, wire := range v {
				own, ok := wire.(string)
				if !ok {
					return Answers{}, places.Error("channels."+name, fmt.Sprintf("%s is no name of a channel", name), `rudder = "D3"`)
				}
				out.Channels[name] = own
			}
		default:
			return Answers{}, places.Error(key, fmt.Sprintf("%s is no number", key), "question = number")
		}
	}
	return out, nil
}

// ClassAnswers reads the answers of a class: `student,question,value`.
func ClassAnswers(file string, text []byte) (map[string]Answers, error) {
	rows, err := sheet(file, text, "student", "question", "value")
	if err != nil {
		return nil, err
	}
	out := map[string]Answers{}
	for _, row := range rows {
		a, ok := out[row[0]]
		if !ok {
			a = Answers{Values: map[string]Answer{}}
			out[row[0]] = a
		}
		a.Values[row[1]] = newAnswer(row[2])
	}
	return out, nil
}

// Roster lists the students of a class and the files that are theirs.
type Roster []Entry

// Entry is a student with a pattern for the names of files.
type Entry struct{ Student, Pattern string }

// ParseRoster reads a roster: `student,pattern`.
func ParseRoster(file string, text []byte) (Roster, error) {
	rows, err := sheet(file, text, "student", "pattern")
	if err != nil {
		return nil, err
	}
	var out Roster
	for _, row := range rows {
		out = append(out, Entry{row[0], row[1]})
	}
	return out, nil
}

// Student names the student of a file by the first pattern that its base name
// fits, with or without its endings; "" where none does.
func (r Roster) Student(file string) string {
	for _, e := range r {
		for _, name := range []string{base(file), stem(file), StudentOf(file)} {
			if phrase.Matches(e.Pattern, name) {
				return e.Student
			}
		}
	}
	return ""
}

// Missing lists the students of whom no file was handed in.
func (r Roster) Missing(present func(student string) bool) (out []string) {
	for _, e := range r {
		if !present(e.Student) && !slices.Contains(out, e.Student) {
			out = append(out, e.Student)
		}
	}
	return out
}

// sheet reads a small table (RFC 4180, comma or semicolon, a byte-order mark
// allowed) under the given header.
func sheet(file string, text []byte, header ...string) ([][]string, error) {
	body := strings.TrimPrefix(string(text), "\ufeff")
	first, _, _ := strings.Cut(body, "\n")
	r := csv.NewReader(strings.NewReader(body))
	r.TrimLeadingSpace = true
	if strings.Count(first, ";") > strings.Count(first, ",") {
		r.Comma = ';'
	}
	wrong := func(line, column int, problem string) error {
		return &formats.ParseError{File: file, Line: int64(line), Column: int64(column), Err: errors.New(problem),
			Fix: "rows of " + strings.Join(header, ",")}
	}
	var rows [][]string
	for first := true; ; first = false {
		row, err := r.Read()
		var bad *csv.ParseError
		switch {
		case err == io.EOF && first:
			return nil, wrong(1, 1, "an empty file")
		case err == io.EOF:
			return rows, nil
		case errors.As(err, &bad):
			return nil, wrong(bad.Line, bad.Column, bad.Err.Error())
		case err != nil:
			return nil, wrong(1, 1, err.Error())
		}
		for k := range row {
			row[k] = strings.TrimSpace(row[k])
		}
		line, column := r.FieldPos(0)
		switch {
		case first && !slices.EqualFunc(row, header, strings.EqualFold):
			return nil, wrong(line, column, "no header "+strings.Join(header, ","))
		case first:
		case row[0] == "":
			return nil, wrong(line, column, "a row without a student")
		default:
			rows = append(rows, row)
		}
	}
}
