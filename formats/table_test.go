package formats

import (
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

// collect reads a source to its end or error and checks what every block
// promises: instants in order, none before the block before, none after Until.
func collect(t testing.TB, s decode.Source) (names []string, edges [][]edge, err error) {
	for _, c := range s.Channels() {
		names = append(names, c.Name)
	}
	edges = make([][]edge, len(names))
	level := make([]decode.Level, len(names))
	var until decode.Time
	for n := 0; ; n++ {
		b, err := s.Next()
		if err == io.EOF {
			return names, edges, nil
		}
		if err != nil {
			return names, edges, err
		}
		last := make([]decode.Time, len(names))
		for i := range last {
			last[i] = until
		}
		for _, r := range b.Runs {
			require.NotEmpty(t, r.At)
			l := r.First
			for i, at := range r.At {
				require.True(t, (n == 0 && len(edges[r.Channel]) == 0) || at >= last[r.Channel], "instants go back")
				require.LessOrEqual(t, at, b.Until)
				last[r.Channel] = at
				if l != level[r.Channel] {
					edges[r.Channel] = append(edges[r.Channel], edge{at, l})
					level[r.Channel] = l
				}
				if r.First == decode.Unknown {
					require.Zero(t, i, "an unknown run has one instant")
				}
				l = l.Other()
			}
		}
		until = b.Until
	}
}

// read decodes a table written in the test and returns its edges in words.
func read(t *testing.T, text string, o Options) (edges string, origin decode.Origin, err error) {
	r, err := NewReader(strings.NewReader(text), "tug.csv", o)
	if err != nil {
		return "", origin, err
	}
	defer r.Close()
	names, list, err := collect(t, r)
	var b strings.Builder
	for i, name := range names {
		fmt.Fprintf(&b, "%s:", name)
		for _, e := range list[i] {
			fmt.Fprintf(&b, " %s %s", e.level, e.at.Micros(6))
		}
		b.WriteString("\n")
	}
	return b.String(), r.Origin(), err
}
