package decode

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
)

// lengths stand on both sides of every bound that a stretch is held to.
var lengths = []Time{0, 1, 2, 49, 51, 99, 100, 299, 300, 399, 400, 699, 700, 760, 800, 801, 999, 1000, 1120, 1121, 1500, 1699,
	1700, 2300, 2301, 2499, 2500, 3000, 3001, 4999, 5000, 5750, 5751, 18500, 110_000}

// runsOf makes runs of changes of bytes: three for each run, its first level, how
// many changes, and which two lengths take turns.
func runsOf(script []byte) (all []Run) {
	at := Time(0)
	for ; len(script) >= 3; script = script[3:] {
		r := Run{First: Level(script[0] % 3)}
		for i := range 1 + int(script[1]) {
			b := int(script[2])
			if i%2 == 1 {
				b += int(script[0])
			}
			r.At = append(r.At, at)
			at += lengths[b%len(lengths)] * Microsecond
		}
		if r.First == Unknown {
			r.At = r.At[:1]
		}
		all = append(all, r)
	}
	return all
}

// The short ways come to what the long ones come to: a run of changes taken at
// once, marks that stand alone, and counting instead of sorting.
func FuzzShortWays(f *testing.F) {
	f.Add([]byte{1, 0, 20, 2, 200, 13, 2, 200, 20, 0, 0, 0, 1, 7, 2}, uint8(7))
	f.Add([]byte(strings.Repeat("\x0d\x3f\x14\x01\x3c\x03", 5)), uint8(255))
	f.Add([]byte{77, 200, 13}, uint8(99))                            // narrow pulses
	f.Add([]byte{71, 200, 13}, uint8(99))                            // too close to each other
	f.Add([]byte{32, 9, 1}, uint8(99))                               // chatter alone
	f.Add([]byte{83, 9, 20, 2, 0, 1, 1, 0, 1, 83, 5, 20}, uint8(99)) // chatter before a mark
	f.Add([]byte{83, 9, 20, 0, 0, 2, 83, 5, 20}, uint8(99))          // and an unknown level
	f.Add([]byte("000\xe8\x030"), uint8(0xad))                       // chatter of which nothing is left
	f.Fuzz(func(t *testing.T, script []byte, piece uint8) {
		requireShort(t, runsOf(script[:min(len(script), 24)]), int(piece)+1)
	})
}

// Short ways in a second of so many changes that they are tallied, or only counted.
func TestShortWaysOfBusySeconds(t *testing.T) {
	for _, repeat := range []int{15, 16, 17, 70, 90} {
		requireShort(t, runsOf([]byte(strings.Repeat("\x02\xff\x02", repeat))), 1000)
	}
}

func requireShort(t *testing.T, runs []Run, piece int) {
	quick, slow := &channelState{}, &channelState{}
	for _, r := range runs {
		any := false
		level := r.First
		for _, at := range r.At {
			any = slow.change(level, at, 5*Millisecond) || any
			level = level.Other()
		}
		require.Equal(t, any, quick.changes(r.First, r.At, 5*Millisecond))
	}
	require.Equal(t, slow.input, quick.input)
	require.Equal(t, slow.sec.busy, quick.sec.busy)
	require.Equal(t, slow.sec.ended, stretches(&quick.sec))
	require.Equal(t, slow.sec.tally == nil, quick.sec.tally == nil)
	require.True(t, slow.sec.tally == nil || *slow.sec.tally == *quick.sec.tally)

	if k := quick.sec.toggles.servo(); k.signal == Servo {
		require.Equal(t, slow.sec.classify(&Tally{}, slow.level), k)
	}
	for _, active := range []Level{High, Low} {
		marks := slow.sec.marks(active)
		require.Equal(t, looksLikeServo(slow.sec.ended, active), marks.servo())
		quick, plain := &pulser{active: active, below: shortest}, &pulser{active: active, below: shortest}
		for rest := slow.sec.ended; len(rest) > 0; {
			row := togglesOf(rest, piece)
			if rest = rest[max(1, len(row.ends)):]; len(row.ends) > 0 {
				quick.addToggles(row.level, row.start, row.ends, row.servo().active)
			} else {
				quick.add(&slow.sec.ended[len(slow.sec.ended)-len(rest)-1])
			}
		}
		for i := range slow.sec.ended {
			plain.add(&slow.sec.ended[i])
		}
		if plain.group.parts == 0 {
			quick.group, plain.group = group{}, group{} // what they were is of no use
		}
		if len(plain.held) == 0 {
			require.Empty(t, quick.held)
			quick.held, plain.held = nil, nil // one may have held something before
		}
		require.Equal(t, plain, quick)
	}
}

func stretches(s *second) (all []stretch) {
	for i := range s.size() {
		all = append(all, s.stretch(i))
	}
	return all
}

// togglesOf makes toggles of the stretches that come first, so many at most.
func togglesOf(list []stretch, most int) (row toggles) {
	row.level, row.start = list[0].level, list[0].start
	for i := range list[:min(len(list), most)] {
		x := &list[i]
		if x.level == Unknown || !x.whole() || i > 0 && x.level != list[i-1].level.Other() {
			break
		}
		row.ends = append(row.ends, x.end)
	}
	return row
}

// looksLikeServo says what marks.servo says, by sorting.
func looksLikeServo(ended []stretch, active Level) bool {
	var starts, widths, intervals []Time
	total := Time(0)
	for _, x := range ended {
		if x.level == active && x.whole() && x.length() >= 300*Microsecond {
			starts, widths = append(starts, x.start), append(widths, x.length())
		}
	}
	for i := 1; i < len(starts); i++ {
		intervals = append(intervals, starts[i]-starts[i-1])
		total += widths[i]
	}
	n := len(widths)
	most := func(lo, hi Time) bool {
		in := 0
		for _, d := range widths {
			if d >= lo*Microsecond && d <= hi*Microsecond {
				in++
			}
		}
		return in*2 > n
	}
	if n < 2 {
		return most(700, 2300)
	}
	slices.Sort(intervals)
	at := func(part int) Time { return intervals[(n-1)/part] }
	slices.Sort(widths)
	switch {
	case float64(total) > 0.75*float64(starts[n-1]-starts[0]):
		return false
	case most(700, 2300) && at(4) >= 2500*Microsecond:
		return true
	}
	return most(400, 1120) && widths[n/2] < 1000*Microsecond && at(10) >= 1700*Microsecond && at(2) < 5*Millisecond
}

// Grids that are too fine for the stamps' unit end the search, and no stamp that
// comes later changes the answer.
func TestGridSettles(t *testing.T) {
	l := sampleGrid{unit: Microsecond}
	for i := range Time(100) {
		l.add(i*(i+1)/2*Microsecond, i*Microsecond)
	}
	require.True(t, l.settled)
	require.EqualValues(t, Microsecond, l.step())
	l = sampleGrid{unit: Nanosecond}
	for i := range Time(100) {
		l.add(i*(i+1)/2*Microsecond, i*Microsecond)
	}
	require.False(t, l.settled)
	require.EqualValues(t, Microsecond, l.step())
	l.add(Second+22*Nanosecond, Nanosecond)
	require.False(t, l.settled, "two nanoseconds are left")
	l.add(2*Second+23*Nanosecond, Nanosecond)
	require.True(t, l.settled)
	require.EqualValues(t, Nanosecond, l.step())
}
