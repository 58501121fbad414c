package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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

type tally int

func (s *tally) add(n int) { *s += tally(n) }
func (s *tally) finish()   {}

// What is read twice is told once, in whatever order.
func TestEveryByteCountsOnce(t *testing.T) {
	name := filepath.Join(t.TempDir(), "tug.csv")
	require.NoError(t, os.WriteFile(name, make([]byte, 1000), 0o600))
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	var told tally
	c := &counted{File: f, bar: &told}
	_, err = c.Read(make([]byte, 300)) // the head
	require.NoError(t, err)
	for _, at := range []int64{0, 600, 200, 800} {
		_, err = c.ReadAt(make([]byte, 200), at)
		require.NoError(t, err)
	}
	assert.EqualValues(t, 1000, told)
}
