package table

import (
	"bytes"

	"widthwise/decode"
)

// The fast path of rows that are read one by one: of a row that repeats the cells of
// the row before only the stamp is read, and where levels are single digits those
// that changed. It saves tables with dates or sample numbers, which have nothing
// else, a third to a half of their time.

// takeRepeat reads a row that looks as the row before, but for its stamp and single
// digits. It leaves to the plain reader what needs a closer look, and all that may be
// wrong: such a line may be a comment.
func (t *table) takeRepeat(line []byte) (done bool) {
	stamp, rest, ok := t.cutStamp(line)
	if !ok || len(t.tail) == 0 || t.blind {
		return false
	}
	idle := bytes.Equal(rest, t.tail)
	if !idle && !t.onlyDigits(rest) {
		return false
	}
	now, decimals, err := t.plan.clock.read(stamp)
	if err != nil || now < t.last {
		return false
	}
	if !idle {
		t.setDigits(rest, now)
	}
	t.pace.add(now, decimals, idle)
	t.last = now
	t.row++
	return true
}

// onlyDigits tells whether what follows a stamp differs from the row before in
// nothing but levels that are cells of a digit each.
func (t *table) onlyDigits(rest []byte) bool {
	s := t.shape.Load()
	if s == nil || len(rest) != len(t.tail) || len(rest) > len(s.tail) {
		return false
	}
	for at, c := range rest {
		if c == t.tail[at] {
			continue
		}
		if !s.isLevel(at) || c|1 != '1' || t.tail[at]|1 != '1' || !t.readers[(at+1)/2].moves() {
			return false
		}
		if rest[at-1] != t.delimiter || at+1 < len(rest) && rest[at+1] != t.delimiter {
			return false
		}
	}
	return true
}

// setDigits takes the levels that changed into the edges.
func (t *table) setDigits(rest []byte, now decode.Time) {
	for at, c := range rest {
		if c != t.tail[at] {
			t.edges.Set(t.readers[(at+1)/2].channel, decode.Low+decode.Level(c-'0'), now)
			t.tail[at] = c
		}
	}
}

// cutStamp parts a row behind its stamp.
func (t *table) cutStamp(line []byte) (stamp, rest []byte, ok bool) {
	at, end := 0, 0
	for n := 0; ; n++ {
		if t.delimiter == spaces {
			at = end + blanks(line[end:], 0)
			end = at
			for end < len(line) && line[end] != ' ' && line[end] != '\t' {
				end++
			}
		} else {
			at = end
			size := bytes.IndexByte(line[at:], t.delimiter)
			if size < 0 {
				return nil, nil, false
			}
			end = at + size
		}
		stamp = line[at:end]
		if n+1 == t.leading {
			// A stamp with quotes or blanks is read with care.
			ok = len(stamp) > 0 && stamp[0] > ' ' && stamp[len(stamp)-1] > ' ' && stamp[0] != '"' && end < len(line)
			return stamp, line[end:], ok && bytes.IndexByte(line[:end], '"') < 0
		}
		if end == len(line) {
			return nil, nil, false
		}
		if t.delimiter != spaces {
			end++
		}
	}
}
