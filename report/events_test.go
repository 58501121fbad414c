package report

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// An event of more times than are listed is marked to its end, by its findings
// behind the last that is listed.
func TestStretches(t *testing.T) {
	c := &Capture{Findings: []Finding{{Start: 10, End: 11}, {Start: 30, End: 33}, {Start: 35, End: 36}, {Start: 50, End: 50}}}
	listed := [][2]Seconds{{10, 11}, {30, 36}}
	for _, e := range []struct {
		count int64
		times [][2]Seconds
		want  [][2]Seconds
	}{
		{2, listed, listed},
		{3, listed, [][2]Seconds{{10, 11}, {30, 36}, {50, 50}}},
		{1, nil, [][2]Seconds{{10, 50}}},
	} {
		assert.Equal(t, e.want, c.Stretches(&Event{Start: 10, End: 50, Count: e.count, Times: e.times, Findings: []int{0, 1, 2, 3}}))
	}
	assert.Len(t, listed, 2, "what is listed stays as it is")
}
