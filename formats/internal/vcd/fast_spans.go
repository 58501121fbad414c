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
	wires   []trail
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

// finder finds the spans of pieces. Each worker has its own.
type finder struct {
	codes    *codes
	meanings []meaning
	one      [256]int16 // channels of codes of one character
	channels int
	busy     []bool // counts will do for the channel where it is busy
	multiple uint64
	origin   uint64 // the tick that is zero
	limit    uint64 // the most ticks from there
	start    decode.Time

	stamps stampReader
	out    *found
	idle   trail // of channels that nobody asked for
	cycle  cycle
	tries  tries
	second decode.Time // where the one at hand ends
}

func (f *finder) meaning(code []byte) meaning {
	if i := f.codes.find(code); i >= 0 {
		return f.meanings[i]
	}
	return meaning{channel: surprise}
}

// find finds the spans of a text.
func (f *finder) find(text []byte, out *found) {
	f.out = out
	out.spans, out.tallied = out.spans[:0], 0
	if out.wires == nil {
		out.wires = make([]trail, f.channels)
	}
	for i := range out.wires {
		w := &out.wires[i]
		w.at, w.from = w.at[:0], 0
	}
	for at, short := 0, 0; at < len(text) && short < giveUp; {
		if text[at] == '#' && (at == 0 || text[at-1] == '\n') {
			n := len(out.spans)
			out.spans = slicesGrow(out.spans)
			x := &out.spans[n]
			at = f.read(text, at, x)
			if x.stamps < worthStamps {
				out.spans = out.spans[:n]
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

// slicesGrow appends a span that keeps the memory of the one that was there.
func slicesGrow(spans []span) []span {
	if len(spans) < cap(spans) {
		return spans[:len(spans)+1]
	}
	return append(spans, span{})
}

// read reads the span that begins at a time stamp, up to the first line that
// is not as expected, and returns where that is.
func (f *finder) read(text []byte, from int, x *span) (to int) {
	*x = span{from: from, levels: x.levels[:0], runs: x.runs[:0], counts: x.counts[:0]}
	wires := f.out.wires
	for i := range wires {
		wires[i].level, wires[i].from = 0, len(wires[i].at)
	}
	f.second = math.MinInt64
	size := len(text)
	text = text[: size+ahead.Slack : size+ahead.Slack]
	at := from
	now := decode.Time(math.MinInt64)
	for at < size {
		if x.stamps > 0 {
			before := at
			at, now = f.follow(text, at, x, now)
			if at, now = f.pairs(text, at, x, now); at > before {
				continue
			}
		}
		switch c := text[at]; {
		case at == size:
		case c == '#':
			tick, end, ok := f.stamps.read(text, at+1)
			next := lineEnd(text, end)
			t, inside := f.time(tick)
			if !ok || next < 0 || !inside || t < now {
				return f.close(x, at, now)
			}
			if t >= f.second {
				f.turn(x, t)
			}
			if x.stamps == 0 {
				x.start = t
			}
			now = t
			x.stamps++
			x.lines++
			x.stamp, x.stated = [2]int{at + 1, end}, true
			at = next
		case c|1 == '1':
			channel, next := f.one[text[at+1]], lineEnd(text, at+2)
			if next < 0 {
				channel, _, next = f.code(text, at+1)
			}
			if channel == surprise || next < 0 {
				return f.close(x, at, now)
			}
			x.lines++
			x.stated = false
			at = next
			if channel >= 0 {
				wires[channel].set(c, now)
			}
		case c == 'b':
			next := f.vector(text, at)
			if next < 0 {
				return f.close(x, at, now)
			}
			x.lines++
			x.stated = false
			at = next
		default:
			return f.close(x, at, now)
		}
	}
	return f.close(x, at, now)
}

// pairs reads time stamps like the one before as long as each has one change
// behind it, the usual case. It returns where another line begins, and the time
// there.
func (f *finder) pairs(text []byte, at int, x *span, now decode.Time) (int, decode.Time) {
	r := f.stamps
	base := r.base - f.origin
	if r.digits == 0 || at < 8 || text[at] != '#' || r.base < f.origin || base+99_999_999 > f.limit {
		return at, now
	}
	var (
		c      change
		to     *trail // of the change before
		edges  []decode.Time
		level  byte
		stamps int64
		last   int // where the digits of the last stamp end
	)
	for end := at + 1 + r.digits; end+8 <= len(text) && stamps < f.tries.most; end += c.size + 1 + r.digits {
		near := (*[16]byte)(text[end-8:])
		word, line := (binary.LittleEndian.Uint64(near[:])^zeros)&r.last, binary.LittleEndian.Uint64(near[8:])
		if ((word+0x76*eachByte)|word)&(0x80*eachByte) != 0 || binary.LittleEndian.Uint64(text[at+1:])&r.headMask != r.head {
			break
		}
		if line&c.mask != c.text || to == nil {
			if to != nil {
				to.at, to.level = edges, level
			}
			if c, to = f.change(line); to == nil {
				break
			}
			edges, level = to.at, to.level
		}
		word = word * 2561 >> 8 & 0x00FF00FF00FF00FF
		word = word * 6553601 >> 16 & 0x0000FFFF0000FFFF
		t := decode.Time((base + word*42949672960001>>32) * f.multiple)
		if uint64(t-now) >= uint64(f.second-now) { // it goes back, or a second has ended
			break
		}
		now = t
		if v := byte(line >> 8); v != level {
			level = v
			edges = append(edges, t)
		}
		stamps++
		last, at = end, end+c.size
	}
	if to != nil {
		to.at, to.level = edges, level
	}
	if stamps > 0 {
		x.stamps += stamps
		x.lines += 2 * stamps
		x.stamp, x.stated = [2]int{last - r.digits, last}, false
	}
	if f.tries.read(stamps) {
		f.learn()
	}
	return at, now
}

// change is how the change of a channel between two time stamps looks in the
// eight bytes behind the first: "\n0!\n#", but for the last bit of the value.
type change struct {
	text, mask uint64
	size       int // of it, up to the #
}

// change makes out the only change between two time stamps, and whose it is; nil
// where that needs another look.
func (f *finder) change(line uint64) (change, *trail) {
	if line&0xfeff != '\n'|'0'<<8 {
		return change{}, nil
	}
	for n := 1; n <= 4; n++ { // characters of its code
		if line>>(16+8*n)&0xffff != '\n'|'#'<<8 {
			continue
		}
		channel := f.one[byte(line>>16)]
		if n > 1 {
			code := binary.LittleEndian.AppendUint64(nil, line)
			channel = f.meaning(code[2 : 2+n]).channel
		}
		if channel == surprise {
			break
		}
		c := change{mask: (^uint64(0) >> (8 * (4 - n))) &^ 0x100, size: n + 3}
		c.text = line & c.mask
		if channel == ignored {
			f.idle.at = f.idle.at[:0]
			return c, &f.idle
		}
		w := &f.out.wires[channel]
		if w.level == 0 {
			w.opens = levels[byte(line>>8)]
		}
		w.change = c
		return c, w
	}
	return change{}, nil
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

// close ends a span before the line at.
func (f *finder) close(x *span, at int, now decode.Time) int {
	x.to, x.end = at, now
	f.turn(x, now)
	for _, w := range f.out.wires {
		l := decode.Unknown
		if w.level != 0 {
			l = decode.Low + decode.Level(w.level-'0')
		}
		x.levels = append(x.levels, l)
	}
	return at
}

// time returns the instant of a tick, unless the plain reader has to look.
func (f *finder) time(tick uint64) (t decode.Time, ok bool) {
	tick -= f.origin // below it: a number that is too large
	return decode.Time(tick * f.multiple), tick <= f.limit
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
		x := (binary.LittleEndian.Uint64(text[end:]) ^ zeros) &^ eachByte
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
func (f *finder) turn(x *span, t decode.Time) {
	if f.second != math.MinInt64 {
		for i := range f.out.wires {
			f.hand(x, i, &f.out.wires[i])
		}
	}
	f.second = t - (t-f.start)%decode.Second + decode.Second
}

func (f *finder) hand(x *span, channel int, w *trail) {
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

// stampReader reads the digits of time stamps, of which most have as many as
// the one before and the same in front of the last eight.
type stampReader struct {
	digits   int
	last     uint64 // which bytes of the last eight are digits of it
	head     uint64 // the digits before them as text
	headMask uint64
	base     uint64 // and as a number
}

const (
	eachByte = 0x0101010101010101
	zeros    = '0' * eachByte
)

// read returns the number at a place in the text and where it ends.
func (r *stampReader) read(text []byte, at int) (v uint64, end int, ok bool) {
	end = at + r.digits
	if r.digits > 0 && end >= 8 && end < len(text) && text[end]-'0' > 9 {
		word := (binary.LittleEndian.Uint64(text[end-8:]) ^ zeros) & r.last
		head := binary.LittleEndian.Uint64(text[at:]) & r.headMask
		if ((word+0x76*eachByte)|word)&(0x80*eachByte) == 0 && head == r.head {
			word = word * 2561 >> 8 & 0x00FF00FF00FF00FF
			word = word * 6553601 >> 16 & 0x0000FFFF0000FFFF
			return r.base + word*42949672960001>>32, end, true
		}
	}
	return r.learn(text, at)
}

// learn reads a number digit by digit, and how to read those like it.
func (r *stampReader) learn(text []byte, at int) (v uint64, end int, ok bool) {
	for end = at; text[end]-'0' <= 9; end++ {
		v = v*10 + uint64(text[end]-'0')
	}
	n := end - at
	if n == 0 || n > 16 {
		r.digits = 0
		return 0, end, false
	}
	*r = stampReader{digits: n, last: ^uint64(0)}
	switch {
	case n < 8:
		r.last <<= 64 - 8*n
	case n > 8:
		r.headMask = 1<<(8*(n-8)) - 1
		r.head = binary.LittleEndian.Uint64(text[at:]) & r.headMask
		r.base = v - v%uint64(exact.PowersOfTen[8])
	}
	return v, end, true
}
