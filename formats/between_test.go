package formats

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

func TestBetween(t *testing.T) {
	const table = "time [s],throttle,rudder\n0,0,1\n0.001,1,1\n0.002,1,0\n0.003,0,0\n0.004,0,1\n0.005,0,1\n"
	at := func(ms decode.Time) *decode.Time { ms *= decode.Millisecond; return &ms }
	for _, c := range []struct {
		from, to *decode.Time
		want     []string
	}{
		{nil, nil, []string{"0,0,1", "1,1,1", "2,1,0", "3,0,0", "4,0,1", "5,0,1"}},
		{at(2), nil, []string{"2,1,0", "3,0,0", "4,0,1", "5,0,1"}},
		{at(1), at(4), []string{"1,1,1", "2,1,0", "3,0,0", "4,0,0"}},
		{nil, at(2), []string{"0,0,1", "1,1,1", "2,1,1"}},
	} {
		r, err := NewReader(strings.NewReader(table), "tug.csv", Options{})
		require.NoError(t, err)
		var out bytes.Buffer
		require.NoError(t, WriteCSV(&out, decode.Between(r, c.from, c.to), WriteOptions{}))
		var got []string
		for _, line := range strings.Split(strings.TrimSpace(out.String()), "\n")[1:] {
			got = append(got, strings.Replace(strings.Replace(line, "0.00", "", 1), "000000000", "", 1))
		}
		assert.Equal(t, c.want, got)
	}
}
