package vcd

import (
	"bytes"
	"io"
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/ahead"
)

// The fast path of dumps. Workers read pieces of the text ahead, as far as
// their lines are time stamps, changes of single bits between 0 and 1, and
// vectors that nobody asked for: spans, which are handed out whole. A span
// begins at a # behind a line break, which is a guess: it counts only if the
// plain reader comes to stand there between two records. That reads all else.

// span is a part of a piece, and what it says.
type span struct {
	from, to      int // of the text; both where a line begins
	stamps, lines int64
	start, end    decode.Time // its first and last time stamp
	stamp         [2]int      // the digits of the last
	stated        bool        // nothing changes behind the last
	levels        []decode.Level
	runs          []decode.Run
	counts        []decode.Count
}

// pieces are the text as the plain reader gets it: up to the next span, unless
// it takes no notice of that.
type pieces struct {
	queue *ahead.Queue[found]
	piece *ahead.Piece[found]
	at    int    // how far the piece has been read
	spans []span // those still ahead in it
	err   error
}

// lastStamp is where a dump can be cut: before its last time stamp.
func lastStamp(text []byte) int { return bytes.LastIndex(text, []byte("\n#")) + 1 }

// Read implements io.Reader. Whoever reads where a span begins reads it.
func (p *pieces) Read(to []byte) (int, error) {
	if !p.more() {
		return 0, p.err
	}
	if len(p.spans) > 0 && p.spans[0].from == p.at {
		p.spans = p.spans[1:]
	}
	end := len(p.piece.Text)
	if len(p.spans) > 0 {
		end = p.spans[0].from
	}
	n := copy(to, p.piece.Text[p.at:end])
	p.at += n
	return n, nil
}

// more makes sure that there is text in the piece; false at the end of all.
func (p *pieces) more() bool {
	for p.err == nil && (p.piece == nil || p.at == len(p.piece.Text)) {
		if p.piece != nil {
			if p.err = p.piece.Err; p.err != nil {
				return false
			}
			p.queue.Free(p.piece)
		}
		p.piece = p.queue.Next()
		p.at, p.spans = 0, nil
		if p.piece.Seen {
			p.spans = p.piece.Found.spans
		}
	}
	return p.err == nil
}

// span returns the span that begins here, nil if none does.
func (p *pieces) span() *span {
	if p.more() && len(p.spans) > 0 && p.spans[0].from == p.at {
		return &p.spans[0]
	}
	return nil
}

// lookAhead starts the workers, once the dump has begun.
func (s *source) lookAhead() {
	if s.looked || !s.started || s.block.starting {
		return
	}
	s.looked = true
	f := s.newFinder()
	if f == nil {
		return
	}
	t := s.tokens
	rest := s.in.Rest(t.passed+int64(t.pos), t.buf[t.pos:t.end], t.err)
	s.pieces = &pieces{queue: ahead.New(rest, s.in.Ahead, lastStamp, func() func(*ahead.Piece[found]) {
		own := *f
		return func(p *ahead.Piece[found]) { own.find(p.Text, &p.Found) }
	})}
	t.goOn(s.pieces)
}

// goOn makes r what follows the last token.
func (t *tokens) goOn(r io.Reader) {
	t.count(t.pos)
	t.passed += int64(t.pos)
	t.start, t.pos, t.end, t.counted = 0, 0, 0, 0
	t.r, t.err = r, nil
}

// between tells whether the reader stands between two lines, at the end of what
// it has read of the text.
func (t *tokens) between() bool {
	rest := t.buf[t.pos:t.end]
	return len(rest) <= 2 && (len(rest) == 0 || rest[len(rest)-1] == '\n') && len(bytes.TrimSpace(rest)) == 0
}

// atSpan tells whether a span comes next that follows on from here.
func (s *source) atSpan() bool {
	if s.open != "" || s.off || !s.tokens.between() {
		return false
	}
	next := s.pieces.span()
	return next != nil && next.start > s.now
}

// spanBlock hands out the span that comes next.
func (s *source) spanBlock() *decode.Block {
	p, t := s.pieces, s.tokens
	x := &p.spans[0]
	text := p.piece.Text
	p.spans, p.at = p.spans[1:], x.to
	t.pos = t.end // what is left is a line break
	t.start = t.pos
	t.goOn(p)
	t.line, t.column = t.line+x.lines, 0
	t.passed += int64(x.to - x.from)
	s.lastStamp = append(s.lastStamp[:0], text[x.stamp[0]:x.stamp[1]]...)
	s.now, s.rows, s.kept = x.end, s.rows+x.stamps, s.kept+x.lines
	s.stated, s.broken, s.skipping = x.stated, true, false
	for i, l := range x.levels {
		if c := &s.block.states[i]; l != decode.Unknown {
			c.level, c.run = l, -1
			if !c.listed {
				c.listed = true
				s.block.known = append(s.block.known, int32(i))
			}
		}
	}
	s.blockFrom = t.passed
	s.fast = decode.Block{Facts: s.facts(), Until: s.now, Runs: append(s.fast.Runs[:0], x.runs...), Counts: append(s.fast.Counts[:0], x.counts...)}
	return &s.fast
}

// tables of a finder for what a code stands for.
const (
	ignored  = -1
	surprise = -2
)

// maxFast is the most channels that spans are looked for with: each keeps the
// levels of all.
const maxFast = 1000

// newFinder says what codes mean; nil where the fast path cannot help.
func (s *source) newFinder() *finder {
	if s.clock.fraction != 1 || len(s.reals.Channels) > 0 || len(s.channels) > maxFast {
		return nil
	}
	f := &finder{
		dictionary: dictionary{codes: &s.codes},
		ticks:      ticks{multiple: s.clock.multiple, origin: s.clock.origin, limit: math.MaxInt64 / s.clock.multiple},
		busy:       slices.Clone(s.busy),
		start:      s.first,
		tries:      tries{most: leastPairs, next: firstTry},
	}
	for i := range s.signals {
		g := &s.signals[i]
		m := meaning{channel: ignored, width: g.width}
		switch {
		case g.kind != ofBits || g.taps != nil || g.width != 1 && g.channel >= 0:
			m.channel = surprise
		case g.channel >= 0 && !s.block.states[g.channel].muted:
			m.channel = int16(g.channel)
		}
		f.meanings = append(f.meanings, m)
	}
	for i := range f.one {
		f.one[i] = f.meaning([]byte{byte(i)}).channel
	}
	return f
}
