package alike

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

// bench is a receiver of our own making: a rest with noise, a move, a rest.
func bench(seed uint64, frames int, sigma float64) (starts, widths []float64) {
	r := rand.New(rand.NewPCG(seed, 1))
	at, place := r.Float64(), 1500.0
	for i := range frames {
		if i%400 == 300 {
			place = 1100 + 800*r.Float64()
		}
		starts = append(starts, at)
		widths = append(widths, place+sigma*r.NormFloat64())
		at += 20000 + 0.4*r.NormFloat64()
	}
	return starts, widths
}

// sampled takes times in microseconds as a recorder of a given step stamps them.
func sampled(starts, widths []float64, step, shift float64, sigma float64) *Recording {
	stamp := func(us float64) decode.Time {
		return decode.Time(math.Ceil((us+shift)/step) * step * float64(decode.Microsecond))
	}
	t := train{name: "rudder", rms: sigma * float64(decode.Microsecond)}
	for i := range starts {
		s := stamp(starts[i])
		t.starts = append(t.starts, s)
		t.widths = append(t.widths, uint32(stamp(starts[i]+widths[i])-s))
	}
	return &Recording{step: decode.Time(step * float64(decode.Microsecond)), trains: []train{t}}
}

func nobody(i int) string { return fmt.Sprint(i) }

// One recording, trimmed, shifted and sampled anew, is found with every pair of
// steps that resolves its noise; others of the same receiver are not.
func TestFind(t *testing.T) {
	starts, widths := bench(1, 3000, 3)
	for _, step := range [][2]float64{{0.1, 0.1}, {0.1, 1}, {1, 0.1}, {1, 1}, {2, 2}, {0.125, 2}} {
		for _, cut := range [][2]int{{0, 3000}, {700, 1900}, {1301, 1402}} {
			a := sampled(starts, widths, step[0], 0, 3)
			b := sampled(starts[cut[0]:cut[1]], widths[cut[0]:cut[1]], step[1], -5e6+0.037, 3)
			others, noise := bench(2, 3000, 3)
			found := Find([]*Recording{a, nil, sampled(others, noise, 0.1, 0, 3), b}, nobody)
			require.Len(t, found, 1, "steps %v, cut %v", step, cut)
			m := found[0]
			assert.Equal(t, []int{0, 3}, []int{m.A, m.B})
			assert.Equal(t, cut[1]-cut[0], m.Frames, "steps %v, cut %v", step, cut)
			assert.InDelta(t, starts[cut[0]], float64(m.Start[0])/1e6, step[0])
			assert.InDelta(t, starts[cut[0]]-5e6+0.037, float64(m.Start[1])/1e6, step[1])
		}
	}
}

// A stretch shorter than a hundred frames is no likeness, nor are a student's
// own captures, nor what has too little noise to tell.
func TestNotAlike(t *testing.T) {
	starts, widths := bench(1, 1000, 3)
	whole := sampled(starts, widths, 0.1, 0, 3)
	part := func(frames int, step, sigma float64) *Recording {
		return sampled(starts[200:200+frames], widths[200:200+frames], step, 0, sigma)
	}
	assert.Empty(t, Find([]*Recording{whole, part(99, 0.1, 3)}, nobody))
	assert.Len(t, Find([]*Recording{whole, part(100, 0.1, 3)}, nobody), 1)
	assert.Empty(t, Find([]*Recording{whole, part(500, 0.1, 3)}, func(int) string { return "the same" }))
	assert.Empty(t, Find([]*Recording{whole, part(500, 4, 3)}, nobody), "3 us of noise in steps of 4")
	assert.False(t, part(500, 4, 3).Told())
	assert.True(t, part(500, 2, 3).Told())
}

// A class of 200 with 3000 frames of three channels each.
func BenchmarkClass(b *testing.B) {
	var all []*Recording
	for i := range uint64(200) {
		r := &Recording{step: decode.Microsecond / 8}
		for c := range uint64(3) {
			starts, widths := bench(10*i+c, 3000, 1)
			r.trains = append(r.trains, sampled(starts, widths, 0.125, 0, 1).trains...)
		}
		all = append(all, r)
	}
	for b.Loop() {
		if n := len(Find(all, nobody)); n != 0 {
			b.Fatal(n)
		}
	}
}
