package decode_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats"
)

// Families of captures made up from scenarios with known truth. The scenes are
// invented: a harbour tug with throttle, rudder and winch. Run with -v, they
// print three tables: recall and false alarms, jitter, identification.

// scene is the text of a scenario.
type scene struct {
	sampling string
	length   string
	frames   string
	channels []string
	faults   []string
}

var tug = scene{
	sampling: "24MHz", length: "20s", frames: "period = '20ms'\njitter_us = 0.3",
	channels: []string{
		"name = 'throttle'\nkind = 'servo'\nwidth_us = 1200\njitter_us = 0.4\nmoves = [{ at = '4s', width_us = 1800, rate_us_per_s = 400 }]",
		"name = 'rudder'\nkind = 'servo'\nafter = 'throttle'\nwidth_us = 1500\njitter_us = 0.4",
		"name = 'winch'\nkind = 'servo'\nafter = 'rudder'\nwidth_us = 1520\njitter_us = 0.4",
	},
}

func (s scene) with(faults ...string) scene {
	s.faults = append(slices.Clone(s.faults), faults...)
	return s
}

func (s scene) text(seed int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "scenario = 'family'\nseed = %d\nlength = '%s'\nsampling = '%s'\n[frames]\n%s\n", seed, s.length, s.sampling, s.frames)
	for _, c := range s.channels {
		fmt.Fprintf(&b, "[[channel]]\n%s\n", c)
	}
	for _, f := range s.faults {
		fmt.Fprintf(&b, "[[fault]]\n%s\n", f)
	}
	return b.String()
}

// settings are what the user says about a capture.
type settings struct {
	names  []string
	limits decode.Limits
	stated decode.Stated
}

func (s scene) judge(t *testing.T, seed int, o settings) (*decode.Analysis, *decode.Judgement) {
	r, err := formats.NewReader(strings.NewReader(s.text(seed)), "family", formats.Options{Also: o.names})
	require.NoError(t, err, s.text(seed))
	defer r.Close()
	rec, err := decode.Decode(context.Background(), r, decode.Settings{Stated: decode.PerChannel[decode.Stated]{Default: o.stated}})
	require.NoError(t, err)
	l := o.limits
	if l == (decode.Limits{}) {
		l = decode.DefaultLimits
	}
	a := rec.Analyse()
	return a, a.Judge(decode.PerChannel[decode.Limits]{Default: l})
}

// fault is a capture with a fault and the finding that must be made.
type fault struct {
	kind     decode.Kind
	scene    scene
	on       settings
	channel  string // "" any
	from, to float64
	count    int64           // 0: not checked
	severity decode.Severity // at least
	also     []decode.Kind   // other kinds that the same fault makes
}

func found(j *decode.Judgement, f fault) bool {
	var count int64
	severe := false
	for _, x := range j.Findings {
		start, end := float64(x.Start)/1e12, float64(x.End)/1e12
		if x.Kind == f.kind && (f.channel == "" || slices.Contains(x.Channels, f.channel)) && start <= f.to+0.05 && end >= f.from-0.05 && rank(x.Severity) >= rank(f.severity) {
			count += x.Count
			severe = true
		}
	}
	return severe && (f.count == 0 || count == f.count)
}

func rank(s decode.Severity) int {
	return slices.Index([]decode.Severity{decode.Note, decode.Warn, decode.Fail}, s)
}

// faults lists every capture of the recall table.
func faults() []fault {
	var all []fault
	add := func(f fault) {
		if f.severity == "" {
			f.severity = decode.Warn
		}
		all = append(all, f)
	}
	for i, frames := range []string{"period = '20ms'\njitter_us = 0.3", "period = '22ms'", "periods = ['18ms', '19ms']", "period = '11ms'\njitter_us = 1", "period = '20ms'\njitter_us = 30"} {
		base := tug
		base.sampling, base.frames = []string{"24MHz", "4MHz", "1MHz", "10MHz", "2MHz"}[i], frames
		for _, n := range []int64{1, 2, 3, 4} {
			add(fault{kind: decode.DroppedFrame, scene: base.with(fmt.Sprintf("kind = 'dropped-frame'\nchannels = ['rudder']\nat = '9s'\ncount = %d", n)), channel: "rudder", from: 9, to: 9.2, count: n})
		}
		add(fault{kind: decode.DroppedFrame, scene: base.with("kind = 'dropped-frame'\nchannels = ['winch']\nat = '9s'\ncount = 30\nevery_frames = 2"), channel: "winch", from: 9, to: 10.3, count: 30})
		add(fault{kind: decode.DroppedFrame, scene: base.with("kind = 'dropped-frame'\nchannels = ['winch']\nat = '1s'\nfor = '18s'\nchance = 0.45"), channel: "winch", from: 1, to: 19, severity: decode.Fail, also: []decode.Kind{decode.SignalLoss}})
		for _, w := range []float64{121, 150, 400, 1200} {
			add(fault{kind: decode.SignalLoss, scene: base.with(fmt.Sprintf("kind = 'signal-loss'\nchannels = ['rudder']\nat = '9s'\nfor = '%gms'", w+15)), channel: "rudder", from: 9, to: 9.1, count: 1, severity: decode.Fail})
		}
		add(fault{kind: decode.SignalLoss, scene: base.with("kind = 'signal-loss'\nchannels = ['rudder']\nat = '19.5s'\nfor = '1s'"), channel: "rudder", from: 19.5, to: 20, count: 1, severity: decode.Fail})
		add(fault{kind: decode.SignalLoss, scene: base.with("kind = 'late-start'\nchannels = ['rudder']\nat = '0s'\nfor = '2s'"), channel: "rudder", from: 0, to: 2, count: 1, severity: decode.Fail})
		for _, w := range []float64{5, 40, 60, 150, 280} {
			add(fault{kind: decode.Glitch, scene: base.with(fmt.Sprintf("kind = 'glitch'\nchannels = ['winch']\nat = '9s'\noffset_us = 6000\nscatter_us = 900\nwidth_us = %g\ncount = 3", w)), channel: "winch", from: 9, to: 9.1, count: 3})
		}
		for _, w := range []float64{5, 30, 120} {
			add(fault{kind: decode.Glitch, scene: base.with(fmt.Sprintf("kind = 'break'\nchannels = ['winch']\nat = '9s'\noffset_us = 500\nwidth_us = %g\ncount = 2", w)), channel: "winch", from: 9, to: 9.1, count: 2})
		}
		for _, by := range []float64{25, 40, 140, -60, 400} {
			add(fault{kind: decode.WidthSpike, scene: base.with(fmt.Sprintf("kind = 'width-spike'\nchannels = ['rudder']\nat = '9s'\nby_us = %g\ncount = 1", by)), channel: "rudder", from: 9, to: 9.1, count: 1})
		}
		for _, w := range []float64{2120, 2150, 2210, 2500, 880, 780, 400} {
			severity := decode.Warn
			if w > 2203 || w < 797 {
				severity = decode.Fail
			}
			add(fault{kind: decode.WidthOutOfRange, scene: base.with(fmt.Sprintf("kind = 'width-out-of-range'\nchannels = ['rudder']\nat = '9s'\nwidth_us = %g\ncount = 6", w)), channel: "rudder", from: 9, to: 9.2, count: 6, severity: severity})
		}
		for _, ms := range []float64{4, 9, 60, 500} {
			add(fault{kind: decode.StuckLevel, scene: base.with(fmt.Sprintf("kind = 'stuck-level'\nchannels = ['rudder']\nat = '9s'\nfor = '%gms'\nlevel = 'high'", ms)), channel: "rudder", from: 9, to: 9.1, severity: decode.Fail, also: []decode.Kind{decode.SignalLoss, decode.WidthOutOfRange, decode.DroppedFrame, decode.ExtraPulse, decode.WidthSpike, decode.PeriodOutOfRange}})
		}
		add(fault{kind: decode.ExtraPulse, scene: base.with("kind = 'extra-pulse'\nchannels = ['rudder']\nat = '9s'\noffset_us = 9000\nwidth_us = 1400\ncount = 1"), channel: "rudder", from: 9, to: 9.1, count: 1})
		add(fault{kind: decode.EdgeChatter, scene: base.with("kind = 'edge-chatter'\nchannels = ['rudder']\nat = '9s'\nwidth_us = 1\ntrain = 2\nedge = 'leading'\ncount = 5"), channel: "rudder", from: 9, to: 9.2, severity: decode.Note})
		add(fault{kind: decode.UnknownLevel, scene: base.with("kind = 'unknown-level'\nchannels = ['rudder']\nat = '9s'\nfor = '60ms'"), channel: "rudder", from: 9, to: 9.1, severity: decode.Note})
		for _, ms := range []float64{1.4, 2.5, 4} {
			add(fault{kind: decode.PeriodOutOfRange, scene: base.with(fmt.Sprintf("kind = 'late-frame'\nchannels = ['rudder']\nat = '9s'\nby = '%gms'\ncount = 1", ms)), channel: "rudder", from: 9, to: 9.1, count: 1})
		}
		add(fault{kind: decode.SharedLoss, scene: base.with("kind = 'supply-dip'\nat = '9s'\nfor = '60ms'\nrestart = '300ms'"), channel: "rudder", from: 9, to: 9.4, severity: decode.Note, also: []decode.Kind{decode.SignalLoss, decode.StartUp}})
		add(fault{kind: decode.StartUp, scene: base.with("kind = 'late-start'\nat = '0s'\nfor = '2s'"), channel: "rudder", from: 0, to: 2, severity: decode.Note})
		add(fault{kind: decode.Inverted, scene: base.with("kind = 'inverted'\nchannels = ['rudder']\nat = '0s'\nfor = '30s'"), channel: "rudder", from: 0, to: 20})
	}
	for _, rate := range []string{"24MHz", "10MHz"} {
		for _, sigma := range []float64{3.8, 5, 8, 9.5, 12} {
			severity := decode.Warn
			if sigma > 9 {
				severity = decode.Fail
			}
			s := tug
			s.sampling, s.length = rate, "40s"
			s.channels = slices.Clone(s.channels)
			s.channels[1] = fmt.Sprintf("name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\njitter_us = %g\nmoves = [{ at = '10s', width_us = 1700, rate_us_per_s = 300 }, { at = '20s', width_us = 1400, rate_us_per_s = 800 }]", sigma)
			add(fault{kind: decode.WidthJitter, scene: s, channel: "rudder", from: 0, to: 40, severity: severity})
		}
	}
	sweep := tug
	sweep.length = "40s"
	sweep.channels = slices.Clone(tug.channels)
	for _, repeat := range []int{1, 2} {
		sweep.channels = slices.Clone(tug.channels)
		sweep.channels[1] = fmt.Sprintf("name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 0.3\nrepeat_frames = %d\nmoves = [{ at = '3s', sweep_us = 400, every = '8s', for = '30s', shape = 'triangle' }]", repeat)
		for _, n := range []int{3, 5, 8} {
			add(fault{kind: decode.RepeatedWidth, scene: sweep.with(fmt.Sprintf("kind = 'repeated-width'\nchannels = ['rudder']\nat = '12.3s'\ncount = %d", n*repeat)), channel: "rudder", from: 12.2, to: 12.9})
		}
	}
	frozen := tug
	frozen.channels = slices.Clone(tug.channels)
	frozen.channels[1] = "name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 2"
	for _, s := range []string{"1s", "3s"} {
		add(fault{kind: decode.FrozenWidth, scene: frozen.with("kind = 'frozen-width'\nchannels = ['rudder']\nat = '9s'\nfor = '" + s + "'"), channel: "rudder", from: 9, to: 12, severity: decode.Note})
	}
	boot := tug.with("kind = 'boot-noise'\nchannels = ['rudder']\nat = '0s'\nfor = '240ms'")
	add(fault{kind: decode.StartUp, scene: boot, channel: "rudder", from: 0, to: 0.3, severity: decode.Note})
	for _, p := range []struct {
		period   string
		severity decode.Severity
	}{{"20.26ms", decode.Warn}, {"20.9ms", decode.Fail}, {"22ms", decode.Fail}, {"19.2ms", decode.Fail}} {
		s := tug
		s.frames = "period = '" + p.period + "'"
		o := settings{limits: decode.DefaultLimits, stated: decode.Stated{Period: 20 * decode.Millisecond}}
		add(fault{kind: decode.PeriodOutOfRange, scene: s, on: o, channel: "rudder", from: 0, to: 20, severity: p.severity})
	}
	for i, change := range [][3]string{{"20ms", "16ms", "24MHz"}, {"20ms", "20.5ms", "10MHz"}, {"20ms", "9ms", "1MHz"}, {"18ms", "22ms", "4MHz"}, {"22ms", "11ms", "24MHz"}, {"14ms", "14.3ms", "2MHz"}} {
		frames := []string{"period = '" + change[0] + "'", "jitter_us = 1", "changes = [{ at = '9s', period = '" + change[1] + "' }]"}
		s := tug
		s.sampling = change[2]
		s.channels = tug.channels[:2] // three outputs in a row do not fit in 9 ms
		s.frames = strings.Join(frames, "\n")
		add(fault{kind: decode.PeriodChanged, scene: s, channel: "rudder", from: 9, to: 9.1, count: 1})
		s.frames, s.length = tug.frames, fmt.Sprintf("%ds", 16+i)
		s.channels = append(slices.Clone(s.channels), "name = 'lamp'\nkind = 'servo'\nwidth_us = 1300\nframes = { "+strings.Join(frames, ", ")+" }")
		add(fault{kind: decode.PeriodChanged, scene: s, channel: "lamp", from: 9, to: 9.1, count: 1})
	}
	dead := tug
	dead.channels = append(slices.Clone(tug.channels), "name = 'horn'\nkind = 'silent'", "name = 'debug'\nkind = 'serial'\nbit_us = 26.04")
	add(fault{kind: decode.SignalLoss, scene: dead, on: settings{names: []string{"horn"}}, channel: "horn", from: 0, to: 20, severity: decode.Fail})
	add(fault{kind: decode.WrongSignal, scene: dead, on: settings{names: []string{"debug"}}, channel: "debug", from: 0, to: 20, severity: decode.Fail})
	for _, ms := range []string{"1ms", "20ms"} {
		s := tug.with("kind = 'uneven-time'\nat = '9s'\nfor = '" + ms + "'")
		s.sampling = "1MHz"
		add(fault{kind: decode.UnevenTime, scene: s, from: 9, to: 9.1})
	}
	for _, us := range []string{"25", "60"} {
		s := tug
		s.frames = "period = '20ms'\njitter_us = " + us
		o := settings{limits: decode.DefaultLimits}
		o.limits.PeriodJitterWarn = 20
		add(fault{kind: decode.PeriodJitter, scene: s, on: o, channel: "rudder", from: 0, to: 20})
	}
	coarse := tug
	coarse.sampling = "50kHz"
	add(fault{kind: decode.CoarseSampling, scene: coarse, channel: "rudder", from: 0, to: 20, severity: decode.Note})
	brief := tug
	brief.length = "600ms"
	add(fault{kind: decode.FewFrames, scene: brief, channel: "rudder", from: 0, to: 1, severity: decode.Note})
	return all
}

// clean lists captures of healthy gear.
func clean() map[string]scene {
	all := map[string]scene{}
	one := func(channel string) []string { return []string{"name = 'rudder'\nkind = 'servo'\n" + channel} }
	for _, rate := range []string{"24MHz", "10MHz", "4MHz", "1MHz"} {
		put := func(name, frames string, channels ...string) {
			if frames == "" {
				frames = "period = '20ms'\njitter_us = 0.3"
			}
			all[name+" at "+rate] = scene{sampling: rate, length: "20s", frames: frames, channels: channels}
		}
		put("three channels", "", tug.channels...)
		put("steady", "period = '20ms'", one("width_us = 1500")...)
		put("neutral 1520", "", one("width_us = 1520\njitter_us = 0.3")...)
		put("trimmed", "", one("width_us = 1463.7\njitter_us = 0.3")...)
		put("ends 2012", "", one("width_us = 1500\njitter_us = 0.3\nmoves = [{ at = '4s', width_us = 2012, rate_us_per_s = 2000 }, { at = '8s', width_us = 988, rate_us_per_s = 2000 }]")...)
		put("software jitter", "", one("width_us = 1500\njitter_us = 1.8")...)
		put("fast slews", "", one("width_us = 1000\njitter_us = 0.3\nmoves = [{ at = '2s', width_us = 2000, rate_us_per_s = 9000 }, { at = '3s', width_us = 1000, rate_us_per_s = 9000 }, { at = '4s', width_us = 2000 }, { at = '5s', width_us = 1000 }]")...)
		put("flicks", "", one("width_us = 1500\njitter_us = 0.3\nmoves = [{ at = '2s', sweep_us = 450, every = '300ms', for = '6s', shape = 'sine' }, { at = '9s', sweep_us = 450, every = '200ms', for = '5s', shape = 'triangle' }]")...)
		put("expo", "", one("width_us = 1500\njitter_us = 0.3\nmoves = [{ at = '2s', width_us = 1900, rate_us_per_s = 500, shape = 'expo' }, { at = '8s', width_us = 1100, rate_us_per_s = 500, shape = 'smooth' }]")...)
		put("slow sweep", "", one("width_us = 1500\njitter_us = 0.3\nmoves = [{ at = '1s', sweep_us = 400, every = '9s', for = '18s', shape = 'sine' }]")...)
		put("stepped radio", "", one("width_us = 1500\njitter_us = 0.2\nstep_us = 1\nmoves = [{ at = '1s', sweep_us = 400, every = '6s', for = '18s', shape = 'sine' }]")...)
		put("coarse radio", "", one("width_us = 1500\njitter_us = 0.2\nstep_us = 4\nmoves = [{ at = '1s', sweep_us = 400, every = '9s', for = '18s', shape = 'triangle' }]")...)
		put("packets", "", one("width_us = 1500\njitter_us = 0.2\nrepeat_frames = 2\nmoves = [{ at = '1s', sweep_us = 400, every = '6s', for = '18s', shape = 'sine' }]")...)
		flips := "moves = [{ at = '3s', width_us = 2000 }, { at = '6s', width_us = 1000 }, { at = '9s', width_us = 2000 }, { at = '12s', width_us = 1000 }, { at = '15s', width_us = 1500 }]"
		put("a switch before two outputs", "", "name = 'horn'\nkind = 'servo'\nwidth_us = 1000\njitter_us = 0.3\n"+flips, "name = 'rudder'\nkind = 'servo'\nafter = 'horn'\nwidth_us = 1500\njitter_us = 0.3", tug.channels[2])
		put("eight slots and three switches", "", "name = 'sum'\nkind = 'pulse-position'\nframes = { period = '22.5ms', jitter_us = 0.3 }\nmarker_us = 300\nslots_us = [1100, 1500, 1500, 1500, 1200, 1200, 1200, 1200]\nmoves = [{ at = '4s', slot = 1, width_us = 1900, rate_us_per_s = 800 }, { at = '7s', slot = 6, width_us = 2000 }, { at = '9s', slot = 7, width_us = 2000 }, { at = '11s', slot = 8, width_us = 2000 }]")
		put("alternating", "periods = ['18ms', '19ms']", tug.channels...)
		put("sum-timed", "from_widths = ['throttle', 'rudder', 'winch']\nsync = '10ms'", "name = 'throttle'\nkind = 'servo'\nwidth_us = 1400\nmoves = [{ at = '4s', sweep_us = 400, every = '1s', for = '12s', shape = 'sine' }]", tug.channels[1], tug.channels[2])
		for _, p := range []string{"18ms", "19ms", "22ms", "11ms", "7ms", "4ms", "3ms"} {
			put("period "+p, "period = '"+p+"'", one("width_us = 1500\njitter_us = 0.3")...)
		}
		put("narrow 333 Hz", "period = '3ms'", one("width_us = 760\njitter_us = 0.3\nmoves = [{ at = '4s', sweep_us = 200, every = '4s', for = '12s', shape = 'sine' }]")...)
		put("narrow 560 Hz", "period = '1.786ms'", one("width_us = 760\njitter_us = 0.3\nmoves = [{ at = '4s', sweep_us = 150, every = '4s', for = '12s', shape = 'sine' }]")...)
		put("drift", "period = '20ms'\ndrift_ppm = 3000", one("width_us = 1500\njitter_us = 0.3")...)
		put("together", "", "name = 'throttle'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 0.3", "name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 0.3")
		late := scene{sampling: rate, length: "20s", frames: "period = '20ms'", channels: tug.channels}
		all["recorded before switch-on at "+rate] = late.with("kind = 'late-start'\nat = '0s'\nfor = '3s'")
	}
	return all
}

func TestFamilies(t *testing.T) {
	hits, of := map[decode.Kind]int{}, map[decode.Kind]int{}
	var missed []string
	for i, f := range faults() {
		_, j := f.scene.judge(t, i+1, f.on)
		of[f.kind]++
		if found(j, f) {
			hits[f.kind]++
		} else {
			missed = append(missed, fmt.Sprintf("%s not found as it should be (%s, %d, %s):\n%s\n%s", f.kind, f.channel, f.count, f.severity, f.scene.faultText(), told(j)))
		}
	}
	alarms := map[decode.Kind]int{}
	captures := 0
	for _, seed := range []int{1, 2, 3} {
		for name, s := range clean() {
			_, j := s.judge(t, seed, settings{})
			captures++
			for _, x := range j.Findings {
				if x.Severity != decode.Note {
					alarms[x.Kind]++
					missed = append(missed, fmt.Sprintf("false alarm on %q: %s", name, told(j)))
				}
			}
			if j.Outcome != decode.Passed {
				missed = append(missed, fmt.Sprintf("%q does not pass: %s\n%s", name, j.Outcome, told(j)))
			}
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-20s %9s %9s   false alarms in %d clean captures\n", "finding", "captures", "recall", captures)
	for _, k := range sorted(of) {
		fmt.Fprintf(&b, "%-20s %9d %8.1f%% %10d\n", k, of[k], 100*float64(hits[k])/float64(of[k]), alarms[k])
	}
	t.Log(b.String())
	for i, m := range missed {
		if i < 25 {
			t.Error(m)
		}
	}
	assert.Empty(t, missed)
}

func (s scene) faultText() string {
	return s.sampling + " " + strings.ReplaceAll(strings.Join(s.faults, " | "), "\n", ", ") + " " + strings.ReplaceAll(s.frames, "\n", ", ")
}

func told(j *decode.Judgement) string {
	var b strings.Builder
	for i, x := range j.Findings {
		if i < 8 {
			fmt.Fprintf(&b, "    %s %s %v %.3f..%.3f count %d measured %.4g: %s\n", x.Severity, x.Kind, x.Channels, float64(x.Start)/1e12, float64(x.End)/1e12, x.Count, x.Measured, x.Message)
		}
	}
	return b.String()
}

// Jitter is recovered within 10 % wherever it is resolved, with moves between
// the rests.
func TestFamiliesOfJitter(t *testing.T) {
	sigmas := []float64{0, 0.3, 0.5, 1, 2, 5, 10, 20}
	rates := []string{"24MHz", "10MHz", "4MHz", "1MHz"}
	var b strings.Builder
	fmt.Fprintf(&b, "\njitter recovered, corrected for the step, us (- not resolved)\n%8s", "sigma")
	for _, r := range rates {
		fmt.Fprintf(&b, " %8s", r)
	}
	for _, sigma := range sigmas {
		fmt.Fprintf(&b, "\n%8g", sigma)
		for i, rate := range rates {
			s := scene{sampling: rate, length: "90s", frames: "period = '20ms'\njitter_us = 3", channels: []string{
				fmt.Sprintf("name = 'rudder'\nkind = 'servo'\nwidth_us = 1500.3\njitter_us = %g\nmoves = [{ at = '10s', width_us = 1900, rate_us_per_s = 500 }, { at = '30s', width_us = 1203, rate_us_per_s = 150, shape = 'smooth' }, { at = '50s', sweep_us = 200, every = '5s', for = '10s', shape = 'sine' }, { at = '65s', width_us = 1511, rate_us_per_s = 40 }]", sigma)}}
			a, _ := s.judge(t, i+1, settings{})
			j := a.Channels[0].Jitter
			step := a.Resolution
			if !j.Resolved {
				fmt.Fprintf(&b, " %8s", "-")
				assert.Less(t, sigma, 0.75*step, "%g us at %s is not resolved: rms %g", sigma, rate, j.WidthRMS)
				continue
			}
			fmt.Fprintf(&b, " %8.3f", j.WidthRMSCorrected)
			assert.InEpsilon(t, math.Max(sigma, 1e-9), j.WidthRMSCorrected, 0.10, "%g us at %s", sigma, rate)
		}
	}
	t.Log(b.String())
}

// Kinds that follow one another on one wire are told with their times.
func TestFamiliesOfChanges(t *testing.T) {
	servo := "kind = 'servo'\nwidth_us = 1500\nframes = { period = '20ms' }"
	for kind, then := range map[decode.Signal]string{
		decode.Serial:        "kind = 'serial'\nbit_us = 26.04\nburst_bytes = 12\ngap = '5ms'",
		decode.PulsePosition: "kind = 'pulse-position'\nframes = { period = '22.5ms' }\nmarker_us = 300\nslots_us = [1500, 1100, 1900, 1300, 1500, 1500, 1000, 1200]",
	} {
		s := scene{sampling: "24MHz", length: "20s", frames: "period = '20ms'", channels: []string{
			"name = 'probe'\n" + servo + "\n[[channel.then]]\nat = '12s'\n" + then}}
		a, _ := s.judge(t, 1, settings{})
		c := a.Channels[0]
		require.Equal(t, decode.Servo, c.Signal)
		require.Len(t, c.OtherKinds, 1, "%s", kind)
		assert.Equal(t, kind, c.OtherKinds[0].Signal)
		assert.InDelta(t, 12.0, float64(c.OtherKinds[0].Start)/1e12, 1)
		assert.InDelta(t, 20.0, float64(c.OtherKinds[0].End)/1e12, 1)
		assert.InDelta(t, 600, c.FrameCount, 50, "frames before %s", kind)
		assert.EqualValues(t, 1, c.LossCount, "its frames are missing where %s takes their place", kind)
		assert.InDelta(t, 8, float64(c.LostTime)/1e12, 1.1)
	}
}

// Kinds of signal are told apart.
func TestFamiliesOfKinds(t *testing.T) {
	base := "name = 'throttle'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 0.3\nmoves = [{ at = '1s', sweep_us = 300, every = '2s', for = '8s', shape = 'sine' }]"
	cases := map[decode.Signal][]string{
		decode.Silent:    {"kind = 'silent'", "kind = 'silent'\nlevel = 'high'"},
		decode.Irregular: {"kind = 'noise'\nmean_us = 3000\nwidth_us = 900", "kind = 'noise'\nmean_us = 400\nwidth_us = 60"},
	}
	for _, bit := range []float64{104.17, 52.08, 26.04, 17.36, 13.36, 8.68} {
		for _, gap := range []string{"1ms", "20ms", "100ms"} {
			cases[decode.Serial] = append(cases[decode.Serial], fmt.Sprintf("kind = 'serial'\nbit_us = %g\nburst_bytes = 12\ngap = '%s'", bit, gap))
		}
	}
	for n := 4; n <= 16; n++ {
		slots := make([]string, n)
		for i := range slots {
			slots[i] = fmt.Sprint(1000 + (i*370)%1000)
		}
		frame := 2.2*float64(n) + 4.5
		for _, active := range []string{"high", "low"} {
			cases[decode.PulsePosition] = append(cases[decode.PulsePosition], fmt.Sprintf("kind = 'pulse-position'\nactive = '%s'\nframes = { period = '%gms' }\nmarker_us = 300\nslots_us = [%s]\nmoves = [{ at = '4s', slot = 2, width_us = 1800, rate_us_per_s = 400 }]", active, frame, strings.Join(slots, ", ")))
		}
	}
	for _, p := range []string{"20ms", "22ms", "14ms", "4ms", "3ms"} {
		cases[decode.Servo] = append(cases[decode.Servo], "kind = 'servo'\nframes = { period = '"+p+"' }\nwidth_us = 1500\njitter_us = 0.5",
			"kind = 'servo'\nactive = 'low'\nframes = { period = '"+p+"' }\nwidth_us = 1100\njitter_us = 0.5")
	}
	cases[decode.Servo] = append(cases[decode.Servo], "kind = 'servo'\nframes = { period = '1.786ms' }\nwidth_us = 760", "kind = 'servo'\nframes = { period = '3ms' }\nwidth_us = 760")
	for _, p := range []string{"1ms", "500us", "50us", "100ms"} {
		for _, d := range []int{10, 50, 85} {
			cases[decode.Duty] = append(cases[decode.Duty], fmt.Sprintf("kind = 'duty'\nframes = { period = '%s' }\nduty_percent = %d", p, d))
		}
	}
	for _, share := range []float64{0.1, 0.3, 0.45} {
		cases[decode.Echo] = append(cases[decode.Echo], fmt.Sprintf("kind = 'echo'\nof = 'throttle'\nshare = %g", share))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-16s %9s %9s\n", "kind", "captures", "right")
	for _, kind := range sorted(cases) {
		right, n := 0, 0
		for _, rate := range []string{"24MHz", "1MHz"} {
			for i, c := range cases[kind] {
				s := scene{sampling: rate, length: "10s", frames: "period = '20ms'", channels: []string{base, "name = 'probe'\n" + c}}
				a, _ := s.judge(t, i+1, settings{})
				n++
				if got := a.Channels[1].Signal; assert.Equal(t, kind, got, "%s at %s", strings.ReplaceAll(c, "\n", ", "), rate) {
					right++
				}
			}
		}
		fmt.Fprintf(&b, "%-16s %9d %9d\n", kind, n, right)
	}
	t.Log(b.String())
}

func sorted[K ~string, V any](m map[K]V) []K {
	var keys []K
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// Eight slots of 2.2 ms in 20 ms leave a sync of 2.4 ms, which no threshold
// tells from a slot: it is known by moving against the others, or said to be
// ambiguous.
func TestSyncLikeASlot(t *testing.T) {
	s := scene{sampling: "24MHz", length: "20s", channels: []string{
		"name = 'sum'\nkind = 'pulse-position'\nframes = { period = '20ms' }\nmarker_us = 300\nslots_us = [2200, 2200, 2200, 2200, 2200, 2200, 2200, 2200]"}}
	ambiguous := func(a *decode.Analysis) bool {
		return slices.ContainsFunc(a.Notes, func(n decode.Remark) bool { return n.Kind == decode.SyncAmbiguous })
	}
	still, _ := s.judge(t, 1, settings{})
	require.Equal(t, decode.PulsePosition, still.Channels[0].Signal)
	require.Len(t, still.Channels[0].Slots, 8)
	assert.True(t, ambiguous(still))

	s.channels[0] += "\nmoves = [{ at = '12s', slot = 3, width_us = 2290, rate_us_per_s = 40 }, { at = '13s', slot = 6, width_us = 2120, rate_us_per_s = 30 }]"
	moved, _ := s.judge(t, 1, settings{})
	assert.False(t, ambiguous(moved))
	require.Len(t, moved.Channels[0].Slots, 8)
	for i, slot := range moved.Channels[0].Slots {
		assert.Equal(t, i == 2 || i == 5, slot.Width.Max-slot.Width.Min > 50*decode.Microsecond, slot.Name)
	}
}
