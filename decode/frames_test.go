package decode

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// one decodes a single channel.
func one(t *testing.T, text string) (*ChannelAnalysis, *Judgement) {
	a, j := decoded(t, newTape(t, text))
	return a.Channels[0], j
}

// kinds lists the findings of a judgement as kind, start, end in ms, count.
type told struct {
	kind       Kind
	start, end Time // milliseconds
	count      int64
}

func findings(j *Judgement, but ...Kind) []told {
	var out []told
	for _, f := range j.Findings {
		skip := false
		for _, k := range but {
			skip = skip || k == f.Kind
		}
		if !skip {
			out = append(out, told{f.Kind, f.Start / Millisecond, f.End / Millisecond, f.Count})
		}
	}
	return out
}

const frame = "H1500 L20500 " // 22 ms

// Tracks of 22 ms frames and what must be found: kind, from, to, count.
func TestFrames(t *testing.T) {
	for _, c := range []struct {
		why, track string
		frames     int64
		dropped    int64
		want       []told
	}{
		{"100 frames in order", "L3000 100*(" + frame + ")", 100, 0, nil},
		{"frame 12 missing", "L3000 11*(" + frame + ") L22000 88*(" + frame + ")", 100, 1, []told{{DroppedFrame, 245, 267, 1}}},
		{"three missing in a row", "L3000 50*(" + frame + ") L66000 47*(" + frame + ")", 100, 3, []told{{DroppedFrame, 1103, 1169, 3}}},
		{"two singles at most three frames apart are one finding", "L3000 50*(" + frame + ") L22000 2*(" + frame + ") L22000 46*(" + frame + ")", 100, 2, []told{{DroppedFrame, 1103, 1191, 2}}},
		{"two singles farther apart are two", "L3000 50*(" + frame + ") L22000 6*(" + frame + ") L22000 42*(" + frame + ")", 100, 2, []told{{DroppedFrame, 1103, 1125, 1}, {DroppedFrame, 1257, 1279, 1}}},
		{"a late frame that is made up", "L3000 50*(" + frame + ") L2000 H1500 L18500 49*(" + frame + ")", 100, 0, []told{{PeriodOutOfRange, 1081, 1105, 1}}},
		{"a late frame beyond a quarter of a period", "L3000 50*(" + frame + ") L7000 H1500 L13500 49*(" + frame + ")", 100, 0, []told{{PeriodOutOfRange, 1081, 1110, 1}}},
		{"the grid starts anew", "L3000 50*(" + frame + ") L7000 50*(" + frame + ")", 100, 0, []told{{PeriodOutOfRange, 1081, 1110, 1}}},
		{"the grid starts anew after a gap", "L3000 50*(" + frame + ") L29000 49*(" + frame + ")", 100, 1, []told{{DroppedFrame, 1103, 1132, 1}}},
		{"an extra pulse", "L3000 50*(" + frame + ") H1500 L8000 H1400 L11100 49*(" + frame + ")", 100, 0, []told{{ExtraPulse, 1112, 1113, 1}}},
		{"a stuck level holds its place", "L3000 50*(" + frame + ") H9000 L13000 49*(" + frame + ")", 99, 0, []told{{StuckLevel, 1103, 1112, 1}}},
		{"108 ms to the next pulse are five frames", "L3000 50*(" + frame + ") L86000 46*(" + frame + ")", 100, 4, []told{{DroppedFrame, 1103, 1189, 4}}},
		{"stuck to the end is a loss as well", "L3000 60*(" + frame + ") H300000", 60, 0, []told{{SignalLoss, 1323, 1623, 1}, {StuckLevel, 1323, 1623, 1}}},
		{"a loss of six frames", "L3000 50*(" + frame + ") L132000 44*(" + frame + ")", 94, 0, []told{{SignalLoss, 1103, 1235, 1}}},
		{"a silent tail", "L3000 50*(" + frame + ") L200000", 50, 0, []told{{SignalLoss, 1103, 1303, 1}}},
		{"the end of the capture is near", "L3000 50*(" + frame + ") L50000", 50, 0, nil},
		{"recorded before switch-on", "L300000 60*(" + frame + ")", 60, 0, []told{{StartUp, 0, 300, 1}}},
		{"stray pulses before the first frames", "L5000 H700 L3100 H900 L12000 H1200 L31000 60*(" + frame + ")", 60, 0, []told{{StartUp, 5, 53, 3}}},
		{"too few to pass", "L3000 49*(" + frame + ")", 49, 0, []told{{FewFrames, 0, 1081, 49}}},
		{"hidden by an unknown level", "L3000 50*(" + frame + ") x60000 L6000 47*(" + frame + ")", 97, 0, []told{{UnknownLevel, 1103, 1163, 1}}},
	} {
		ca, j := one(t, c.track)
		assert.Equal(t, c.want, findings(j), "%s", c.why)
		assert.Equal(t, c.frames, ca.Frames, "%s: frames", c.why)
		assert.Equal(t, c.dropped, ca.Dropped, "%s: dropped", c.why)
		assert.InDelta(t, 22000, ca.Period.Nominal, 1, "%s: nominal", c.why)
	}
}

// A loss has its edges to the picosecond, and its frames are not dropped.
func TestLossEdges(t *testing.T) {
	ca, j := one(t, "L3000.25 60*("+frame+") L412000.5 60*("+frame+")")
	require.Len(t, j.Findings, 1)
	f := j.Findings[0]
	assert.Equal(t, SignalLoss, f.Kind)
	assert.Equal(t, "1.323000250000", f.Start.Seconds(12))
	assert.Equal(t, "1.735000750000", f.End.Seconds(12))
	assert.Equal(t, 412_000_500*Nanosecond, ca.Lost)
	assert.EqualValues(t, 1, ca.Losses)
	assert.Contains(t, f.Message, "25, 50 and 100 ms")
	assert.Contains(t, f.Message, "not of 500 and 1000 ms")
}

func TestEverySecondFrame(t *testing.T) {
	_, j := one(t, "L3000 80*("+frame+") 30*("+frame+"L22000) 60*("+frame+")")
	require.Len(t, findings(j), 1)
	f := j.Findings[0]
	assert.Equal(t, DroppedFrame, f.Kind)
	assert.EqualValues(t, 30, f.Count)
	assert.Contains(t, f.Message, "half the frames lost, or the period doubled")
	assert.Equal(t, Fail, f.Severity)
}

func TestRhythms(t *testing.T) {
	alternating, j := one(t, "L3000 60*(H1500 L16500 H1500 L17500)")
	assert.Equal(t, Alternating, alternating.Period.Pattern)
	assert.InDelta(t, 18500, alternating.Period.Nominal, 1e-6)
	assert.Empty(t, findings(j))

	// One in three frames missing at random leaves the nominal period right.
	text := "L3000 "
	for i := range 300 {
		if i*7919%10 < 3 {
			text += "L22000 "
		} else {
			text += frame
		}
	}
	ragged, _ := one(t, text)
	assert.Equal(t, Servo, ragged.Signal)
	assert.InDelta(t, 22000, ragged.Period.Nominal, 1)

	// 9 us is under the 15 ms that analog servos may need: a note, no more.
	fast, j := one(t, "L3000 300*(H1500 L7500)")
	assert.InDelta(t, 9000, fast.Period.Nominal, 1e-6)
	assert.Equal(t, []told{{PeriodOutOfRange, 3, 2694, 299}}, findings(j))
	assert.Equal(t, Passed, j.Outcome)
}

// Gaps on all channels at once are told once more, together; one channel silent
// while others pulse is a loss from the start.
func TestAcrossChannels(t *testing.T) {
	a := "L3000 60*(" + frame + ") L400000 60*(" + frame + ")"
	b := "L8000 60*(" + frame + ") L400000 60*(" + frame + ")"
	c := "L13000 138*(" + frame + ")"
	_, j := decoded(t, newTape(t, a, b, c))
	var shared []Finding
	for _, f := range j.Findings {
		if f.Kind == SharedLoss {
			shared = append(shared, f)
		}
	}
	require.Len(t, shared, 1)
	assert.Equal(t, []string{"a", "b"}, shared[0].Channels)
	assert.Equal(t, Note, shared[0].Severity)

	_, j = decoded(t, newTape(t, "L3000 100*("+frame+")", "L503000 77*("+frame+")"))
	assert.Equal(t, []told{{SignalLoss, 0, 503, 1}}, findings(j))
}

// A named channel is judged as what it is asked to be.
func TestNamedChannels(t *testing.T) {
	dead := newTape(t, "L2000000", "L3000 90*("+frame+")")
	dead.named = true
	_, j := decoded(t, dead)
	assert.Equal(t, Failed, j.Channels[0].Outcome)
	assert.Equal(t, Passed, j.Channels[1].Outcome)
	assert.Equal(t, []told{{SignalLoss, 0, 2000, 1}}, findings(j))
	assert.EqualValues(t, 1, j.analysis.Channels[0].Losses)
	assert.Equal(t, 2*Second, j.analysis.Channels[0].Lost)

	_, j = decoded(t, newTape(t, "L2000000", "L3000 90*("+frame+")"))
	assert.False(t, j.Channels[0].Judged)
	assert.Equal(t, Passed, j.Outcome)

	_, j = decoded(t, newTape(t, "L2000000"))
	assert.Equal(t, Undecided, j.Outcome)
}

// A run of widths out of range is one finding that names the worst of them: a
// failure before a warning, however far that one is off; each pulse is noted.
func TestWorstWidth(t *testing.T) {
	_, j := one(t, "L3000 60*("+frame+") 3*(H2190 L19810) H2210 L19790 H2150 L19850 60*("+frame+")")
	require.Equal(t, []told{{WidthOutOfRange, 1323, 1413, 5}}, findings(j))
	assert.Equal(t, Fail, j.Findings[0].Severity)
	assert.InDelta(t, 2210, j.Findings[0].Measured, 1e-9)
	assert.InDelta(t, 2200, j.Findings[0].Limit, 1e-9)
	noted := 0
	for row := range j.Rows(false) {
		if len(row.Notes) > 0 {
			noted++
			assert.Equal(t, []Kind{WidthOutOfRange}, row.Notes)
		}
	}
	assert.Equal(t, 5, noted)

	// Beyond what is listed one by one, the count is kept.
	_, j = one(t, "L3000 1100*("+frame+"5*("+frame+") H2150 L19850)")
	var n int64
	for _, f := range j.Findings {
		if f.Kind == WidthOutOfRange {
			n += f.Count
		}
	}
	assert.EqualValues(t, 1100, n)
	assert.LessOrEqual(t, len(j.Findings), maxEvents+1)
}

// A channel that was named gives its pulses even where it is something else.
func TestPulsesOfWrongSignal(t *testing.T) {
	c := newTape(t, "L3000 400*(H400 L600) ")
	c.named = true
	_, j := decoded(t, c)
	require.Equal(t, Duty, j.analysis.Channels[0].Signal)
	assert.Equal(t, []told{{WrongSignal, 0, 403, 1}}, findings(j))
	rows := 0
	for row := range j.Rows(false) {
		rows++
		assert.Equal(t, 400*Microsecond, row.Width)
	}
	assert.Equal(t, 400, rows)
	assert.EqualValues(t, 400, j.analysis.Channels[0].Pulses)
}
