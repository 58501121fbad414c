package diagnose

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"widthwise/decode"
)

// Times are told as one would look them up, and channels by their names.
func TestStoriesTellTimes(t *testing.T) {
	s := func(v float64) decode.Time { return decode.Time(v * float64(decode.Second)) }
	winch := &line{ChannelAnalysis: &decode.ChannelAnalysis{Name: "winch"}}
	at := func(times ...[2]float64) string {
		c := &explained{bench: &bench{analysis: &decode.Analysis{End: s(60)}, lines: []*line{winch}}, lines: []*line{winch}}
		for i, x := range times {
			c.parts = append(c.parts, incident{{lines: c.lines, start: s(x[0]), end: s(x[1]), finding: i}})
		}
		return c.who() + " " + c.when()
	}
	assert.Equal(t, "winch at 7.3 s", at([2]float64{7.31, 7.33}))
	assert.Equal(t, "winch from 12.2 to 13.1 s", at([2]float64{12.2, 13.1}))
	assert.Equal(t, "winch at 7.3 and 51.4 s", at([2]float64{7.31, 7.33}, [2]float64{51.4, 51.4}))
	assert.Equal(t, "winch 2 times between 7.3 and 51.4 s", at([2]float64{7.31, 8.33}, [2]float64{51.4, 51.4}))
	assert.Equal(t, "winch 3 times between 7.3 and 51.4 s", at([2]float64{7.31, 7.33}, [2]float64{9, 9}, [2]float64{51.4, 51.4}))
	assert.Equal(t, "One frame is late.", sentence("one frame is late"))
	assert.Equal(t, "winch is late.", sentence("winch is late"))
}
