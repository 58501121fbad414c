// Package tomlfile reads the files that people write: TOML 1.0 into a struct,
// strictly, so that every fault has its place and says what would be right.
package tomlfile

import (
	"encoding"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"widthwise/decode/phrase"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// Places tells where in a TOML text each key stands.
type Places struct {
	file string
	at   map[string]unstable.Position
}

// Error returns a *ParseError that points at the value of the key with the
// given path, such as "channel[1].moves[0].at", or of the nearest one around it.
func (p *Places) Error(path, problem, fix string) *capture.ParseError {
	e := &capture.ParseError{File: p.file, Err: errors.New(problem), Fix: fix}
	for ; path != ""; path = parentPath(path) {
		if pos, ok := p.at[path]; ok {
			e.Line, e.Column = int64(pos.Line), int64(pos.Column)
			break
		}
	}
	return e
}

// Has tells whether the text states the key with the given path.
func (p *Places) Has(path string) bool {
	if p == nil {
		return false
	}
	_, ok := p.at[path]
	return ok
}

func parentPath(path string) string {
	if i := strings.LastIndexAny(path, ".["); i >= 0 {
		return path[:i]
	}
	return ""
}

// Decode reads TOML 1.0 strictly into a pointer to a struct: an unknown
// key, a wrong type and damage are a *ParseError with line and column. A type
// with UnmarshalText takes text only, and says what a bare number lacks.
func Decode(file string, text []byte, into any) (*Places, error) {
	w := &walk{places: &Places{file: file, at: map[string]unstable.Position{}}, arrays: map[string]int{}}
	if err := w.document(text, reflect.TypeOf(into).Elem()); err != nil {
		return nil, err
	}
	err := toml.NewDecoder(strings.NewReader(string(text))).DisallowUnknownFields().Decode(into)
	if err != nil {
		return nil, placed(file, err)
	}
	return w.places, nil
}

// rightTOML is what would be right where a text is no TOML.
const rightTOML = "TOML 1.0, such as key = value"

func placed(file string, err error) *capture.ParseError {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		err = &strict.Errors[0]
	}
	e := &capture.ParseError{File: file, Err: errors.New(strings.TrimPrefix(err.Error(), "toml: ")), Fix: rightTOML}
	var at *toml.DecodeError
	if errors.As(err, &at) {
		line, column := at.Position()
		e.Line, e.Column = int64(line), int64(column)
	}
	return e
}

// walk goes once over a document beside the types it will be decoded into,
// notes where each key stands and finds the first key that does not fit. The
// decoder would find it too, but in the words of Go's types.
type walk struct {
	parser unstable.Parser
	places *Places
	arrays map[string]int // elements so far of each array of tables
}

func (w *walk) document(text []byte, root reflect.Type) error {
	w.parser.Reset(text)
	prefix, table := "", root
	for w.parser.NextExpression() {
		e := w.parser.Expression()
		var err error
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			prefix, table, err = w.table(e, root)
		case unstable.KeyValue:
			err = w.keyValue(e, prefix, table)
		}
		if err != nil {
			return err
		}
	}
	var bad *unstable.ParserError
	if err := w.parser.Error(); errors.As(err, &bad) {
		pos := w.parser.Shape(w.parser.Range(bad.Highlight)).Start
		return &capture.ParseError{File: w.places.file, Line: int64(pos.Line), Column: int64(pos.Column), Err: errors.New(bad.Message), Fix: rightTOML}
	} else if err != nil {
		return placed(w.places.file, err)
	}
	return nil
}

// table follows a header such as [frames], [[channel]] or [channel.frames].
func (w *walk) table(e *unstable.Node, t reflect.Type) (string, reflect.Type, error) {
	path := ""
	key := e.Key()
	for key.Next() {
		n := key.Node()
		var err error
		if path, t, err = w.field(n, path, t); err != nil {
			return "", nil, err
		}
		list := t.Kind() == reflect.Slice
		if key.IsLast() {
			switch {
			case e.Kind == unstable.ArrayTable && list:
				w.arrays[path]++
			case list:
				return "", nil, w.places.Error(path, fmt.Sprintf("%s is a list", n.Data), fmt.Sprintf("write [[%s]]", n.Data))
			case e.Kind == unstable.ArrayTable, t.Kind() != reflect.Struct && t.Kind() != reflect.Map && t.Kind() != reflect.Interface:
				return "", nil, w.places.Error(path, fmt.Sprintf("%s is %s", n.Data, wanted(t)), "")
			}
		}
		if list {
			if w.arrays[path] == 0 {
				return "", nil, w.places.Error(path, fmt.Sprintf("there is no %s yet", n.Data), fmt.Sprintf("begin one with [[%s]]", n.Data))
			}
			path = fmt.Sprintf("%s[%d]", path, w.arrays[path]-1)
			w.note(path, n)
			t = base(t.Elem())
		}
	}
	return path, t, nil
}

func (w *walk) keyValue(e *unstable.Node, path string, t reflect.Type) error {
	key := e.Key()
	for key.Next() {
		var err error
		if path, t, err = w.field(key.Node(), path, t); err != nil {
			return err
		}
	}
	return w.value(e.Value(), path, t)
}

// field steps from a table into one of its keys.
func (w *walk) field(n *unstable.Node, path string, t reflect.Type) (string, reflect.Type, error) {
	name := string(n.Data)
	around := path
	if path != "" {
		path += "."
	}
	path += name
	w.note(path, n)
	switch t.Kind() {
	case reflect.Interface:
		return path, t, nil
	case reflect.Map:
		return path, base(t.Elem()), nil
	case reflect.Struct:
		names := []string{}
		for _, f := range reflect.VisibleFields(t) {
			tag := f.Tag.Get("toml")
			if tag == name && !f.Anonymous {
				return path, base(f.Type), nil
			}
			if tag != "" {
				names = append(names, tag)
			}
		}
		return "", nil, w.places.Error(path, fmt.Sprintf("unknown key %q", exact.Shorten(name)), offer(name, names))
	}
	return "", nil, w.places.Error(around, fmt.Sprintf("%s is no table", exact.Shorten(around)), "")
}

// offer says what an unknown key may have been meant to be.
func offer(name string, keys []string) string {
	if near := phrase.Nearest(exact.Shorten(name), keys); near != "" {
		return fmt.Sprintf("did you mean %s?", near)
	}
	return "the keys here are " + strings.Join(keys, ", ")
}

func base(t reflect.Type) reflect.Type {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return t
}

// value checks a value against the type it will be decoded into.
func (w *walk) value(v *unstable.Node, path string, t reflect.Type) error {
	if v.Raw.Length > 0 {
		w.note(path, v)
	}
	if from, ok := reflect.New(t).Interface().(encoding.TextUnmarshaler); ok {
		if v.Kind == unstable.Array || v.Kind == unstable.InlineTable {
			return w.places.Error(path, fmt.Sprintf("%s is %s", path, found[v.Kind]), "write a text with a unit")
		}
		err := from.UnmarshalText(v.Data)
		if err == nil && v.Kind != unstable.String {
			err = errors.New("must be a text in quotes")
		}
		if err != nil {
			return w.places.Error(path, path+": "+err.Error(), "")
		}
		return nil
	}
	if t.Kind() == reflect.Interface {
		return nil // whoever asked for anything looks at it
	}
	if !kindFits[t.Kind()][v.Kind] {
		return w.places.Error(path, fmt.Sprintf("%s is %s", path, found[v.Kind]), "write "+wanted(t))
	}
	children := v.Children()
	for i := 0; children.Next(); i++ {
		var err error
		if v.Kind == unstable.InlineTable {
			err = w.keyValue(children.Node(), path, t)
		} else if v.Kind == unstable.Array {
			err = w.value(children.Node(), fmt.Sprintf("%s[%d]", path, i), base(t.Elem()))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (w *walk) note(path string, n *unstable.Node) {
	w.places.at[path] = w.parser.Shape(n.Raw).Start
}

var kindFits = map[reflect.Kind]map[unstable.Kind]bool{
	reflect.String:  {unstable.String: true},
	reflect.Bool:    {unstable.Bool: true},
	reflect.Int:     {unstable.Integer: true},
	reflect.Int64:   {unstable.Integer: true},
	reflect.Uint64:  {unstable.Integer: true},
	reflect.Float64: {unstable.Integer: true, unstable.Float: true},
	reflect.Slice:   {unstable.Array: true},
	reflect.Array:   {unstable.Array: true},
	reflect.Struct:  {unstable.InlineTable: true},
	reflect.Map:     {unstable.InlineTable: true},
}

var found = map[unstable.Kind]string{
	unstable.String: "a text", unstable.Bool: "true or false", unstable.Integer: "a whole number",
	unstable.Float: "a number", unstable.Array: "a list", unstable.InlineTable: "a table",
	unstable.LocalDate: "a date", unstable.LocalTime: "a time of day", unstable.LocalDateTime: "a date",
	unstable.DateTime: "a date",
}

func wanted(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return "a text in quotes"
	case reflect.Bool:
		return "true or false"
	case reflect.Int, reflect.Int64, reflect.Uint64:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.Slice, reflect.Array:
		return "a list in square brackets"
	}
	return "a table"
}
