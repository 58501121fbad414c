package analog

import (
	"testing"

	"github.com/stretchr/testify/assert"

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
