package phrase

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestLists(t *testing.T) {
	assert.Equal(t, "", And(nil))
	assert.Equal(t, "rudder", Or([]string{"rudder"}))
	assert.Equal(t, "rudder and winch", And([]string{"rudder", "winch"}))
	assert.Equal(t, "throttle, rudder or winch", Or([]string{"throttle", "rudder", "winch"}))
}

func TestCount(t *testing.T) {
	for want, said := range map[string]string{
		"1 glitch": Count(1, "glitch"), "0 glitches": Count(0, "glitch"), "2 losses": Count(int64(2), "loss"), "3 dropped frames": Count(3, "dropped frame"),
	} {
		assert.Equal(t, want, said)
	}
}

func TestTrim(t *testing.T) {
	for number, want := range map[string]string{"1.500": "1.5", "2.000": "2", "1000": "1000", "0.": "0", "-0.10": "-0.1"} {
		assert.Equal(t, want, Trim(number))
	}
}

func TestNearest(t *testing.T) {
	known := []string{"period", "width_fail_us", "width_warn_us"}
	for word, want := range map[string]string{
		"perod": "period", "PERIOD": "period", "width_fial_us": "width_fail_us", "colour": "", "": "", "p": "",
	} {
		assert.Equal(t, want, Nearest(word, known), word)
	}
}
