package analog

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"widthwise/decode"
)

// TestInterpolationTies: an instant half-way between two picoseconds goes to
// the even number of them after the sample.
func TestInterpolationTies(t *testing.T) {
	assert.Equal(t, decode.Time(100), between(100, 101, 0, 2, 1))
	assert.Equal(t, decode.Time(102), between(100, 103, 0, 2, 1))
	assert.Equal(t, decode.Time(102), between(100, 103, 2, 0, 1))
	assert.Equal(t, decode.Time(101), between(100, 103, 0, 3, 1))
}

// tape writes down which levels a channel is set to, and when.
type tape struct {
	level decode.Level
	told  []string
}

func (t *tape) Level(int) decode.Level { return t.level }
func (t *tape) Set(_ int, l decode.Level, at decode.Time) {
	if l != t.level {
		t.level, t.told = l, append(t.told, fmt.Sprint(l, at))
	}
}

// Rows that repeat may be left out: the states, and so the edges, are the same,
// whether a channel is told of them or not.
func TestRepeatsMayBeLeftOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		holds := rapid.Bool().Draw(t, "holds")
		var all, few tape
		every := New(Settings{Holds: holds}, &all)
		leaving := New(Settings{Holds: holds}, &few)
		at, row, last := decode.Time(0), int64(0), int64(-1)
		for _, v := range rapid.SliceOfN(rapid.Int64Range(0, 5), 2, 60).Draw(t, "readings") {
			for range rapid.IntRange(1, 30).Draw(t, "rows") {
				r := Reading{At: at + 3*decode.Millisecond, Before: at, Place: row, Text: row * 20, Value: v}
				every.Add(r)
				if v != last {
					leaving.Add(r)
				}
				at, row, last = r.At, row+1, v
			}
		}
		for _, c := range []*Channel{every, leaving} {
			g := Group{Channels: []*Channel{c}}
			g.Finish(at, row)
		}
		require.Equal(t, all.told, few.told)
		require.Equal(t, every.notes(), leaving.notes())
	})
}
