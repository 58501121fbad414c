package diagnose_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/formats"
)

// Families of captures whose cause is known. The scenes are invented: a harbour
// tug whose radio was just replaced. Run with -v they print the fourth table of
// DEVELOPERS.md: for each cause how many captures, how often it was told, what
// else was told wrongly, and false alarms on captures of healthy gear.

var tugChannels = []string{"throttle", "rudder", "winch", "horn", "lamp", "pump", "bow_thruster", "tow_hook"}

// scene is the text of a scenario in the making.
type scene struct {
	sampling string
	seconds  float64
	frames   string
	channels []string
	faults   []string
	named    []string // channels that the user asks for
	stated   decode.Stated
	want     []happening
}

// happening is one thing that goes wrong and what may be told of it.
type happening struct {
	cause    string   // one of several parted by a bar
	channels []string // nil: any
	at, till float64
}

// tug returns a scene with n channels that have their pulses together, at fixed
// offsets, or one after another.
func tug(n int, order string, seconds float64) scene {
	s := scene{sampling: "24MHz", seconds: seconds, frames: "period = '20ms'\njitter_us = 0.3"}
	for i, name := range tugChannels[:n] {
		text := fmt.Sprintf("name = '%s'\nkind = 'servo'\nwidth_us = %d\njitter_us = 0.4", name, 1200+90*i)
		switch {
		case order == "chain" && i > 0:
			text += "\nafter = '" + tugChannels[i-1] + "'"
		case order == "offsets":
			text += fmt.Sprintf("\noffset = '%dus'", 2300*i)
		}
		s.channels = append(s.channels, text)
	}
	return s
}

func (s scene) names() []string { return tugChannels[:len(s.channels)] }

// with adds a fault and what it is.
func (s scene) with(h happening, fault string) scene {
	s.faults = append(slices.Clone(s.faults), fault)
	s.want = append(slices.Clone(s.want), h)
	return s
}

func (s scene) text(seed int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "scenario = 'family'\nseed = %d\nlength = '%gs'\nsampling = '%s'\n[frames]\n%s\n", seed, s.seconds, s.sampling, s.frames)
	for _, c := range s.channels {
		fmt.Fprintf(&b, "[[channel]]\n%s\n", c)
	}
	for _, f := range s.faults {
		fmt.Fprintf(&b, "[[fault]]\n%s\n", f)
	}
	return b.String()
}

func (s scene) explain(t *testing.T, seed int) []diagnose.Event {
	t.Helper()
	r, err := formats.NewReader(strings.NewReader(s.text(seed)), "family", formats.Options{Also: s.named})
	require.NoError(t, err, s.text(seed))
	defer r.Close()
	rec, err := decode.Decode(context.Background(), r, decode.Settings{Stated: decode.PerChannel[decode.Stated]{Default: s.stated}})
	require.NoError(t, err)
	a := rec.Analyse()
	j := a.Judge(decode.PerChannel[decode.Limits]{Default: decode.DefaultLimits})
	events := diagnose.Explain(a, j)
	complete(t, j, events)
	return events
}

// on says whether the event is told of the right channels. What stray pulses of one
// receiver's lines show is its timing: one event, whose channels are all of theirs.
func (h happening) on(e diagnose.Event) bool {
	if h.cause == "software-timing" {
		return !slices.ContainsFunc(h.channels, func(c string) bool { return !slices.Contains(e.Channels, c) })
	}
	return h.channels == nil || slices.Equal(h.channels, e.Channels)
}

func (h happening) is(e diagnose.Event) bool {
	if !slices.Contains(strings.Split(h.cause, "|"), e.Cause) || !h.on(e) {
		return false
	}
	return slices.ContainsFunc(e.Times, func(x [2]decode.Time) bool {
		return float64(x[0])/1e12 <= h.till+0.2 && float64(x[1])/1e12 >= h.at-0.2
	})
}

// score compares events with what happened: how much of it was told, and what
// was told that did not happen.
func (s scene) score(events []diagnose.Event) (missed []happening, wrong []diagnose.Event) {
	for _, h := range s.want {
		if !slices.ContainsFunc(events, h.is) {
			missed = append(missed, h)
		}
	}
	for _, e := range events {
		if !slices.ContainsFunc(s.want, func(h happening) bool { return h.is(e) }) {
			wrong = append(wrong, e)
		}
	}
	return missed, wrong
}

// oneFault lists captures with one cause each.
func oneFault() (all []scene) {
	for _, order := range []string{"together", "chain", "offsets"} {
		for _, n := range []int{2, 3, 5} {
			s := tug(n, order, 16)
			if n == 5 {
				s.frames = "period = '22ms'"
			}
			all = append(all, s.onAll()...)
			all = append(all, s.onOne()...)
		}
	}
	return append(append(append(all, covered()...), alone()...), conditions()...)
}

// onAll lists faults of a receiver as a whole.
func (s scene) onAll() (all []scene) {
	every := s.names()
	add := func(cause string, till float64, fault string, args ...any) {
		all = append(all, s.with(happening{cause, every, 8, till}, fmt.Sprintf(fault, args...)))
	}
	for _, ms := range []int{60, 150, 400} {
		add("supply", 9, "kind = 'supply-dip'\nat = '8s'\nfor = '%dms'\nrestart = '305ms'", ms)
	}
	for _, frames := range []int{1, 2, 3} {
		add("link", 13, "kind = 'dropped-frame'\nat = '8s'\ncount = %d\nrepeat = '1.7s'\ntimes = 4", frames)
	}
	for _, ms := range []int{140, 300, 900} {
		add("supply-or-link", 9, "kind = 'signal-loss'\nat = '8s'\nfor = '%dms'\nthen = 'silence'", ms)
	}
	for _, seconds := range []int{8, 5} {
		till := float64(s.seconds)
		all = append(all, s.with(happening{"switched-off", every, till - float64(seconds), till}, fmt.Sprintf("kind = 'signal-loss'\nat = '%gs'\nfor = '20s'\nthen = 'silence'", till-float64(seconds))))
	}
	for _, change := range []string{"{ at = '8s', period = '16ms' }", "{ at = '8s', period = '20.5ms' }", "{ at = '8s', period = '25ms' }, { at = '13s', period = '20ms' }"} {
		changed := s
		changed.want = []happening{{"rate-change", every, 8, 14}}
		changed.frames = "period = '20ms'\nchanges = [" + change + "]"
		all = append(all, changed)
	}
	half := s.with(happening{"half-rate", every, 8, 10}, "kind = 'dropped-frame'\nat = '8s'\ncount = 40\nevery_frames = 2\ntogether = true")
	all = append(all, half)
	late := s.with(happening{"software-timing", nil, 8, 13}, "kind = 'late-frame'\nat = '8s'\nby = '2.5ms'\ncount = 1\nrepeat = '1.3s'\ntimes = 4")
	all = append(all, late)
	uneven := s.with(happening{"recorder", nil, 8, 8.2}, "kind = 'uneven-time'\nat = '8s'\nfor = '30ms'")
	uneven.sampling = "1MHz"
	all = append(all, uneven)
	noise := s.with(happening{"noise", nil, 8, 11}, fmt.Sprintf("kind = 'crosstalk'\nfrom = 'spare'\nwidth_us = 12\nchance = 0.6\nat = '8s'\nfor = '3s'\nchannels = ['%s']", strings.Join(every, "', '")))
	noise.channels = append(slices.Clone(s.channels), "name = 'spare'\nkind = 'noise'\nmean_us = 9000\nwidth_us = 30")
	open := s.with(happening{"noise", every[:1], 8, 11}, "kind = 'crosstalk'\nfrom = 'spare'\nwidth_us = 12\nchance = 0.6\nat = '8s'\nfor = '3s'\nchannels = ['throttle']")
	open.channels = noise.channels
	return append(all, noise, open)
}

// onOne lists faults of one channel.
func (s scene) onOne() (all []scene) {
	one := []string{s.names()[len(s.names())-1]}
	add := func(cause string, till float64, fault string, args ...any) {
		all = append(all, s.with(happening{cause, one, 8, till}, fmt.Sprintf(fault, args...)+"\nchannels = ['"+one[0]+"']"))
	}
	add("wire", 14, "kind = 'dropped-frame'\nat = '8s'\ncount = 1\nrepeat = '1.3s'\ntimes = 5")
	add("wire", 10, "kind = 'signal-loss'\nat = '8s'\nfor = '700ms'\nthen = 'silence'")
	add("wire", 16, "kind = 'signal-loss'\nat = '8s'\nfor = '30s'\nthen = 'silence'")
	add("wire", 11, "kind = 'loose-wire'\nat = '8s'\nfor = '3s'\nclosed = '90ms'\nopen = '5ms'")
	add("wire", 9, "kind = 'break'\nat = '8s'\noffset_us = 500\nwidth_us = 60\ncount = 4")
	add("noise", 9, "kind = 'glitch'\nat = '8s'\noffset_us = 13500\nscatter_us = 900\nwidth_us = 60\ncount = 4")
	add("half-rate", 10, "kind = 'dropped-frame'\nat = '8s'\ncount = 40\nevery_frames = 2")
	add("software-timing", 13, "kind = 'width-spike'\nat = '8s'\nby_us = 140\nrepeat = '1.3s'\ntimes = 4\ncount = 1")
	add("software-timing", 9, "kind = 'width-out-of-range'\nat = '8s'\nwidth_us = 2150\ncount = 1")
	add("two-sources", 13, "kind = 'extra-pulse'\nat = '8s'\noffset_us = 13600\nwidth_us = 1400\ncount = 1\nrepeat = '1.3s'\ntimes = 4")
	for _, ms := range []int{9, 500, 30000} {
		add("stuck-line", 16, "kind = 'stuck-level'\nat = '8s'\nfor = '%dms'\nlevel = 'high'", ms)
	}
	cross := s.with(happening{"crosstalk", one, 0, 16}, fmt.Sprintf("kind = 'crosstalk'\nfrom = 'beacon'\nwidth_us = 12\nchance = 0.3\nchannels = ['%s']", one[0]))
	cross.channels = append(slices.Clone(s.channels), "name = 'beacon'\nkind = 'servo'\nwidth_us = 1300\nframes = { period = '17.3ms' }")
	drive := s.with(happening{"crosstalk", one, 0, 16}, fmt.Sprintf("kind = 'crosstalk'\nfrom = 'drive'\nwidth_us = 12\nchance = 0.1\nchannels = ['%s']", one[0]))
	drive.channels = append(slices.Clone(s.channels), "name = 'drive'\nkind = 'duty'\nframes = { period = '4ms' }\nduty_percent = 40")
	return append(all, cross, drive)
}

// moving is the tug with its sticks in motion, each at a pace of its own.
func moving(n int) scene {
	s := tug(n, "together", 24)
	for i := range s.channels {
		s.channels[i] += fmt.Sprintf("\nmoves = [{ at = '1s', sweep_us = %d, every = '%gs', for = '22s', shape = 'sine' }]", 250+20*i, 2.2+0.6*float64(i))
	}
	return s
}

// covered lists lost links that the receiver covers, on all channels or with one
// of them silent.
func covered() (all []scene) {
	for _, n := range []int{2, 3, 5} {
		for _, long := range []string{"300ms", "1s", "4s"} {
			s := moving(n)
			lost := happening{"link", s.names(), 8.4, 12.5}
			all = append(all, s.with(lost, "kind = 'signal-loss'\nat = '8.4s'\nfor = '"+long+"'\nthen = 'hold'"))
			if n > 2 {
				rest := "['" + strings.Join(s.names()[1:], "', '") + "']"
				stops := s.with(lost, "kind = 'signal-loss'\nchannels = "+rest+"\nat = '8.4s'\nfor = '"+long+"'\nthen = 'hold'")
				stops.faults = append(stops.faults, "kind = 'signal-loss'\nchannels = ['throttle']\nat = '8.4s'\nfor = '"+long+"'\nthen = 'silence'")
				all = append(all, stops)
			}
		}
	}
	return all
}

// alone lists faults of the only channel recorded.
func alone() (all []scene) {
	s := tug(1, "together", 16)
	for _, fault := range []string{
		"kind = 'dropped-frame'\nat = '8s'\ncount = 1\nrepeat = '1.3s'\ntimes = 5",
		"kind = 'signal-loss'\nat = '8s'\nfor = '700ms'\nthen = 'silence'",
		"kind = 'glitch'\nat = '8s'\noffset_us = 13500\nscatter_us = 900\nwidth_us = 60\ncount = 4",
		"kind = 'break'\nat = '8s'\noffset_us = 500\nwidth_us = 60\ncount = 4",
	} {
		all = append(all, s.with(happening{"one-channel", s.names(), 8, 14}, fault))
	}
	return all
}

// conditions lists what lasts the whole capture.
func conditions() (all []scene) {
	put := func(i int, text string) scene {
		s := tug(3, "together", 16)
		s.channels[i] = text
		return s
	}
	sure := func(s scene, cause, channel string) {
		s.want = []happening{{cause, []string{channel}, 0, s.seconds}}
		all = append(all, s)
	}
	for _, us := range []float64{5, 9, 14} {
		sure(put(1, fmt.Sprintf("name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\njitter_us = %g", us)), "software-timing", "rudder")
	}
	held := put(1, "name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 0.4\nmoves = [{ at = '5s', width_us = 1800, rate_us_per_s = 900 }, { at = '13s', width_us = 1500, rate_us_per_s = 900 }]")
	for _, us := range []int{7, 12} {
		s := held.with(happening{"hand", []string{"rudder"}, 0, 16}, fmt.Sprintf("kind = 'jitter-burst'\nat = '6s'\nfor = '6.5s'\nsigma_us = %d\nchannels = ['rudder']", us))
		all = append(all, s)
	}
	sure(put(1, "name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\nactive = 'low'"), "inverter", "rudder")
	for _, us := range []int{2150, 2290, 860, 740} {
		sure(put(1, fmt.Sprintf("name = 'rudder'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 0.4\nmoves = [{ at = '4s', width_us = %d, rate_us_per_s = 900 }, { at = '8s', width_us = 1500, rate_us_per_s = 900 }]", us)), "end-points", "rudder")
	}
	for cause, text := range map[string]string{
		"not-connected": "name = 'rudder'\nkind = 'silent'", "power-pin": "name = 'rudder'\nkind = 'silent'\nlevel = 'high'",
		"other-signal": "name = 'rudder'\nkind = 'serial'\nbit_us = 26.04",
	} {
		s := put(1, text)
		s.named = []string{"rudder"}
		sure(s, cause, "rudder")
	}
	for _, ms := range []string{"20.5", "22", "18"} {
		s := tug(3, "together", 16)
		s.frames, s.stated = "period = '"+ms+"ms'", decode.Stated{Period: 20 * decode.Millisecond}
		s.want = []happening{{"period-setting", s.names(), 0, 16}}
		all = append(all, s)
	}
	sweep := tug(3, "together", 30)
	for i, name := range sweep.names() {
		sweep.channels[i] = fmt.Sprintf("name = '%s'\nkind = 'servo'\nwidth_us = 1500\njitter_us = 0.3\nmoves = [{ at = '1s', sweep_us = 400, every = '%ds', for = '28s', shape = 'triangle' }]", name, 7+i)
		sweep.faults = append(sweep.faults, fmt.Sprintf("kind = 'repeated-width'\nchannels = ['%s']\nat = '%ds'\ncount = 7\nrepeat = '5.5s'\ntimes = 4", name, 5+i))
	}
	sweep.want = []happening{{"packets", sweep.names(), 5, 30}}
	return append(all, sweep)
}

// healthy lists captures in which nothing is wrong.
func healthy() (all []scene) {
	for _, order := range []string{"together", "chain", "offsets"} {
		for _, n := range []int{1, 2, 4, 6} {
			for _, frames := range []string{"period = '20ms'\njitter_us = 0.3", "period = '22ms'", "periods = ['18ms', '19ms']", "period = '20ms'\ndrift_ppm = 2000"} {
				s := tug(n, order, 16)
				s.frames = frames
				s.channels[n-1] += "\nmoves = [{ at = '3s', sweep_us = 300, every = '4s', for = '12s', shape = 'sine' }]"
				all = append(all, s)
			}
		}
	}
	return all
}

// One fault in a capture: its cause is told, and nothing else is.
func TestFamiliesOfCauses(t *testing.T) {
	type row struct{ captures, hit, wrong, alarms int }
	rows := map[string]*row{}
	of := func(cause string) *row {
		if rows[cause] == nil {
			rows[cause] = &row{}
		}
		return rows[cause]
	}
	var failures []string
	for i, s := range oneFault() {
		events := s.explain(t, i+1)
		missed, wrong := s.score(events)
		r := of(s.want[0].cause)
		r.captures++
		if len(missed) == 0 {
			r.hit++
		}
		for _, e := range wrong {
			of(e.Cause).wrong++
		}
		if len(missed)+len(wrong) > 0 {
			failures = append(failures, fmt.Sprintf("%s: missed %v; told %s", strings.ReplaceAll(strings.Join(append(slices.Clone(s.faults), s.channels[:2]...), " | "), "\n", ", "), missed, short(events)))
		}
	}
	clean := healthy()
	for i, s := range clean {
		for _, e := range s.explain(t, i+1) {
			of(e.Cause).alarms++
			failures = append(failures, fmt.Sprintf("healthy: %s %s", strings.ReplaceAll(s.frames, "\n", ", "), short([]diagnose.Event{e})))
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-16s %9s %6s %6s   false alarms in %d healthy captures\n", "cause", "captures", "told", "wrong", len(clean))
	var causes []string
	for c := range rows {
		causes = append(causes, c)
	}
	slices.Sort(causes)
	for _, c := range causes {
		fmt.Fprintf(&b, "%-16s %9d %6d %6d %6d\n", c, rows[c].captures, rows[c].hit, rows[c].wrong, rows[c].alarms)
	}
	t.Log(b.String())
	assert.Empty(t, failures)
}

// mixed draws a capture of two to eight channels with three to six faults one to
// three seconds apart.
func mixed(rng *rand.Rand) scene {
	n := 2 + rng.IntN(7)
	s := tug(n, []string{"together", "chain", "offsets"}[rng.IntN(3)], 30)
	every := s.names()
	s.frames = []string{"period = '20ms'\njitter_us = 0.3", "period = '22ms'", "period = '21ms'\njitter_us = 0.2"}[rng.IntN(3)]
	for at := 2 + rng.Float64(); at < 26 && len(s.want) < 6; at += 1 + 2*rng.Float64() {
		name := every[rng.IntN(n)]
		one := []string{name}
		on := fmt.Sprintf("\nat = '%.3fs'\nchannels = ['%s']", at, name)
		all := fmt.Sprintf("\nat = '%.3fs'", at)
		draw := []func(){
			func() {
				s = s.with(happening{"wire", one, at, at + 0.2}, fmt.Sprintf("kind = 'dropped-frame'\ncount = %d", 1+rng.IntN(4))+on)
			},
			func() {
				s = s.with(happening{"wire", one, at, at + 0.9}, fmt.Sprintf("kind = 'signal-loss'\nfor = '%dms'\nthen = 'silence'", 200+rng.IntN(600))+on)
			},
			func() {
				s = s.with(happening{"wire", one, at, at + 0.2}, "kind = 'break'\noffset_us = 450\nwidth_us = 70\ncount = 3"+on)
			},
			func() {
				s = s.with(happening{"noise", one, at, at + 0.2}, "kind = 'glitch'\noffset_us = 18200\nscatter_us = 700\nwidth_us = 60\ncount = 3"+on)
			},
			func() {
				s = s.with(happening{"software-timing", one, at, at + 0.2}, "kind = 'width-spike'\nby_us = 150\ncount = 1"+on)
			},
			func() {
				s = s.with(happening{"two-sources", one, at, at + 0.2}, "kind = 'extra-pulse'\noffset_us = 17400\nwidth_us = 1100\ncount = 1"+on)
			},
			func() {
				s = s.with(happening{"stuck-line", one, at, at + 0.8}, fmt.Sprintf("kind = 'stuck-level'\nfor = '%dms'\nlevel = 'high'", 30+rng.IntN(400))+on)
			},
			func() {
				s = s.with(happening{"link", every, at, at + 0.2}, fmt.Sprintf("kind = 'dropped-frame'\ntogether = true\ncount = %d", 1+rng.IntN(3))+all)
			},
			func() {
				s = s.with(happening{"supply-or-link", every, at, at + 0.9}, fmt.Sprintf("kind = 'signal-loss'\nfor = '%dms'\nthen = 'silence'", 180+rng.IntN(600))+all)
			},
			func() {
				// by chance the beat after a restart is the old one: then nothing marks it
				s = s.with(happening{"supply|supply-or-link", every, at, at + 0.9}, fmt.Sprintf("kind = 'supply-dip'\nfor = '%dms'\nrestart = '307ms'", 60+rng.IntN(300))+all)
			},
		}
		draw[rng.IntN(len(draw))]()
	}
	s.amidRestarts()
	return s
}

// amidRestarts lets a silence without marks amid three restarts be one more of them.
func (s scene) amidRestarts() {
	const either = "supply|supply-or-link"
	restarts := 0
	for _, h := range s.want {
		if h.cause == either {
			restarts++
		}
	}
	for i, h := range s.want {
		if h.cause == "supply-or-link" && restarts >= 3 {
			s.want[i].cause = either
		}
	}
}

// Several faults near one another: each is told by its own cause, and none by a
// wrong one.
func TestMixedFaults(t *testing.T) {
	const captures = 500
	var failures []string
	told, happened, wrongs := 0, 0, 0
	for i := range captures {
		s := mixed(rand.New(rand.NewPCG(uint64(i), 7)))
		events := s.explain(t, i+1)
		missed, wrong := s.score(events)
		told += len(s.want) - len(missed)
		happened += len(s.want)
		wrongs += len(wrong)
		if len(missed)+len(wrong) > 0 {
			failures = append(failures, fmt.Sprintf("%d: %d channels, %v\n missed %v\n wrong %s", i, len(s.channels), s.want, missed, short(wrong)))
		}
	}
	t.Logf("%d captures: %d of %d faults told, %d wrong causes", captures, told, happened, wrongs)
	for i, f := range failures {
		if i < 12 {
			t.Error(f)
		}
	}
	assert.Empty(t, failures)
}

// Channels that lose frames each by a chance of its own now and then do so at the
// same time: that is no lost link.
func TestChanceIsNoLink(t *testing.T) {
	for i, chance := range []float64{0.01, 0.03, 0.1, 0.2} {
		for _, n := range []int{2, 3, 6} {
			s := tug(n, "offsets", 30)
			s.faults = []string{fmt.Sprintf("kind = 'dropped-frame'\nchance = %g", chance)}
			for _, e := range s.explain(t, 10*i+n) {
				assert.Equal(t, "wire", e.Cause, "%d channels, chance %g: %s", n, chance, e.Story)
				assert.Len(t, e.Channels, 1)
			}
		}
	}
}
