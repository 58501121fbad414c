package main

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestBarComesLate: what is read at once has no bar, what takes longer one with
// the share, the rate and the time left, which goes away again.
func TestBarComesLate(t *testing.T) {
	var out bytes.Buffer
	b := newBar(&out, 4<<20, "tug.csv")
	b.add(1 << 20)
	b.finish()
	assert.Empty(t, out.String())

	b.begun = b.begun.Add(-barAfter)
	b.add(1 << 20)
	assert.Contains(t, out.String(), "tug.csv")
	assert.Contains(t, out.String(), "50%")
	assert.Regexp(t, `/s`, out.String())
	b.finish()
	assert.NotContains(t, out.String()[len(out.String())-3:], "%")
}
