package decode

import (
	"context"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
)

// tape is a capture in memory: for each channel its levels one after another.
// It hands them out in blocks of any length, and counts busy seconds itself if
// it is told to.
type tape struct {
	names   []string
	named   bool
	tracks  [][]change
	start   Time
	end     Time
	block   Time // length of a block; 0: all in one
	counts  bool // heed CountsWhenBusy
	openEnd bool // the capture's end is its last change
	origin  Origin

	next    []int
	until   Time
	done    bool
	allowed []Need
}

type change struct {
	at    Time
	level Level
}

// shift moves a tape in time.
func (c *tape) shift(by Time) {
	c.start, c.end = c.start+by, c.end+by
	for _, track := range c.tracks {
		for i := range track {
			track[i].at += by
		}
	}
}

// track reads a text such as "L2000 H1500 L18500 x300": levels and how long they
// last, in microseconds, "3*(...)" repeating what stands in brackets.
func track(t testing.TB, text string) []change {
	var out []change
	at := Time(0)
	var read func(words string)
	read = func(words string) {
		for words = strings.TrimSpace(words); words != ""; words = strings.TrimSpace(words) {
			if open := strings.Index(words, "*("); open > 0 && !strings.ContainsAny(words[:open], " ") {
				n, err := strconv.Atoi(words[:open])
				require.NoError(t, err, words)
				depth, close := 0, open+1
				for ; close < len(words); close++ {
					if words[close] == '(' {
						depth++
					} else if words[close] == ')' {
						if depth--; depth == 0 {
							break
						}
					}
				}
				for range n {
					read(words[open+2 : close])
				}
				words = words[close+1:]
				continue
			}
			word, rest, _ := strings.Cut(words, " ")
			words = rest
			level := map[byte]Level{'L': Low, 'H': High, 'x': Unknown}[word[0]]
			us, err := strconv.ParseFloat(word[1:], 64)
			require.NoError(t, err, word)
			if n := len(out); n == 0 || out[n-1].level != level {
				out = append(out, change{at, level})
			}
			at += Time(math.Round(us * float64(Microsecond)))
		}
	}
	read(text)
	return append(out, change{at, Unknown}) // the end
}

// newTape makes a capture of tracks, named a, b, c ...
func newTape(t testing.TB, tracks ...string) *tape {
	c := &tape{}
	for i, text := range tracks {
		changes := track(t, text)
		c.names = append(c.names, string(rune('a'+i)))
		c.tracks = append(c.tracks, changes[:len(changes)-1])
		c.end = max(c.end, changes[len(changes)-1].at)
	}
	return c
}

func (c *tape) Channels() []Channel {
	var out []Channel
	for _, n := range c.names {
		out = append(out, Channel{Name: n, Named: c.named})
	}
	c.allowed = make([]Need, len(out))
	return out
}

func (c *tape) Want(channel int, n Need) { c.allowed[channel] = n }
func (c *tape) Close() error             { return nil }

func (c *tape) Origin() Origin {
	o := c.origin
	o.Start, o.End, o.EndStated, o.ChangesOnly = c.start, c.end, !c.openEnd, o.Step == 0
	if o.Unit == 0 {
		o.Unit = Nanosecond
	}
	return o
}

func (c *tape) Next() (*Block, error) {
	if c.done {
		return nil, io.EOF
	}
	if c.next == nil {
		c.next, c.until = make([]int, len(c.tracks)), c.start
	}
	if c.until += c.block; c.block == 0 || c.until >= c.end {
		c.until, c.done = c.end, true
	}
	b := &Block{Facts: Facts{c.start, c.Origin().Unit}, Until: c.until}
	for i, t := range c.tracks {
		from := c.next[i]
		for c.next[i] < len(t) && t[c.next[i]].at <= c.until {
			c.next[i]++
		}
		c.hand(b, i, t[from:c.next[i]])
	}
	return b, nil
}

// hand puts changes into a block, those of a busy second as a count if that is
// wanted.
func (c *tape) hand(b *Block, channel int, changes []change) {
	for len(changes) > 0 {
		second := (changes[0].at - c.start) / Second
		n := 0
		tally, known := &Tally{}, true
		for n < len(changes) && (changes[n].at-c.start)/Second == second {
			if changes[n].level == Unknown || n > 0 && changes[n-1].level == Unknown {
				known = false
			}
			if known && changes[n].at > c.start {
				tally.Add(changes[n].level, changes[n].at)
			}
			n++
		}
		if c.counts && c.allowed[channel] == CountsWhenBusy && known && changes[0].at > c.start && tally.Busy() {
			b.Counts = append(b.Counts, Count{channel, tally})
			changes = changes[n:]
			continue
		}
		for _, x := range changes[:n] {
			k := len(b.Runs) - 1
			if k >= 0 && b.Runs[k].Channel == channel && x.level != Unknown && b.Runs[k].First != Unknown && len(b.Counts) == 0 {
				b.Runs[k].At = append(b.Runs[k].At, x.at)
				continue
			}
			b.Runs = append(b.Runs, Run{channel, x.level, []Time{x.at}})
		}
		changes = changes[n:]
	}
}

// sampled is the capture as a recorder sees it that takes so many million
// samples a second: a level is seen at the first sample after it is taken.
func (c *tape) sampled(mhz float64) *tape {
	o := c.copy()
	o.origin.Step = float64(Microsecond) / mhz
	for _, track := range o.tracks {
		for i := range track {
			track[i].at = Time(math.Round(math.Ceil(micros(track[i].at)*mhz) / mhz * float64(Microsecond)))
		}
	}
	return o
}

// decoded runs a tape through all three steps with the defaults.
func decoded(t testing.TB, c *tape) (*Analysis, *Judgement) {
	r, err := Decode(context.Background(), c, Settings{})
	require.NoError(t, err)
	a := r.Analyse()
	return a, a.Judge(PerChannel[Limits]{Default: DefaultLimits})
}

// pulsesOf makes a track of pulses from leading edges and widths.
func pulsesOf(starts, widths []Time) []change {
	out := []change{{0, Low}}
	for i, s := range starts {
		out = append(out, change{s, High}, change{s + widths[i], Low})
	}
	return out
}

// noted reports whether an analysis has a remark of a kind on a channel.
func noted(a *Analysis, kind RemarkKind, channel string) bool {
	return slices.ContainsFunc(a.Notes, func(n Remark) bool { return n.Kind == kind && n.Channel == channel })
}
