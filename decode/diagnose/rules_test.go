package diagnose

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The causes by name and in the order in which they are asked; a rule may stand
// below the first of its name.
var order = []string{
	"recorder", "half-rate", "switched-off", "supply", "link", "supply-or-link", "rate-change", "noise", "two-sources", "crosstalk", "wire",
	"one-channel", "packets", "software-timing", "hand", "stuck-line", "inverter",
	"other-signal", "not-connected", "power-pin", "end-points", "period-setting", "coarse-recording",
}

func TestTable(t *testing.T) {
	var seen []string
	for _, r := range table {
		if !assert.Contains(t, order, r.cause) {
			continue
		}
		known := false
		for _, s := range seen {
			known = known || s == r.cause
		}
		if !known {
			seen = append(seen, r.cause)
		}
		assert.NotEmpty(t, r.source, r.cause)
		assert.NotNil(t, r.takes, r.cause)
		assert.NotNil(t, r.likely, r.cause)
		assert.NotNil(t, r.story, r.cause)
		assert.NotNil(t, r.evidence, r.cause)
		assert.NotEmpty(t, r.try, r.cause)
		assert.NotEmpty(t, r.instead, r.cause)
	}
	assert.Equal(t, order, seen)
}

// What moves a stick, touches a wire or the supply, or runs a motor is tried with
// the machine made safe first.
func TestTryBeginsWithThePrecaution(t *testing.T) {
	work := regexp.MustCompile(`\b(sticks?|wires?|plug|unplug|unplugged|swap|supply of its own|motors|range test|wiggle|ground|probe)\b`)
	safe := regexp.MustCompile(`^(Power off, |Drive disconnected or )`)
	for _, r := range table {
		if work.MatchString(r.try) && r.cause != otherSignal {
			assert.Regexp(t, safe, r.try, r.cause)
		}
	}
}
