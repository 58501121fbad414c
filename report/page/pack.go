package page

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"

	"github.com/klauspost/compress/flate"

	"widthwise/decode"
	"widthwise/report/trace"
)

// Marks of a pulse in a packed train.
const (
	lifted     = 1 << iota // the pen is lifted before it
	noInterval             // the channel's first, or after a stretch of unknown level
	extra                  // off the frame grid while the grid goes on
	broken                 // with a break in it, or beside a rejected part
	startUp                // before the first regular frames
)

// train is a list of marks of one kind in order of time.
type train struct {
	starts, widths []decode.Time
	marks          []byte
}

func (t *train) add(start, width decode.Time, mark byte) {
	t.starts, t.widths, t.marks = append(t.starts, start), append(t.widths, width), append(t.marks, mark)
}

// trains are a channel's accepted pulses, its rejected parts (marked broken
// where they are a break inside a pulse) and its marks that are too long.
func trains(a *decode.ChannelAnalysis) [3]train {
	var pulses, rejected, stuck train
	reach := trace.Reach(a)
	for p := range a.Pulses() {
		var m byte
		for _, is := range []struct {
			mark byte
			so   bool
		}{
			{lifted, trace.Lifts(p, reach)}, {noInterval, p.Interval == 0},
			{extra, p.Extra}, {broken, p.Broken}, {startUp, p.StartUp},
		} {
			if is.so {
				m |= is.mark
			}
		}
		pulses.add(p.Start, p.Width, m)
	}
	for g := range a.Glitches() {
		var m byte
		if g.Inside {
			m = broken
		}
		rejected.add(g.Start, g.Width, m)
	}
	for e := range a.StuckMarks() {
		stuck.add(e.Start, e.End-e.Start, 0)
	}
	return [3]train{pulses, rejected, stuck}
}

// pack writes a channel's trains as text for the inside of a page: numbers of
// seven bits a byte (varints), deflated (RFC 1951), in base64. First the unit
// in picoseconds; then for each train its length and four planes: starts as
// what is left over when the last interval repeats, whole seconds apart from
// the rest, widths as differences, marks. A plane of like numbers deflates
// better than a list of records, and every number in it, times its unit, is
// exact in a float64.
func pack(a *decode.ChannelAnalysis) (string, error) {
	all := trains(a)
	unit := commonUnit(all[:])
	plain := binary.AppendUvarint(nil, uint64(unit))
	for _, t := range all {
		plain = t.append(plain, unit)
	}
	var packed bytes.Buffer
	base := base64.NewEncoder(base64.StdEncoding, &packed)
	deflate, err := flate.NewWriter(base, flate.BestCompression)
	if err != nil {
		return "", err
	}
	if _, err := deflate.Write(plain); err != nil {
		return "", err
	}
	if err := deflate.Close(); err != nil {
		return "", err
	}
	err = base.Close()
	return packed.String(), err
}

func (t *train) append(b []byte, unit decode.Time) []byte {
	b = binary.AppendUvarint(b, uint64(len(t.starts)))
	var seconds, rests, widths []byte
	var last, interval, width decode.Time
	for i, start := range t.starts {
		left := start - last - interval
		seconds = binary.AppendVarint(seconds, int64(left/decode.Second))
		rests = binary.AppendVarint(rests, int64(left%decode.Second/unit))
		widths = binary.AppendVarint(widths, int64((t.widths[i]-width)/unit))
		if interval = start - last; interval < 0 || interval >= decode.Second {
			interval = 0
		}
		last, width = start, t.widths[i]
	}
	b = append(append(append(b, seconds...), rests...), widths...)
	return append(b, t.marks...)
}

// commonUnit is the greatest unit that divides a second and every time.
func commonUnit(all []train) decode.Time {
	unit := decode.Second
	for _, t := range all {
		for i, start := range t.starts {
			if unit = divisor(divisor(unit, start), t.widths[i]); unit == 1 {
				return 1
			}
		}
	}
	return unit
}

// divisor is the greatest common one (Euclid).
func divisor(a, b decode.Time) decode.Time {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}
