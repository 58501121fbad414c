package decode_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats"
)

// The captures under testdata/benches were made by general simulators (iverilog,
// ghdl, ngspice), which also printed what was on the wires. Digital captures must
// decode to that truth exactly, analog ones within a bound worked out below.

// benchTruth is one truth.csv; testdata/benches/README.md says what its lines mean.
type benchTruth struct {
	unit     *big.Rat // picoseconds
	named    []string
	channels []string
	others   map[string]decode.Signal // found, not judged
	pattern  map[string]decode.Pattern
	signal   map[string]decode.Signal
	active   map[string]decode.Level
	period   map[string]decode.Time
	pulses   map[string][]benchPulse
	faults   []benchFault
	analog   map[string]benchAnalog
}

type benchPulse struct {
	start, width           decode.Time
	startDigit, widthDigit decode.Time // one unit of the last digit printed
}

type benchFault struct {
	kind       decode.Kind
	channels   []string // sorted
	start, end decode.Time
	count      int64 // 0: not stated
}

// benchAnalog says how edges were measured, in volts and picoseconds. digits is
// the number of digits the capture's figures have.
type benchAnalog struct {
	threshold, amplitude, tau, noise float64
	digits                           int
}

func TestBenches(t *testing.T) {
	root := filepath.Join("..", "testdata", "benches")
	entries, err := os.ReadDir(root)
	require.NoError(t, err)
	benches := 0
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		benches++
		t.Run(e.Name(), func(t *testing.T) {
			truth := readBenchTruth(t, filepath.Join(root, e.Name(), "truth.csv"))
			captures, err := filepath.Glob(filepath.Join(root, e.Name(), "capture*"))
			require.NoError(t, err)
			require.NotEmpty(t, captures)
			for _, capture := range captures {
				t.Run(filepath.Base(capture), func(t *testing.T) { checkBench(t, capture, truth) })
			}
		})
	}
	require.NotZero(t, benches)
}

func checkBench(t *testing.T, capture string, truth *benchTruth) {
	if len(truth.analog) > 0 {
		checkStatedThreshold(t, capture, truth)
	}
	a, j := judgeBench(t, capture, formats.Options{Also: truth.named})
	checkKinds(t, a, j, truth)
	rows := benchRows(j)
	for name := range truth.pulses {
		checkPulses(t, name, rows[name], truth, foundThresholdBound(truth.analog[name]))
	}
	checkFindings(t, a, j, truth)
	checkNotes(t, rows, truth)
	checkCounts(t, a, truth)
}

func judgeBench(t *testing.T, capture string, o formats.Options) (*decode.Analysis, *decode.Judgement) {
	r, err := formats.Open(capture, o)
	require.NoError(t, err)
	defer r.Close()
	recording, err := decode.Decode(context.Background(), r, decode.Settings{})
	require.NoError(t, err)
	a := recording.Analyse()
	return a, a.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
}

func benchRows(j *decode.Judgement) map[string][]decode.PulseRow {
	rows := map[string][]decode.PulseRow{}
	for row := range j.Rows(false) {
		rows[row.Channel] = append(rows[row.Channel], row)
	}
	return rows
}

// checkKinds wants exactly the true channels judged, as what they are, and the
// others known for what they are.
func checkKinds(t *testing.T, a *decode.Analysis, j *decode.Judgement, truth *benchTruth) {
	var judged []string
	others := 0
	for i, c := range a.Channels {
		if !j.Channels[i].Judged {
			if kind, ok := truth.others[c.Name]; ok {
				assert.Equal(t, kind, c.Signal, "%s: kind", c.Name)
				others++
			}
			continue
		}
		judged = append(judged, c.Name)
		assert.Equal(t, truth.signal[c.Name], c.Signal, "%s: kind", c.Name)
		assert.Equal(t, truth.active[c.Name], c.Active, "%s: active level", c.Name)
		if pattern, ok := truth.pattern[c.Name]; ok {
			assert.Equal(t, pattern, c.Period.Pattern, "%s: pattern", c.Name)
		}
	}
	require.ElementsMatch(t, truth.channels, judged, "channels judged")
	assert.Len(t, truth.others, others, "channels known and not judged")
}

// checkPulses compares pulse by pulse. A bound of zero asks for equality.
func checkPulses(t *testing.T, name string, got []decode.PulseRow, truth *benchTruth, bound edgeBound) {
	want := truth.pulses[name]
	for i, w := range want {
		if i == len(got) {
			break
		}
		g := got[i]
		if bound == 0 {
			require.Equal(t, [2]decode.Time{w.start, w.width}, [2]decode.Time{g.Start, g.Width}, "%s: start and width of pulse %d", name, i)
		} else {
			require.InDelta(t, float64(w.start), float64(g.Start), bound.start(w), "%s: start of pulse %d", name, i)
			require.InDelta(t, float64(w.width), float64(g.Width), bound.width(w), "%s: width of pulse %d", name, i)
		}
		var interval decode.Time
		if i > 0 && !truth.blind(name, got[i-1].Start, g.Start) {
			interval = g.Start - got[i-1].Start
		}
		require.Equal(t, interval, g.Interval, "%s: interval of pulse %d", name, i)
	}
	require.Len(t, got, len(want), "%s: pulses", name)
}

// edgeBound is how far, in picoseconds, an edge found may lie from the same edge
// as the analog simulator measured it.
type edgeBound float64

// start adds half a unit of the truth's last digit, and a picosecond of rounding.
func (b edgeBound) start(w benchPulse) float64 { return float64(b) + float64(w.startDigit)/2 + 1 }

func (b edgeBound) width(w benchPulse) float64 { return 2*float64(b) + float64(w.widthDigit)/2 + 1 }

// statedThresholdBound holds where both sides draw the straight line between the
// same two samples to the same level, so that the time step adds nothing. What
// differs is the digits of the table. A stamp under 1 s of d digits is off by at
// most 10^-d/2 s, and an instant between two stamps by no more. A voltage under
// 10 V is off by at most 10^(1-d)/2, which moves the instant by that over the
// slope. An edge of amplitude A and time constant tau has the slope A/2tau in its
// middle; half of that allows for the chord being flatter and for noise.
func statedThresholdBound(a benchAnalog) edgeBound {
	half := math.Pow(10, -float64(a.digits)) / 2
	return edgeBound(half*float64(decode.Second) + 10*half/a.slope())
}

// foundThresholdBound adds what a threshold of our own finding may be off. Each
// state level is the mode of a histogram of 100 bins over the span (IEEE 181), and
// lies in that bin, half a bin from its centre at most; noise may move the mode by
// its rms, and widens the span by some four rms each way. The threshold, half-way
// between the levels, is off by no more than a level is.
func foundThresholdBound(a benchAnalog) edgeBound {
	if a == (benchAnalog{}) {
		return 0
	}
	level := (a.amplitude+8*a.noise)/200 + a.noise
	return statedThresholdBound(a) + edgeBound(level/a.slope())
}

// slope is half the slope in the middle of an edge, in volts per picosecond.
func (a benchAnalog) slope() float64 { return a.amplitude / (4 * a.tau) }

func checkStatedThreshold(t *testing.T, capture string, truth *benchTruth) {
	for name, analog := range truth.analog {
		microvolts := int64(math.Round(analog.threshold * 1e6))
		_, j := judgeBench(t, capture, formats.Options{Select: []string{name}, Threshold: &microvolts})
		checkPulses(t, name, benchRows(j)[name], truth, statedThresholdBound(analog))
	}
}

// checkFindings wants every fault found once, with its count and time, and no
// warning or failure beside them.
func checkFindings(t *testing.T, a *decode.Analysis, j *decode.Judgement, truth *benchTruth) {
	want, got := map[string][]benchFault{}, map[string][]decode.Finding{}
	for _, f := range truth.faults {
		key := fmt.Sprint(f.kind, " on ", f.channels)
		want[key] = append(want[key], f)
	}
	for _, f := range j.Findings {
		names := slices.Clone(f.Channels)
		slices.Sort(names)
		key := fmt.Sprint(f.Kind, " on ", names)
		if _, foreseen := want[key]; foreseen {
			got[key] = append(got[key], f)
		} else if f.Severity != decode.Note && f.Kind != decode.FewFrames {
			assert.Fail(t, "a finding that the stimulus gives no reason for", "%s at %s s: %s", key, f.Start.Seconds(6), f.Message)
		}
	}
	for key, faults := range want {
		slices.SortFunc(faults, func(x, y benchFault) int { return int((x.start - y.start) / decode.Microsecond) })
		if !assert.Len(t, got[key], len(faults), key) {
			continue
		}
		for i, fault := range faults {
			checkFinding(t, key, fault, got[key][i], periodError(a, truth, fault.channels))
		}
	}
}

// checkFinding allows a moment that is due by the period found to be off by that
// period's own error.
func checkFinding(t *testing.T, key string, want benchFault, got decode.Finding, due decode.Time) {
	if want.count > 0 {
		assert.Equal(t, want.count, got.Count, "%s at %s s: count", key, want.start.Seconds(6))
	}
	switch want.kind {
	case decode.DroppedFrame, decode.SignalLoss:
		assert.InDelta(t, int64(want.start), int64(got.Start), float64(due), "%s: start", key)
		assert.Equal(t, want.end, got.End, "%s: end", key)
	default:
		assert.GreaterOrEqual(t, got.Start, want.start-due, "%s: start", key)
		assert.LessOrEqual(t, got.Start, got.End, "%s: order", key)
		assert.LessOrEqual(t, got.End, want.end, "%s: end", key)
	}
}

// periodError is the largest error of the nominal periods found, and 1 ps.
func periodError(a *decode.Analysis, truth *benchTruth, names []string) decode.Time {
	var worst float64
	for _, c := range a.Channels {
		if p, ok := truth.period[c.Name]; ok && slices.Contains(names, c.Name) && c.Period != nil {
			worst = max(worst, math.Abs(c.Period.Nominal*float64(decode.Microsecond)-float64(p)))
		}
	}
	return decode.Time(worst) + 1
}

// checkNotes wants the pulses that are themselves the fault marked as such, and
// no others.
func checkNotes(t *testing.T, rows map[string][]decode.PulseRow, truth *benchTruth) {
	for _, kind := range []decode.Kind{decode.ExtraPulse, decode.WidthSpike, decode.WidthOutOfRange} {
		for name, pulses := range rows {
			for _, p := range pulses {
				want := slices.ContainsFunc(truth.faults, func(f benchFault) bool {
					return f.kind == kind && slices.Contains(f.channels, name) && f.start <= p.Start && p.Start <= f.end
				})
				assert.Equal(t, want, slices.Contains(p.Notes, kind), "%s at %s s: note %s", name, p.Start.Seconds(6), kind)
			}
		}
	}
}

func checkCounts(t *testing.T, a *decode.Analysis, truth *benchTruth) {
	for _, c := range a.Channels {
		if !slices.Contains(truth.channels, c.Name) {
			continue
		}
		total := map[decode.Kind]int64{}
		for _, f := range truth.faults {
			if slices.Contains(f.channels, c.Name) {
				total[f.kind] += f.count
			}
		}
		assert.Equal(t, total[decode.DroppedFrame], c.DroppedCount, "%s: dropped frames", c.Name)
		assert.Equal(t, total[decode.SignalLoss], c.LossCount, "%s: losses", c.Name)
		assert.Equal(t, total[decode.Glitch], c.GlitchCount, "%s: glitches", c.Name)
		if c.Signal == decode.Servo {
			pulses := int64(len(truth.pulses[c.Name]))
			assert.Equal(t, pulses, c.PulseCount, "%s: pulses", c.Name)
			assert.Equal(t, pulses-total[decode.ExtraPulse]+c.DroppedCount, c.FrameCount, "%s: frames", c.Name)
		}
	}
}

// blind reports whether the stimulus left the channel's level unknown between the
// two instants.
func (truth *benchTruth) blind(name string, from, to decode.Time) bool {
	return slices.ContainsFunc(truth.faults, func(f benchFault) bool {
		return f.kind == decode.UnknownLevel && slices.Contains(f.channels, name) && f.start < to && from < f.end
	})
}

func readBenchTruth(t *testing.T, name string) *benchTruth {
	file, err := os.Open(name)
	require.NoError(t, err, "every bench has a truth")
	defer file.Close()
	r := csv.NewReader(file)
	r.FieldsPerRecord = -1
	lines, err := r.ReadAll()
	require.NoError(t, err)

	truth := &benchTruth{
		others: map[string]decode.Signal{}, pattern: map[string]decode.Pattern{},
		signal: map[string]decode.Signal{}, active: map[string]decode.Level{},
		period: map[string]decode.Time{}, pulses: map[string][]benchPulse{}, analog: map[string]benchAnalog{},
	}
	for _, line := range lines {
		if line[0] == "unit" {
			require.Contains(t, benchUnits, line[1])
			truth.unit = benchUnits[line[1]]
		}
	}
	require.NotNil(t, truth.unit, "%s: no unit", name)
	for _, line := range lines {
		truth.add(t, line)
	}
	require.NotEmpty(t, truth.channels, "%s: no channel", name)
	require.NotEmpty(t, truth.pulses, "%s: no pulse", name)
	return truth
}

// benchUnits are in picoseconds.
var benchUnits = map[string]*big.Rat{
	"1s": big.NewRat(1e12, 1), "1us": big.NewRat(1e6, 1), "1ns": big.NewRat(1e3, 1),
	"1ps": big.NewRat(1, 1), "1fs": big.NewRat(1, 1e3),
}

func (truth *benchTruth) add(t *testing.T, line []string) {
	switch line[0] {
	case "unit":
	case "named":
		truth.named = append(truth.named, line[1])
	case "channel":
		truth.channels = append(truth.channels, line[1])
		truth.signal[line[1]] = decode.Signal(line[2])
		truth.active[line[1]] = map[string]decode.Level{"low": decode.Low, "high": decode.High}[line[3]]
	case "other":
		truth.others[line[1]] = decode.Signal(line[2])
	case "pattern":
		truth.pattern[line[1]] = decode.Pattern(line[2])
	case "period":
		truth.period[line[1]] = truth.time(t, line[2])
	case "pulse":
		start := truth.time(t, line[2])
		truth.pulses[line[1]] = append(truth.pulses[line[1]], benchPulse{
			start: start, width: truth.time(t, line[2], line[3]) - start,
			startDigit: truth.digit(t, line[2]), widthDigit: truth.digit(t, line[3]),
		})
	case "fault":
		f := benchFault{
			kind: decode.Kind(line[1]), channels: strings.Fields(line[2]),
			start: truth.time(t, line[3]), end: truth.time(t, line[4]),
		}
		slices.Sort(f.channels)
		if line[5] != "" {
			_, err := fmt.Sscan(line[5], &f.count)
			require.NoError(t, err)
		}
		truth.faults = append(truth.faults, f)
	case "analog":
		var a benchAnalog
		_, err := fmt.Sscan(strings.Join(line[2:], " "), &a.threshold, &a.amplitude, &a.tau, &a.noise, &a.digits)
		require.NoError(t, err)
		a.tau *= float64(decode.Second)
		truth.analog[line[1]] = a
	default:
		require.Fail(t, "unknown statement", line[0])
	}
}

// time is the sum of the terms in whole picoseconds, rounded once, half up.
func (truth *benchTruth) time(t *testing.T, terms ...string) decode.Time {
	sum := new(big.Rat)
	for _, term := range terms {
		r, ok := new(big.Rat).SetString(term)
		require.True(t, ok, "not a number: %q", term)
		sum.Add(sum, r)
	}
	sum.Mul(sum, truth.unit)
	sum.Add(sum, big.NewRat(1, 2))
	floor := new(big.Int).Div(sum.Num(), sum.Denom())
	return decode.Time(floor.Int64())
}

// digit is one unit of the last digit of a decimal number.
func (truth *benchTruth) digit(t *testing.T, text string) decode.Time {
	mantissa, exponent, scientific := strings.Cut(text, "e")
	_, decimals, _ := strings.Cut(mantissa, ".")
	unit := "1e-" + fmt.Sprint(len(decimals))
	if scientific {
		var e int
		_, err := fmt.Sscan(exponent, &e)
		require.NoError(t, err)
		unit = fmt.Sprintf("1e%d", e-len(decimals))
	}
	return truth.time(t, unit)
}
