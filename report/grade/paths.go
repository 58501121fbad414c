package grade

import (
	"math"
	"reflect"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/report"
)

// kind says what a figure is.
type kind int

const (
	number kind = iota + 1
	word
	truth
)

func (k kind) String() string {
	return [...]string{"", "a number", "a word", "a truth"}[k]
}

// figure is a figure of the document by its path.
type figure struct {
	kind  kind
	index []int // of the fields that lead to it
}

// Figures of a channel and of a capture, by their paths in the JSON of check.
var (
	channelFigures = figuresOf(reflect.TypeFor[report.Channel]())
	captureFigures = figuresOf(reflect.TypeFor[report.Capture]())
)

// figuresOf lists what a document type holds apart from its lists.
func figuresOf(t reflect.Type) map[string]figure {
	all := map[string]figure{}
	var walk func(t reflect.Type, path string, index []int)
	walk = func(t reflect.Type, path string, index []int) {
		for i := range t.NumField() {
			f := t.Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			at := append(slices.Clone(index), i)
			inner := f.Type
			if inner.Kind() == reflect.Pointer {
				inner = inner.Elem()
			}
			switch {
			case f.Anonymous && inner.Kind() == reflect.Struct:
				walk(inner, path, at)
			case name == "" || name == "-":
			case inner.Kind() == reflect.Struct:
				walk(inner, path+name+".", at)
			default:
				if k, ok := kindOf(inner); ok {
					all[path+name] = figure{k, at}
				}
			}
		}
	}
	walk(t, "", nil)
	return all
}

func kindOf(t reflect.Type) (kind, bool) {
	switch t.Kind() {
	case reflect.Float64, reflect.Int, reflect.Int64:
		return number, true
	case reflect.String:
		return word, true
	case reflect.Bool:
		return truth, true
	}
	return 0, false
}

// of returns the figure's value in a document: a float64, a string, a bool, or
// nil where it is null.
func (f figure) of(document any) any {
	v := reflect.ValueOf(document).Elem()
	for _, i := range f.index {
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				return nil
			}
			v = v.Elem()
		}
		v = v.Field(i)
	}
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return nil
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case report.Seconds:
		return float64(x) / float64(decode.Second)
	case report.Word:
		if x == "" {
			return nil
		}
		return string(x)
	}
	switch v.Kind() {
	case reflect.Float64:
		if n := v.Float(); !math.IsNaN(n) && !math.IsInf(n, 0) {
			return n
		}
		return nil
	case reflect.Int, reflect.Int64:
		return float64(v.Int())
	case reflect.String:
		return v.String()
	case reflect.Bool:
		return v.Bool()
	}
	return nil
}

// unit is the unit that a path ends in.
func unit(path string) string {
	last := path
	if head, _, ok := strings.Cut(path, "."); ok && strings.HasSuffix(head, "_us") {
		last = head
	}
	switch {
	case strings.HasSuffix(path, "drift_ppm"):
		return " ppm"
	case strings.HasSuffix(last, "_us"), strings.HasSuffix(path, "_us"):
		return " us"
	case strings.HasSuffix(last, "_s"):
		return " s"
	case strings.HasSuffix(last, "_hz"):
		return " Hz"
	}
	return ""
}
