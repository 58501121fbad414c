package formats

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
)

// WriteVCD writes s as a value change dump (IEEE Std 1364-2005 clause 18) with
// a timescale of 1 ps: one wire for each channel, all in one scope, unknown
// levels as x. The last time marker states the end. It streams blocks and does
// not close s. A dump holds no time before zero: a capture that begins earlier
// is a *UsageError, since its times are never shifted.
//
// White space within a name becomes an underscore, as a reference has none.
func WriteVCD(w io.Writer, s decode.Source) error {
	if len(s.Channels()) == 0 {
		return &UsageError{Message: "there is no channel to write"}
	}
	d := &dumpWriter{w: w, codes: make([]string, len(s.Channels()))}
	end, err := moments(s, func(m moment) error {
		if d.buf == nil {
			return d.begin(s, m.at, m.levels)
		}
		return d.changes(m.at, m.levels, m.changed)
	})
	if err != nil {
		return err
	}
	if end > d.last {
		d.buf = appendMarker(d.buf, end)
	}
	return d.flush()
}

// dumpWriter gathers the text of a dump.
type dumpWriter struct {
	w     io.Writer
	codes []string
	buf   []byte
	last  decode.Time // of the last time marker
}

func (d *dumpWriter) begin(s decode.Source, at decode.Time, levels []byte) error {
	if at < 0 {
		return &UsageError{Message: fmt.Sprintf("a value change dump holds no time before zero, and this capture starts at %s s; write CSV", phrase.Trim(at.Seconds(12)))}
	}
	d.buf = append(make([]byte, 0, flushSize+4096), "$version widthwise $end\n$timescale 1 ps $end\n$scope module capture $end\n"...)
	taken := map[string]bool{}
	for i, c := range s.Channels() {
		d.codes[i] = identifier(i)
		d.buf = fmt.Appendf(d.buf, "$var wire 1 %s %s $end\n", d.codes[i], reference(c.Name, taken))
	}
	d.buf = append(d.buf, "$upscope $end\n$enddefinitions $end\n"...)
	d.buf = appendMarker(d.buf, at)
	d.buf = append(d.buf, "$dumpvars\n"...)
	for i, l := range levels {
		d.value(i, l)
	}
	d.buf = append(d.buf, "$end\n"...)
	d.last = at
	return nil
}

func (d *dumpWriter) changes(at decode.Time, levels []byte, changed []int) error {
	if at > d.last {
		d.buf = appendMarker(d.buf, at)
		d.last = at
	}
	slices.Sort(changed) // so that equal captures make equal dumps
	for _, i := range changed {
		d.value(i, levels[i])
	}
	if len(d.buf) < flushSize {
		return nil
	}
	return d.flush()
}

func (d *dumpWriter) value(channel int, level byte) {
	d.buf = append(d.buf, level)
	d.buf = append(d.buf, d.codes[channel]...)
	d.buf = append(d.buf, '\n')
}

func (d *dumpWriter) flush() error {
	_, err := d.w.Write(d.buf)
	d.buf = d.buf[:0]
	return err
}

func appendMarker(b []byte, at decode.Time) []byte {
	return append(strconv.AppendInt(append(b, '#'), int64(at), 10), '\n')
}

// identifier is the code of variable n, in the printable characters ! to ~.
func identifier(n int) string {
	code := string(rune('!' + n%94))
	for n /= 94; n > 0; n /= 94 {
		n--
		code += string(rune('!' + n%94))
	}
	return code
}

// reference spells a name without white space, and differently from those taken.
func reference(name string, taken map[string]bool) string {
	clean := strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) || unicode.IsControl(r) {
			return '_'
		}
		return r
	}, name)
	if clean == "" || strings.HasPrefix(clean, "$") {
		clean = "_" + clean
	}
	for unique, n := clean, 2; ; n++ {
		if !taken[unique] {
			taken[unique] = true
			return unique
		}
		unique = clean + "_" + strconv.Itoa(n)
	}
}
