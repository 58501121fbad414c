package trace

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/formats"
	"widthwise/report"
)

// lanesOf names the lanes of a capture and checks that each is told of what was
// measured on it.
func lanesOf(t *testing.T, file string, channels ...string) []string {
	t.Helper()
	reader, err := formats.Open("../../testdata/"+file, formats.Options{Select: channels})
	require.NoError(t, err)
	recording, err := decode.Decode(context.Background(), reader, decode.Settings{})
	require.NoError(t, err)
	a := recording.Analyse()
	j := a.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
	told := report.NewCapture(reader.Header(), a, j, diagnose.Explain(a, j), nil)
	var names []string
	for _, l := range Lanes(told, a, j) {
		require.Equal(t, l.Told.Name, l.Measured.Name)
		require.Equal(t, l.Told.Pulses, l.Measured.PulseCount)
		names = append(names, l.Told.Name)
	}
	return names
}

func TestLanes(t *testing.T) {
	assert.Equal(t, []string{"throttle", "rudder", "winch"}, lanesOf(t, "scenarios/healthy.toml"))
	assert.Equal(t, []string{"winch"}, lanesOf(t, "scenarios/healthy.toml", "winch"), "others are read, and have no lane")
	streams := lanesOf(t, "benches/sum/capture.vcd")
	require.Len(t, streams, 18)
	assert.Equal(t, []string{"sum", "sum.1"}, streams[9:11])
}
