package decode

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// pulsed feeds a track to a pulser and writes down what came of it: widths of
// accepted pulses in us, "stuck" and "cut" marks, and what was counted.
func pulsed(t testing.TB, text string) string {
	p := &pulser{active: High, below: shortest}
	changes := track(t, text)
	for i, c := range changes[:len(changes)-1] {
		s := stretch{start: c.at, end: changes[i+1].at, level: c.level}
		if i == 0 {
			s.open |= openStart
		}
		if i == len(changes)-2 {
			s.open |= openEnd
		}
		p.add(&s)
	}
	p.release()
	var out []string
	r := p.train.read()
	for e, ok := r.next(); ok; e, ok = r.next() {
		word := e.width.Micros(0)
		switch {
		case e.marks&(cut|stuck) == cut|stuck:
			word = "stuck-to-end" // or to where the level is unknown
		case e.marks&cut != 0:
			word = "cut"
		case e.marks&stuck != 0:
			word = "stuck" + word
		}
		if e.marks&afterBlind != 0 {
			word = "?" + word
		}
		out = append(out, word)
	}
	if p.glitched > 0 {
		out = append(out, fmt.Sprintf("glitches=%d", p.glitched))
	}
	if p.chattered > 0 {
		out = append(out, fmt.Sprintf("chatter=%d", p.chattered))
	}
	if p.blinded > 0 {
		out = append(out, fmt.Sprintf("blind=%d", p.blinded))
	}
	return strings.Join(out, " ")
}

// Levels and how long they last in us, and what must come of them.
func TestPulses(t *testing.T) {
	for _, c := range []struct{ why, track, want string }{
		{"a pulse", "L5000 H1500 L18500", "1500"},
		{"the shortest and the longest", "L5000 H300 L9000 H3000 L9000", "300 3000"},
		{"a runt and a spike are glitches", "L5000 H299 L9000 H5 L9000", "glitches=2"},
		{"too long is a stuck level", "L5000 H3001 L9000", "stuck3001"},
		{"stuck to the end", "L5000 H1500 L18500 H9000", "1500 stuck-to-end"},
		{"cut by the end", "L5000 H1500 L18500 H900", "1500 cut"},
		{"cut by the start", "H900 L18500 H1500 L18500", "cut 1500"},

		{"a break is one glitch", "L5000 H700 L20 H780 L18500", "1500 glitches=1"},
		{"two breaks are two", "L5000 H500 L20 H480 L20 H480 L18500", "1500 glitches=2"},
		{"299 us inactive are a break, with a width before", "L5000 H1600 L18400 H900 L299 H400 L18000", "1600 1599 glitches=1"},
		{"300 us end a pulse", "L5000 H900 L300 H400 L18000", "900 400"},
		{"under 80 % active: the longest part, the other a glitch", "L5000 H900 L290 H250 L18000", "900 glitches=1"},
		{"longer than 2200 us in all: the longest part", "L5000 H1500 L100 H900 L18000", "1500 glitches=1"},
		{"shorter than 800 us in all: the longest part", "L5000 H450 L10 H250 L18000", "450 glitches=1"},

		{"beware: ten 50 us runts 100 us apart are no pulse", "L5000 10*(H50 L100) L18000", "glitches=10"},
		{"beware: a 40 us spike 200 us before a pulse, a width before", "L5000 H1500 L18260 H40 L200 H1500 L18500", "1500 1500 glitches=1"},
		{"the same without a width before: the whole stands", "L5000 H40 L200 H1500 L18500", "1740 glitches=1"},
		{"a torn pulse, a width before: the whole is nearer", "L5000 H1500 L18500 H1100 L100 H300 L18500", "1500 1500 glitches=1"},

		{"80 % active is enough", "L5000 H480 L240 H480 L18500", "1200 glitches=1"},
		{"a hair under 80 % is not", "L5000 H480 L241 H480 L18500", "480 glitches=1"},
		{"800 us in all are enough", "L5000 H400 L20 H380 L18500", "800 glitches=1"},
		{"799 us are not", "L5000 H400 L20 H379 L18500", "400 glitches=1"},
		{"2200 us in all are enough", "L5000 H1500 L50 H650 L18500", "2200 glitches=1"},
		{"2201 us are not", "L5000 H1500 L50 H651 L18500", "1500 glitches=1"},
		{"a runt after a pulse, a width before", "L5000 H1500 L18500 H1500 L150 H90 L18000", "1500 1500 glitches=1"},
		{"many parts, none of a pulse's length", "L5000 100*(H9 L1) L18000", "999 glitches=99"},
		{"two pulses with 300 us between stay two", "L5000 H1500 L18500 H700 L300 H500 L18500", "1500 700 500"},

		{"a narrow pulse with a break, narrow ones before", "L5000 H760 L2240 H300 L20 H440 L2240", "760 760 glitches=1"},
		{"narrow: 1121 us in all is too long", "L5000 H760 L2240 H760 L100 H261 L2240", "760 760 glitches=1"},
		{"narrow: 400 us in all are enough", "L5000 H420 L2580 H200 L5 H195 L2240", "420 400 glitches=1"},
		{"narrow: a runt that would end a gap stays one", "L5000 H760 L2000 H90 L150 H760 L2240", "760 760 glitches=1"},

		{"chatter at a rise: the first crossing stands", "L5000 H0.5 L0.7 H1499 L18500", "1500 chatter=1"},
		{"chatter at a fall: the first crossing stands", "L5000 H1500 L0.5 H0.6 L18500", "1500 chatter=1"},
		{"longer chatter is still one edge", "L5000 5*(H0.5 L0.5) H1495 L18500", "1500 chatter=1"},
		{"a lone short mark is a spike", "L5000 H1 L5000", "glitches=1"},
		{"a lone short gap is a break", "L5000 H700 L1 H799 L18500", "1500 glitches=1"},
		{"2 us are no chatter", "L5000 H2 L2 H1496 L18500", "1500 glitches=1"},

		{"unknown for a moment while inactive is nothing", "L5000 H1500 L9000 x200 L9300 H1500 L18500", "1500 1500"},
		{"unknown for a moment inside a pulse is a break", "L5000 H700 x200 H600 L18500", "1500 glitches=1"},
		{"unknown at an edge leaves no width", "L5000 H1400 x100 L18500 H1500 L18500", "cut ?1500 blind=1"},
		{"300 us unknown inside a pulse cut it twice", "L5000 H500 x300 H700 L18500 H1500 L18500", "cut ?cut 1500 blind=1"},
		{"300 us unknown while inactive hide a time", "L5000 H1500 L9000 x300 L9200 H1500 L18500", "1500 ?1500 blind=1"},
		{"299 us unknown inside a pulse are a break", "L5000 H700 x299 H501 L18500", "1500 glitches=1"},
		{"unknown for a moment at the rise leaves no width", "L5000 x100 H1400 L18500 H1500 L18500", "?cut 1500 blind=1"},
		{"unknown again and again while inactive is nothing", "L5000 H1500 5*(L100 x150) L9000 H1500 L18500", "1500 1500"},
		{"unknown with a break around it inside a pulse", "L5000 H700 L40 x50 L60 H650 L18500", "1500 glitches=1"},
		{"a break that unknown makes longer than 300 us ends the pulse", "L5000 H700 L140 x50 L160 H650 L18500", "700 650"},
		{"blind just after a pulse: both edges are known", "L5000 H1500 L100 x5000 L13400 H1500 L18500", "1500 ?1500 blind=1"},
		{"unknown to the end", "L5000 H1500 L9000 x9000", "1500 blind=1"},
		{"unknown from inside a pulse to the end", "L5000 H1500 L18500 H700 x9000", "1500 cut blind=1"},
		{"unknown throughout", "x90000", "blind=1"},
		{"longer than a pulse already where it becomes unknown", "L5000 H9000 x5000 L5000", "stuck-to-end blind=1"},
		{"high from the start for long is only cut", "H9000 L18500 H1500 L18500", "cut 1500"},
		{"unknown at the start", "x2000 L3000 H1500 L18500", "?1500 blind=1"},
	} {
		assert.Equal(t, c.want, pulsed(t, c.track), "%s: %s", c.why, c.track)
	}
}

// A mark shorter than 300 us is never accepted, whatever stands around it, and
// nothing panics.
func TestPulsesOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &pulser{active: High, below: shortest}
		at, level, open := Time(0), Low, openStart
		for range rapid.IntRange(1, 60).Draw(t, "stretches") {
			d := Time(rapid.SampledFrom([]int64{0, 1, 2, 40, 299, 300, 700, 1500, 3000, 3001, 18500}).Draw(t, "us")) * Microsecond
			next := rapid.SampledFrom([]Level{Low, High, Unknown}).Draw(t, "level")
			if next == level {
				next = level.Other()
			}
			p.add(&stretch{at, at + d, level, open})
			at, level, open = at+d, next, 0
		}
		p.add(&stretch{at, at + Millisecond, level, openEnd})
		p.release()
		var last Time
		n := int64(0)
		r := p.train.read()
		for e, ok := r.next(); ok; e, ok = r.next() {
			require.GreaterOrEqual(t, e.start, last, "in order of time")
			last = e.start
			if e.accepted() {
				n++
				require.True(t, e.width >= shortest && e.width <= longest, "%d", e.width)
			}
		}
		require.Equal(t, p.accepted, n)
	})
}

// A train gives back what was put in, over the borders of its chunks; widths of
// more than 6.7 days to 16 ps.
func TestTrain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var tr train
		at := Time(rapid.Int64Range(-1e18, 1e18).Draw(t, "start"))
		var want []entry
		for range rapid.IntRange(0, 300).Draw(t, "entries") {
			at += Time(rapid.Int64Range(0, 1<<rapid.IntRange(1, 55).Draw(t, "bits")).Draw(t, "interval"))
			width := Time(rapid.Int64Range(0, 1<<rapid.IntRange(1, 59).Draw(t, "bits")-1).Draw(t, "width"))
			e := entry{at, width, mark(rapid.IntRange(0, 15).Draw(t, "marks"))}
			want = append(want, e)
			tr.add(e)
		}
		require.Equal(t, want, all(&tr))
	})
	var tr train
	var want []entry
	for i := range Time(20_000) {
		e := entry{i * 20 * Millisecond, 1500*Microsecond + i%7, mark(i % 16)}
		want = append(want, e)
		tr.add(e)
	}
	assert.Greater(t, len(tr.chunks), 3)
	require.Equal(t, want, all(&tr))
	for _, c := range []struct{ width, kept Time }{
		{1<<59 - 1, 1<<59 - 1},
		{1 << 59, 1 << 59},
		{1<<59 + 31, 1<<59 + 16},
		{math.MaxInt64, math.MaxInt64 - 15},
	} {
		got := pack(entry{math.MinInt64, c.width, stuck | afterBlind})
		assert.Equal(t, entry{math.MinInt64, c.kept, stuck | afterBlind}, got.entry())
		assert.False(t, got.accepted())
	}
}

func all(tr *train) []entry {
	var out []entry
	r := tr.read()
	for e, ok := r.next(); ok; e, ok = r.next() {
		out = append(out, e)
	}
	return out
}

// Which level is the pulse: of two that may be, the one that comes the more
// steadily, then the shorter, then high, in doubt.
func TestActiveLevel(t *testing.T) {
	for _, c := range []struct {
		why, track string
		want       Level
		doubt      bool
	}{
		{"pulses are high", "L3000 100*(H1500 L18500)", High, false},
		{"pulses are low", "H3000 100*(L1500 H18500)", Low, false},
		{"some pauses are short enough to be pulses", "L3000 90*(H1500 L18500) 5*(H1500 L2500) 20*(H1500 L18500)", High, false},
		{"rises are the steadier", "L3000 100*(H1000 L2000 H1400 L1600 H1200 L1800)", High, false},
		{"falls are the steadier", "H3000 100*(L1000 H2000 L1400 H1600 L1200 H1800)", Low, false},
		{"both steady: the shorter", "L3000 300*(H1000 L1500)", High, true},
		{"both steady: the shorter, low", "L3000 300*(H1500 L1000)", Low, true},
		{"1.5 ms in 3 ms: high", "L3000 300*(H1500 L1500)", High, true},
	} {
		a, j := decoded(t, newTape(t, c.track))
		require.Equal(t, Servo, a.Channels[0].Signal, c.why)
		assert.Equal(t, c.want, a.Channels[0].Active, c.why)
		assert.Equal(t, c.doubt, noted(a, EitherLevel, a.Channels[0].Name), c.why)
		told := false
		for _, f := range j.Findings {
			told = told || f.Kind == Inverted && f.Severity == Warn
		}
		assert.Equal(t, c.want == Low, told, "%s: told as inverted", c.why)
	}
}
