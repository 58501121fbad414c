package formats

import (
	"io"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
	"widthwise/formats/internal/table"
)

// WriteCSV writes s as a table (RFC 4180, lines ending in LF): a time column in
// seconds and one column for each channel, levels 0, 1 and x. There is a row
// for each change, and one for the capture's start and end, or with o.Samples a
// row for each sample: the level at that instant. It streams blocks and does
// not close s.
//
// A channel name that a spreadsheet would run as a formula is written with an
// apostrophe before it, and one that seems to end in a unit with " [logic]"
// after it; reading such a table takes both away again.
func WriteCSV(w io.Writer, s decode.Source, o WriteOptions) error {
	if len(s.Channels()) == 0 {
		return &UsageError{Message: "there is no channel to write"}
	}
	t := &tableWriter{w: w, source: s}
	t.header()
	if o.Samples.Num > 0 {
		return t.samples(o.Samples)
	}
	return t.changes()
}

// tableWriter gathers the text of a table.
type tableWriter struct {
	w      io.Writer
	source decode.Source
	buf    []byte
}

func (t *tableWriter) header() {
	t.buf = append(t.buf, "time_s"...)
	for _, c := range t.source.Channels() {
		t.buf = append(t.buf, ',')
		t.buf = append(t.buf, table.HeaderCell(c.Name)...)
	}
	t.buf = append(t.buf, '\n')
}

func (t *tableWriter) flush() error {
	_, err := t.w.Write(t.buf)
	t.buf = t.buf[:0]
	return err
}

// line ends a row that begins with a time.
func (t *tableWriter) line(levels []byte) error {
	t.buf = appendLevels(t.buf, levels)
	if len(t.buf) < flushSize {
		return nil
	}
	return t.flush()
}

func appendLevels(b, levels []byte) []byte {
	for _, l := range levels {
		b = append(b, ',', l)
	}
	return append(b, '\n')
}

func (t *tableWriter) changes() error {
	var last decode.Time
	digits, levels := -1, []byte(nil)
	end, err := moments(t.source, func(m moment) error {
		if digits < 0 {
			digits = digitsOf(m.facts.Unit)
		}
		last, levels = m.at, m.levels
		t.buf = appendSeconds(t.buf, m.at, digits)
		return t.line(m.levels)
	})
	if err != nil {
		return err
	}
	if end > last {
		t.buf = appendSeconds(t.buf, end, digits)
		t.buf = appendLevels(t.buf, levels)
	}
	return t.flush()
}

// samples writes the level at start + n/rate for every n up to the end.
func (t *tableWriter) samples(rate Rate) error {
	var (
		grid   exact.Sampler
		digits int
		n      = int64(-1)
		at     decode.Time // of sample n
		levels []byte      // since the last row
	)
	before := func(limit decode.Time) error {
		tail := appendLevels(nil, levels)
		for at < limit {
			t.buf = appendSeconds(t.buf, at, digits)
			t.buf = append(t.buf, tail...)
			if len(t.buf) >= flushSize {
				if err := t.flush(); err != nil {
					return err
				}
			}
			n++
			at = grid.At(n)
		}
		return nil
	}
	end, err := moments(t.source, func(m moment) error {
		if n < 0 {
			grid, n, at = exact.Sampler{Rate: rate, Start: m.at}, 0, m.at
			digits = digitsOf(grid.Unit())
		}
		if err := before(m.at); err != nil {
			return err
		}
		levels = append(levels[:0], m.levels...)
		return nil
	})
	if err != nil {
		return err
	}
	if err := before(end + 1); err != nil {
		return err
	}
	return t.flush()
}

// digitsOf returns the decimals of a second that a power of ten needs; 12 for
// anything else.
func digitsOf(unit decode.Time) int {
	digits := 12
	for ; unit > 1 && unit%10 == 0; unit /= 10 {
		digits--
	}
	if unit != 1 || digits < 0 {
		return 12
	}
	return digits
}

// twoDigits is "00" to "99" in a row.
var twoDigits = func() (d [200]byte) {
	for i := range 100 {
		d[2*i], d[2*i+1] = byte('0'+i/10), byte('0'+i%10)
	}
	return d
}()

// appendSeconds appends t in seconds with so many decimals, or all twelve where
// fewer would lose something.
func appendSeconds(b []byte, t decode.Time, digits int) []byte {
	u := uint64(t)
	if t < 0 {
		b, u = append(b, '-'), -u
	}
	whole, rest := u/1e12, u%1e12
	var text [13]byte
	text[0] = '.'
	for i := 11; i > 0; i -= 2 {
		pair := rest % 100
		rest /= 100
		text[i], text[i+1] = twoDigits[2*pair], twoDigits[2*pair+1]
	}
	if !allZero(text[1+digits:]) {
		digits = 12
	}
	b = appendWhole(b, whole)
	if digits == 0 {
		return b
	}
	return append(b, text[:1+digits]...)
}

func appendWhole(b []byte, n uint64) []byte {
	if n >= 10 {
		b = appendWhole(b, n/10)
	}
	return append(b, byte('0'+n%10))
}

func allZero(text []byte) bool {
	for _, c := range text {
		if c != '0' {
			return false
		}
	}
	return true
}
