package page

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"widthwise/decode"
)

// readTrain reads a packed train as pack.go describes it.
func readTrain(t require.TestingT, b []byte, unit decode.Time) (train, []byte) {
	length, n := binary.Uvarint(b)
	require.Positive(t, n)
	b = b[n:]
	planes := make([][]decode.Time, 3)
	for i := range planes {
		for range length {
			v, n := binary.Varint(b)
			require.Positive(t, n)
			planes[i], b = append(planes[i], decode.Time(v)), b[n:]
		}
	}
	var out train
	var last, interval, width decode.Time
	for i := range length {
		start := last + interval + planes[0][i]*decode.Second + planes[1][i]*unit
		if interval = start - last; interval < 0 || interval >= decode.Second {
			interval = 0
		}
		last = start
		width += planes[2][i] * unit
		out.add(start, width, b[i])
	}
	return out, b[length:]
}

// What is packed is read back to the picosecond, and every number on the way
// is exact in a float64.
func TestPackedTrainsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := decode.Time(rapid.SampledFrom([]int64{1, 1000, 100_000, 62_500}).Draw(t, "unit"))
		var want train
		at := decode.Time(rapid.Int64Range(-1_000_000, 1_000_000).Draw(t, "start")) * decode.Second
		for range rapid.IntRange(0, 50).Draw(t, "pulses") {
			gap := decode.Time(rapid.SampledFrom([]int64{22e9, 22e9 + 1e5, 1e12, 90_000e12, 3_000e12 + 7e5}).Draw(t, "gap"))
			at += gap / unit * unit
			width := decode.Time(rapid.Int64Range(0, 3e9).Draw(t, "width")) / unit * unit
			want.add(at, width, byte(rapid.IntRange(0, 31).Draw(t, "mark")))
		}
		common := commonUnit([]train{want, {}})
		require.Zero(t, common%unit, "%d is no multiple of %d", common, unit)
		got, rest := readTrain(t, want.append(nil, common), common)
		require.Empty(t, rest)
		require.Equal(t, want, got)
		for _, width := range want.widths {
			require.Less(t, float64(width), math.Pow(2, 53))
		}
	})
}

func TestDivisor(t *testing.T) {
	assert.Equal(t, decode.Time(6), divisor(12, -18))
	assert.Equal(t, decode.Time(5), divisor(-5, 0))
	assert.Equal(t, decode.Time(100_000), commonUnit([]train{{starts: []decode.Time{300_000}, widths: []decode.Time{-100_000}}}))
	assert.Equal(t, decode.Second, commonUnit(nil))
}
