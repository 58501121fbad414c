package decode

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// overwritten hands out blocks in slices that it makes rubbish of before the next.
type overwritten struct {
	Source
	before *Block
}

func (s *overwritten) Next() (*Block, error) {
	if s.before != nil {
		for _, r := range s.before.Runs {
			for i := range r.At {
				r.At[i] = math.MinInt64
			}
		}
		for i := range s.before.Runs {
			s.before.Runs[i] = Run{First: Unknown, At: []Time{math.MaxInt64}}
		}
		for _, c := range s.before.Counts {
			*c.Tally = Tally{}
		}
	}
	b, err := s.Source.Next()
	s.before = b
	return b, err
}

// A block is the source's again once the next is asked for: nothing of its runs
// and counts is kept. The tape makes a new one each time; a reader does not.
func TestBlocksAreLent(t *testing.T) {
	c := newTape(t, "L3000 "+every(18000, 200), "100*(H1500 L18500) 80000*(H12 L13)", "L5000 100*(H1500 L18500 H1500 L9000 H4 L9496)")
	c.counts, c.block = true, 500*Millisecond
	want, err := Decode(context.Background(), c, Settings{})
	require.NoError(t, err)
	got, err := Decode(context.Background(), &overwritten{Source: c.copy()}, Settings{})
	require.NoError(t, err)
	for i, w := range want.channels {
		require.Equal(t, w.spans, got.channels[i].spans)
	}
	limits := PerChannel[Limits]{Default: DefaultLimits}
	same(t, want.Analyse().Judge(limits), got.Analyse().Judge(limits), 0, "overwritten blocks")
}

// jittering is servo pulses on whole microseconds.
func jittering(frames int) string {
	var b strings.Builder
	b.WriteString("L4000 ")
	for n := range frames {
		fmt.Fprintf(&b, "H%d L%d ", 1500+n%3, 18500-n%3)
	}
	return b.String()
}

// A line that is busy shows its edges only to who lists them, so that the time
// step is found from those of the seconds that are not: the same one either way.
func TestTimeStepBesideABusyLine(t *testing.T) {
	c := newTape(t, jittering(150), "119000*(L12.503 H12.501)")
	for _, counts := range []bool{false, true} {
		c := c.copy()
		c.counts = counts
		a, _ := decoded(t, c)
		assert.EqualValues(t, 1, a.Resolution, "microseconds; counts: %t", counts)
	}
}

// Where a capture ends, or is cut, is no edge: it need not lie on the grid of the
// samples.
func TestTimeStepOfAnUnevenEnd(t *testing.T) {
	c := newTape(t, jittering(150)+"L777.777")
	a, _ := decoded(t, c)
	assert.EqualValues(t, 1, a.Resolution, "microseconds")
	to := 1234567891 * Nanosecond
	r, err := Decode(context.Background(), c.copy(), Settings{To: &to})
	require.NoError(t, err)
	assert.EqualValues(t, 1, r.Analyse().Resolution, "microseconds")
}
