package report

import (
	"bufio"
	"io"
	"iter"
	"strconv"
	"strings"

	"widthwise/decode"
)

// WritePulses writes one CSV row (RFC 4180, lines ending in LF) for each row
// of pulses: channel, start_s with 12 decimals, width_us and interval_us with
// 6, note. The interval is empty where there is none.
func WritePulses(w io.Writer, rows iter.Seq[decode.PulseRow]) error {
	out := bufio.NewWriterSize(w, 64<<10)
	if _, err := out.WriteString("channel,start_s,width_us,interval_us,note\n"); err != nil {
		return err
	}
	var line []byte
	name, field := "", ""
	for row := range rows {
		if row.Channel != name {
			name, field = row.Channel, csvField(row.Channel)
		}
		line = append(append(line[:0], field...), ',')
		line = append(appendDecimal(line, row.Start, 1_000_000_000_000), ',')
		line = append(appendDecimal(line, row.Width, 1_000_000), ',')
		if row.Interval != 0 {
			line = appendDecimal(line, row.Interval, 1_000_000)
		}
		line = append(line, ',')
		line = appendNotes(line, row)
		if _, err := out.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return out.Flush()
}

func appendNotes(line []byte, row decode.PulseRow) []byte {
	if row.Glitch {
		return append(line, decode.Glitch...)
	}
	for i, kind := range row.Notes {
		if i > 0 {
			line = append(line, ' ')
		}
		line = append(line, kind...)
	}
	return line
}

// appendDecimal writes t / unit, unit being a power of ten, with every decimal.
func appendDecimal(b []byte, t, unit decode.Time) []byte {
	n, u := uint64(t), uint64(unit)
	if t < 0 {
		b, n = append(b, '-'), -n
	}
	b = strconv.AppendUint(b, n/u, 10)
	mark := len(b)
	b = strconv.AppendUint(b, u+n%u, 10) // a digit more, in the place of the mark
	b[mark] = '.'
	return b
}

// csvField quotes a field where RFC 4180 asks for it.
func csvField(s string) string {
	if !strings.ContainsAny(s, ",\"\r\n") {
		return s
	}
	return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
}
