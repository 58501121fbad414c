package report

import (
	"math"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/formats"
)

var nan = math.NaN()

func us(v float64) decode.Time { return decode.Time(math.Round(v * float64(decode.Microsecond))) }
func ms(v float64) decode.Time { return us(v * 1000) }

// tug is an invented capture of a model harbour tug, put together by hand: one
// channel in order, one that jitters and fails, one that loses its signal, one
// dead wire, one that is no servo signal, and a name made to harm a terminal.
func tug() (*formats.Header, *decode.Analysis, *decode.Judgement) {
	h := &formats.Header{
		File: "tug.csv", Format: "csv", Compression: "gzip", Encoding: "utf-8",
		Dialect:      "comma, decimal point, one header row, time in s",
		Alternatives: []string{"time in ms"},
		Variables: []formats.Variable{
			{Name: "Time", Kind: "time", Width: 1, Column: 1},
			{Name: "throttle", Kind: "digital", Width: 1, Column: 2, Selected: true},
			{Name: "horn\x1b[2J\u202e", Kind: "digital", Width: 1, Column: 4, Selected: true},
			{Name: "comment", Kind: "text", Width: 1, Column: 9},
			{Name: "bus", Path: "top.bus", Kind: "vector", Width: 8},
		},
	}
	unmeasured := decode.OtherSignal{RateHz: nan, DutyLow: nan, DutyHigh: nan, BitTime: nan}
	throttle := &decode.ChannelAnalysis{
		Name: "throttle", Signal: decode.Servo, Active: decode.High, Totals: decode.Totals{PulseCount: 3060, FrameCount: 3060},
		Width:       &decode.Summary{N: 3060, Min: us(1099.9), Max: us(1900.1), P01: 1100, Median: 1500, P99: 1900, Mean: 1482.25, SD: 212.5, MeanU95: nan},
		Period:      &decode.Period{Nominal: 20000.04, Pattern: decode.Steady, DriftPPM: 3.2, Residual: 1.1, Intervals: decode.Summary{N: 3059, Min: us(19996.2), Max: us(20003.9), Median: 20000, Mean: 20000.0412, SD: 1.25, MeanU95: 0.044}},
		Jitter:      &decode.Jitter{WidthRMS: 0.32, WidthRMSCorrected: 0.317, WidthP99: 0.8, WidthPP: 1.9, WidthN: 2400, Resolved: true, PeriodRMS: 1.25, CycleToCycleRMS: 1.7, WidthRMSLow95: 0.31, WidthRMSHigh95: 0.33},
		Rests:       []decode.Rest{{Start: 2 * decode.Second, End: 12 * decode.Second, Frames: 500, Width: 1500.02, RMS: 0.32}},
		OtherSignal: unmeasured,
	}
	rudder := *throttle
	rudder.Name, rudder.FrameCount, rudder.PulseCount, rudder.DroppedCount = "rudder", 3060, 3057, 3
	rudder.Jitter = &decode.Jitter{WidthRMS: 9.41, WidthRMSCorrected: 9.41, WidthP99: 24.3, WidthPP: 51.2, WidthN: 2380, Resolved: true, PeriodRMS: 1.3, CycleToCycleRMS: 1.8, WidthRMSLow95: 9.1, WidthRMSHigh95: 9.7}
	winch := *throttle
	winch.Name, winch.PulseCount, winch.FrameCount, winch.LossCount, winch.LostTime, winch.GlitchCount = "winch", 3031, 3040, 1, ms(412), 2
	winch.Period = &decode.Period{Nominal: 20000, Pattern: decode.IrregularPattern, DriftPPM: nan, Residual: nan, Others: 12, Recurring: []float64{20000, 40000}}
	winch.Jitter = &decode.Jitter{WidthRMS: 0.02, WidthRMSCorrected: nan, WidthP99: nan, WidthPP: 0.1, WidthN: 60, PeriodRMS: nan, CycleToCycleRMS: nan, WidthRMSLow95: nan, WidthRMSHigh95: nan}
	dead := &decode.ChannelAnalysis{Name: "horn\x1b[2J\u202e", Signal: decode.Silent, Level: decode.Low, OtherSignal: unmeasured}
	motor := &decode.ChannelAnalysis{Name: "pump", Signal: decode.Duty, Active: decode.High, OtherSignal: decode.OtherSignal{RateHz: 490.2, DutyLow: 0.1, DutyHigh: 0.75, BitTime: nan}}
	a := &decode.Analysis{
		Start: 0, End: ms(61200), Resolution: 0.1,
		Origin:   decode.Origin{End: ms(61200), Step: 1e5, Unit: us(0.1), Rows: 612_000_001, EndStated: true, Text: "2026-05-01 10:00:00", Notes: []decode.Remark{{Text: "the capture's clock is not known: 50 ppm of it are 1 us in 20 ms"}}},
		Notes:    []decode.Remark{{Text: "the capture's clock is not known: 50 ppm of it are 1 us in 20 ms"}, {Kind: decode.CutOff, Text: "cut off in row 612000002"}},
		Channels: []*decode.ChannelAnalysis{throttle, &rudder, &winch, dead, motor},
	}
	j := &decode.Judgement{
		Outcome: decode.Failed,
		Unseen:  []string{"no dropped frames began in 61.2 s on throttle; at 95 % they begin less often than once in 20 s"},
		Channels: []decode.ChannelJudgement{
			{Judged: true, Outcome: decode.Passed},
			{Judged: true, Outcome: decode.Failed},
			{Judged: true, Outcome: decode.Failed},
			{}, {},
		},
		Findings: []decode.Finding{
			{Kind: decode.WidthJitter, Severity: decode.Fail, Channels: []string{"rudder"}, Start: 0, End: ms(61180), Count: 2380, Measured: 24.3, Limit: 20, Unit: "us", Message: "99 % of widths at rest lie within 24.3 us of their mean"},
			{Kind: decode.SignalLoss, Severity: decode.Fail, Channels: []string{"winch"}, Start: ms(42310.5), End: ms(42722.5), Count: 1, Measured: 432, Limit: 110, Unit: "ms", Message: "no pulse for 432 ms; longer than the 25, 50 and 100 ms that firmware waits"},
			{Kind: decode.DroppedFrame, Severity: decode.Warn, Channels: []string{"rudder"}, Start: ms(12344), End: ms(12366), Count: 1, Measured: 44, Limit: 33, Unit: "ms", Message: "1 frame missing, 44 ms between pulses"},
			{Kind: decode.SharedLoss, Severity: decode.Note, Channels: []string{"rudder", "winch"}, Start: ms(42310.5), End: ms(42722.5), Count: 1, Measured: nan, Limit: nan, Message: "both at once"},
		},
	}
	return h, a, j
}

// tugEvents is what explains the tug's findings.
func tugEvents() []diagnose.Event {
	ms := func(v float64) decode.Time { return decode.Time(v * float64(decode.Millisecond)) }
	return []diagnose.Event{{Cause: "wire", Confidence: "likely", Severity: decode.Fail, Channels: []string{"winch"}, Start: ms(42310.5), End: ms(42722.5), Count: 1,
		Times: [][2]decode.Time{{ms(42310.5), ms(42722.5)}}, Story: "winch alone was silent for 0.4 s while the other channels went on.",
		Evidence: []string{"the gap is on winch alone", "two glitches lie beside it"}, Against: []string{"no pulse is torn"},
		Try: "Power off: swap the lead", Instead: []string{"an output that fails"}, Findings: []int{1}}}
}
