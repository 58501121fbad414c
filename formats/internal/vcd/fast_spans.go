package vcd

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/bits"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
	"widthwise/formats/internal/exact"
)

const (
	// worthStamps is the least number of time stamps of a span; after giveUp
	// shorter ones a piece is left to the plain reader.
	worthStamps = 64
	giveUp      = 20
	// listed is how many edges of a channel a span lists before it counts:
	// the first may restate a level, and decode learns from the first ones.
	listed = 130
	// busyEdges is the least number of edges that makes a second busy.
	busyEdges = 20001
)

// found is what a worker finds in a piece.
type found struct {
	spans   []span
	trails  []trail // of each channel
	tallies []*decode.Tally
	tallied int
}

// trail is a channel within a piece.
type trail struct {
	level  byte          // '0' or '1'; 0 before its first change in the span
	opens  decode.Level  // the level of the first edge not yet handed on
	from   int           // which one that is
	at     []decode.Time // all edges
	change change        // how its last one in the text looked
}

// meaning is what a code stands for.
type meaning struct {
	channel int16 // or ignored, or surprise
	width   int32
}

// dictionary has the meanings of codes.
type dictionary struct {
	codes    *codes
	meanings []meaning
	one      [256]int16 // channels of codes of one character
}

func (d *dictionary) meaning(code []byte) meaning {
	if i := d.codes.find(code); i >= 0 {
		return d.meanings[i]
	}
	return meaning{channel: surprise}
}

// ticks are turned into instants.
type ticks struct {
	multiple uint64
	origin   uint64 // the tick that is zero
	limit    uint64 // the most ticks from there
}

// time returns the instant of a tick, unless the plain reader has to look.
func (t *ticks) time(tick uint64) (at decode.Time, ok bool) {
	tick -= t.origin // below it: a number that is too large
	return decode.Time(tick * t.multiple), tick <= t.limit
}

// finder finds the spans of pieces. Each worker has its own.
type finder struct {
	dictionary
	ticks
	busy  []bool // of each channel: counts will do where it is busy
	start decode.Time

	// What is expected of the next lines.
	stamps stampReader
	cycle  cycle
	tries  tries

	// As of the piece, and the span at hand.
	out    *found
	span   *span
	now    decode.Time
	second decode.Time // where the one at hand ends
	idle   trail       // of channels that nobody asked for
}

// find finds the spans of a text.
func (f *finder) find(text []byte, out *found) {
	f.out = out
	out.spans, out.tallied = out.spans[:0], 0
	if out.trails == nil {
		out.trails = make([]trail, len(f.busy))
	}
	for i := range out.trails {
		w := &out.trails[i]
		w.at, w.from = w.at[:0], 0
	}
	for at, short := 0, 0; at < len(text) && short < giveUp; {
		if text[at] == '#' && (at == 0 || text[at-1] == '\n') {
			out.add()
			if at = f.read(text, at); f.span.stamps < worthStamps {
				out.spans = out.spans[:len(out.spans)-1]
				short++
			}
		}
		next := bytes.Index(text[at:], []byte("\n#"))
		if next < 0 {
			break
		}
		at += next + 1
	}
}

// add adds a span, which keeps the memory of the one that was there.
func (out *found) add() {
	if n := len(out.spans); n < cap(out.spans) {
		out.spans = out.spans[:n+1]
		return
	}
	out.spans = append(out.spans, span{})
}

// read reads the last span, which begins at a time stamp, up to the first line
// that is not as expected, and returns where that is.
func (f *finder) read(text []byte, from int) (to int) {
	x := &f.out.spans[len(f.out.spans)-1]
	*x = span{from: from, levels: x.levels[:0], runs: x.runs[:0], counts: x.counts[:0]}
	f.span, f.now, f.second = x, math.MinInt64, math.MinInt64
	for i := range f.out.trails {
		w := &f.out.trails[i]
		w.level, w.from = 0, len(w.at)
	}
	size := len(text)
	text = text[: size+ahead.Slack : size+ahead.Slack]
	for at := from; ; {
		next := at
		if x.stamps > 0 {
			next = f.alike(text, f.follow(text, at))
		}
		if next == at && at < size {
			next = f.line(text, at)
		}
		if next <= at {
			x.to, x.end = at, f.now
			f.close()
			return at
		}
		at = next
	}
}

// line reads a line and returns where the next begins; -1 if it is not as
// expected.
func (f *finder) line(text []byte, at int) (next int) {
	c := text[at]
	switch {
	case c == '#':
		return f.stamp(text, at)
	case c|1 == '1':
		next = f.scalar(text, at)
	case c == 'b':
		next = f.vector(text, at)
	default:
		return -1
	}
	if next >= 0 {
		f.span.lines++
		f.span.stated = false
	}
	return next
}

func (f *finder) stamp(text []byte, at int) (next int) {
	tick, end, ok := f.stamps.read(text, at+1)
	t, inside := f.time(tick)
	next = lineEnd(text, end)
	if !ok || next < 0 || !inside || t < f.now {
		return -1
	}
	if t >= f.second {
		f.turn(t)
	}
	x := f.span
	if x.stamps == 0 {
		x.start = t
	}
	f.now = t
	x.stamps++
	x.lines++
	x.stamp, x.stated = [2]int{at + 1, end}, true
	return next
}

func (f *finder) scalar(text []byte, at int) (next int) {
	channel, next := f.one[text[at+1]], lineEnd(text, at+2)
	if next < 0 {
		channel, _, next = f.code(text, at+1)
	}
	if channel == surprise {
		return -1
	}
	if channel >= 0 && next >= 0 {
		f.out.trails[channel].set(text[at], f.now)
	}
	return next
}

// set takes in a change to '0' or '1'.
func (w *trail) set(to byte, now decode.Time) {
	if to == w.level {
		return
	}
	if w.level == 0 {
		w.opens = decode.Low + decode.Level(to-'0')
	}
	w.level = to
	w.at = append(w.at, now)
}

// close hands out what the span has said, and the levels it ends with.
func (f *finder) close() {
	f.turn(f.now)
	for _, w := range f.out.trails {
		l := decode.Unknown
		if w.level != 0 {
			l = decode.Low + decode.Level(w.level-'0')
		}
		f.span.levels = append(f.span.levels, l)
	}
}

// lineEnd returns where the next line begins if one ends at at, else -1.
func lineEnd(text []byte, at int) int {
	switch {
	case text[at] == '\n':
		return at + 1
	case text[at] == '\r' && text[at+1] == '\n':
		return at + 2
	}
	return -1
}

// code reads a code of any length, the last word of a line.
func (f *finder) code(text []byte, at int) (channel int16, width int32, next int) {
	end := at
	for text[end] > ' ' {
		end++
	}
	m := f.meaning(text[at:end])
	return m.channel, m.width, lineEnd(text, end)
}

// vector passes over a vector that nobody asked for; -1 if it is another.
func (f *finder) vector(text []byte, at int) (next int) {
	digits := at + 1
	end := digits
	for end+8 <= len(text) {
		x := (binary.LittleEndian.Uint64(text[end:]) ^ exact.Zeros) &^ exact.EachByte
		if x != 0 {
			end += bits.TrailingZeros64(x) / 8
			break
		}
		end += 8
	}
	if end == digits || text[end] != ' ' {
		return -1
	}
	channel, width, next := f.code(text, end+1)
	if channel != ignored || end-digits > int(width) {
		return -1
	}
	return next
}

// turn ends a second of a span, of which the next begins with t: what is busy
// by itself is counted, and the rest listed.
func (f *finder) turn(t decode.Time) {
	if f.second != math.MinInt64 {
		for i := range f.out.trails {
			f.hand(i, &f.out.trails[i])
		}
	}
	f.second = t - (t-f.start)%decode.Second + decode.Second
}

func (f *finder) hand(channel int, w *trail) {
	x := f.span
	at := w.at[w.from:]
	if len(at) == 0 {
		return
	}
	if len(at) > busyEdges+listed && f.busy[channel] {
		if tally := f.count(w.opens, at); tally != nil {
			x.counts = append(x.counts, decode.Count{Channel: channel, Tally: tally})
			at = at[:listed]
		}
	}
	x.runs = append(x.runs, decode.Run{Channel: channel, First: w.opens, At: at[:len(at):len(at)]})
	w.from = len(w.at)
	w.opens = decode.Low + decode.Level(w.level^1-'0')
}

// count tallies edges but for the first, if they are busy without them.
func (f *finder) count(opens decode.Level, at []decode.Time) *decode.Tally {
	out := f.out
	if out.tallied == len(out.tallies) {
		out.tallies = append(out.tallies, &decode.Tally{})
	}
	tally := out.tallies[out.tallied]
	*tally = decode.Tally{}
	if tally.AddRun(opens, at[listed:]); !tally.Busy() { // an even number is listed
		return nil
	}
	out.tallied++
	return tally
}
