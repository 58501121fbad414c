package report

import (
	"bytes"
	"encoding/csv"
	"io"
	"iter"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
)

func rowsOf(rows ...decode.PulseRow) iter.Seq[decode.PulseRow] {
	return func(yield func(decode.PulseRow) bool) {
		for _, r := range rows {
			if !yield(r) {
				return
			}
		}
	}
}

func TestPulses(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WritePulses(&b, rowsOf(
		decode.PulseRow{Channel: "rudder", Pulse: decode.Pulse{Start: -ms(1), Width: us(1500)}},
		decode.PulseRow{Channel: "a,\"b\"", Pulse: decode.Pulse{Start: 0, Width: us(999.999999)}},
		decode.PulseRow{Channel: "rudder", Pulse: decode.Pulse{Start: 9_000_000*decode.Second + 1, Width: us(1500), Interval: ms(20) + 1}, Notes: []decode.Kind{decode.WidthSpike, decode.ExtraPulse}},
		decode.PulseRow{Channel: "rudder", Pulse: decode.Pulse{Start: 9_000_001 * decode.Second, Width: us(40)}, Glitch: true},
	)))
	assert.Equal(t, strings.Join([]string{
		`channel,start_s,width_us,interval_us,note`,
		`rudder,-0.001000000000,1500.000000,,`,
		`"a,""b""",0.000000000000,999.999999,,`,
		`rudder,9000000.000000000001,1500.000000,20000.000001,width-spike extra-pulse`,
		`rudder,9000001.000000000000,40.000000,,glitch`,
		``,
	}, "\n"), b.String())
}

// encoding/csv, an independent reader of RFC 4180, gets every name back.
func FuzzPulseNames(f *testing.F) {
	for _, name := range []string{"rudder", "", " a", "a,b", `"`, "a\nb", "\r", "=1+1", "\u202e"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		var b bytes.Buffer
		require.NoError(t, WritePulses(&b, rowsOf(decode.PulseRow{Channel: name})))
		records, err := csv.NewReader(&b).ReadAll()
		require.NoError(t, err)
		require.Len(t, records, 2)
		// That reader turns CR LF inside quotes into LF.
		require.Equal(t, strings.ReplaceAll(name, "\r\n", "\n"), records[1][0])
	})
}

func TestPulsesStopWhereTheReaderLeaves(t *testing.T) {
	taken := 0
	endless := func(yield func(decode.PulseRow) bool) {
		for yield(decode.PulseRow{Channel: "rudder"}) {
			taken++
		}
	}
	r, w := io.Pipe()
	r.Close()
	require.ErrorIs(t, WritePulses(w, endless), io.ErrClosedPipe)
	assert.Less(t, taken, 10_000)
}

func BenchmarkPulses(b *testing.B) {
	rows := make([]decode.PulseRow, 10_000)
	for i := range rows {
		rows[i] = decode.PulseRow{Channel: "rudder", Pulse: decode.Pulse{Start: 12_345_678_901_234, Width: us(1500.1), Interval: ms(20)}}
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := WritePulses(io.Discard, rowsOf(rows...)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*float64(len(rows))/b.Elapsed().Seconds(), "pulses/s")
}
