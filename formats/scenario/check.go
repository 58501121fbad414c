package scenario

import (
	"fmt"
	"math"
	"reflect"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/formats/internal/exact"
	"widthwise/formats/tomlfile"
)

// carriedKeys are the keys that each kind of signal takes besides kind and
// active.
var carriedKeys = map[string]string{
	"servo":          "frames offset after width_us moves step_us value_jitter_us jitter_us repeat_frames hand failsafe",
	"duty":           "frames offset duty_percent jitter_us",
	"pulse-position": "frames offset marker_us slots_us moves step_us value_jitter_us jitter_us repeat_frames hand failsafe",
	"serial":         "bit_us text burst_bytes gap",
	"echo":           "of share",
	"noise":          "mean_us width_us",
	"silent":         "level",
	"mark":           "level offset bounce",
}

// shortest is the least time between two things a wire may do over and over,
// so that no scenario runs away.
const shortest = 50 * decode.Microsecond

// longestPause bounds the mean of times drawn by chance.
const longestPause = 3600 * decode.Second

// check returns the first thing that makes no sense.
func (s *Scenario) check() *problem {
	if p := s.checkCapture(); p != nil {
		return p
	}
	for i := range s.Channels {
		if p := s.checkWire(i); p != nil {
			return p
		}
	}
	for i := range s.Faults {
		if p := s.checkFault(i); p != nil {
			return p
		}
	}
	return nil
}

func (s *Scenario) checkCapture() *problem {
	if p := finite(reflect.ValueOf(*s), ""); p != nil {
		return p
	}
	switch {
	case s.Title == "":
		return &problem{"scenario", "is missing", "name the scenario: scenario = \"...\""}
	case s.Length <= 0:
		return &problem{"length", "must be above zero", `write length = "60s"`}
	case len(s.Channels) == 0:
		return &problem{"channel", "is missing", "begin a channel with [[channel]]"}
	case len(s.Channels) > 1000:
		return &problem{"channel", "stands more than 1000 times", "use fewer channels"}
	case len(s.Channels)*len(s.Faults) > 100_000:
		return &problem{"fault", "stands too often for so many channels", "use repeat and chance for faults that recur"}
	}
	rate, phase, err := s.sampling()
	switch {
	case err != nil:
		return &problem{"sampling", err.Error(), `write a rate such as "24MHz", or "exact"`}
	case rate.Num == 0 && s.SamplingPhase != "":
		return &problem{"sampling_phase", "says nothing of an exact capture", "state sampling, or leave it out"}
	case phase < 0:
		return &problem{"sampling_phase", fmt.Sprintf("%q is no time within one sample", exact.Shorten(s.SamplingPhase)), `write "random" or a time such as "10ns"`}
	}
	if p := s.checkTransmitter(); p != nil {
		return p
	}
	return s.Frames.check("frames", s)
}

// rule is a line in a table of what may be wrong with a key.
type rule struct {
	broken         bool
	key, text, fix string
}

// firstBroken tells of the first rule that is broken; nil where none is.
func firstBroken(path string, rules []rule) *problem {
	for _, r := range rules {
		if r.broken {
			return &problem{path + "." + r.key, r.text, r.fix}
		}
	}
	return nil
}

func (f *Frames) check(path string, s *Scenario) *problem {
	if p := finite(reflect.ValueOf(*f), path); p != nil {
		return p
	}
	for _, d := range append([]tomlfile.Duration{f.Period}, f.Periods...) {
		if d != 0 && decode.Time(d) < shortest {
			return &problem{path + ".period", "is under 50 us", "frames that fast are no frames"}
		}
	}
	if p := firstBroken(path, f.rules()); p != nil {
		return p
	}
	for i, name := range f.FromWidths {
		if j := s.channel(name); j < 0 || !isFramed(s.Channels[j].Kind) {
			return &problem{fmt.Sprintf("%s.from_widths[%d]", path, i), fmt.Sprintf("names %q, which is no servo or pulse-position channel", exact.Shorten(name)), ""}
		}
	}
	return f.checkChanges(path)
}

func (f *Frames) rules() []rule {
	periods, timed := len(f.Periods) > 0, len(f.FromWidths) > 0
	return []rule{
		{periods && f.Period != 0, "periods", "stands beside period", "state one of them"},
		{timed && (periods || f.Period != 0), "from_widths", "stands beside a period", "state one of them"},
		{timed && decode.Time(f.Sync) < shortest, "from_widths", "needs a sync time of at least 50 us", `write sync = "4ms"`},
		{!timed && f.Sync != 0, "sync", "goes with from_widths", "state from_widths, or leave it out"},
		{timed && len(f.Changes) > 0, "changes", "does not go with from_widths", "leave one of them out"},
		{f.First < 0, "first", "is before the start", ""},
		{!within(f.JitterUs, 0, 1e4), "jitter_us", "must lie in 0..10000", ""},
		{!within(f.DriftPPM, -1e5, 1e5), "drift_ppm", "is beyond 100000", ""},
	}
}

func (f *Frames) checkChanges(path string) *problem {
	before := tomlfile.Duration(0)
	for i, c := range f.Changes {
		if decode.Time(c.Period) < shortest || c.At <= before {
			return &problem{fmt.Sprintf("%s.changes[%d]", path, i), "needs a time after the one before, and a period of at least 50 us", `write { at = "30s", period = "18ms" }`}
		}
		before = c.At
	}
	return nil
}

func isFramed(kind string) bool { return oneOf(kind, "servo", "pulse-position", "duty") }

// framedChannel tells whether any part of the wire has frames.
func framedChannel(w *Channel) bool {
	return isFramed(w.Kind) || slices.ContainsFunc(w.Then, func(p Part) bool { return isFramed(p.Kind) })
}

func (s *Scenario) checkWire(i int) *problem {
	w, path := &s.Channels[i], fmt.Sprintf("channel[%d]", i)
	switch {
	case w.Name == "":
		return &problem{path + ".name", "is missing", `write name = "rudder"`}
	case w.Name != strings.TrimSpace(w.Name):
		return &problem{path + ".name", "begins or ends with a space", "leave it out"}
	case s.channel(w.Name) != i:
		return &problem{path + ".name", fmt.Sprintf("%q names two channels", exact.Shorten(w.Name)), "names must differ"}
	}
	if p := s.checkCarried(&w.Carried, path, w.Name); p != nil {
		return p
	}
	before := tomlfile.Duration(0)
	for j := range w.Then {
		part := fmt.Sprintf("%s.then[%d]", path, j)
		if w.Then[j].At <= before {
			return &problem{part + ".at", "must be later than the part before it", ""}
		}
		before = w.Then[j].At
		if p := s.checkCarried(&w.Then[j].Carried, part, w.Name); p != nil {
			return p
		}
	}
	return nil
}

func (s *Scenario) checkCarried(c *Carried, path, channel string) *problem {
	keys, ok := carriedKeys[c.Kind]
	if !ok {
		return &problem{path + ".kind", fmt.Sprintf("%q is unknown or missing", exact.Shorten(c.Kind)), "write one of " + names(carriedKeys)}
	}
	if p := onlyKeys(reflect.ValueOf(*c), path, "a "+c.Kind+" channel", keys+" kind active", ""); p != nil {
		return p
	}
	if p := finite(reflect.ValueOf(*c), path); p != nil {
		return p
	}
	for _, level := range []struct{ key, is string }{{"active", c.Active}, {"level", c.Level}} {
		if !oneOf(level.is, "", "high", "low") {
			return &problem{path + "." + level.key, fmt.Sprintf("is %q", exact.Shorten(level.is)), `write "high" or "low"`}
		}
	}
	if isFramed(c.Kind) {
		return s.checkFramed(c, path, channel)
	}
	return firstBroken(path, []rule{
		{c.Kind == "serial" && !within(c.BitUs, 0.05, 1e5), "bit_us", "must lie in 0.05..100000", ""},
		{c.BurstBytes < 0 || !lasts(c.Gap, longestPause), "burst_bytes", "and gap must not be below zero, nor gap above 1 h", ""},
		{c.Kind == "mark" && s.Transmitter == nil, "kind", "marks a transmitter that nobody switches", `write [transmitter] with off = "12s"`},
		{!lasts(c.Offset, decode.Second) || !lasts(c.Bounce, decode.Second), "bounce", "and offset must lie in 0..1 s", ""},
		{c.Kind == "noise" && !(within(c.MeanUs, 0.05, 1e7) && within(c.WidthUs, 0, 1e6)), "mean_us", "must lie in 0.05..10000000, and width_us in 0..1000000", ""},
		{c.Kind == "echo" && !s.echoed(c.Of, channel), "of", fmt.Sprintf("names %q, which is no other channel with a signal of its own", exact.Shorten(c.Of)), ""},
		{!within(c.Share, 0, 1), "share", "must lie in 0..1", ""},
	})
}

// lasts tells whether a duration is one of at most so long.
func lasts(d tomlfile.Duration, most decode.Time) bool { return d >= 0 && decode.Time(d) <= most }

// echoed tells whether a channel can be what another one echoes.
func (s *Scenario) echoed(of, by string) bool {
	i := s.channel(of)
	return i >= 0 && of != by && !s.Channels[i].echoes()
}

// echoes tells whether any part of the wire is an echo.
func (w *Channel) echoes() bool {
	return w.Kind == "echo" || slices.ContainsFunc(w.Then, func(p Part) bool { return p.Kind == "echo" })
}

func (s *Scenario) checkFramed(c *Carried, path, channel string) *problem {
	f, _ := s.frames(c, channel)
	if c.Frames != nil {
		if p := f.check(path+".frames", s); p != nil {
			return p
		}
	}
	for _, p := range []*problem{c.Hand.wrong(path), c.Failsafe.wrong(path)} {
		if p != nil {
			return p
		}
	}
	period := f.least()
	if p := firstBroken(path, c.framedRules(f, period)); p != nil {
		return p
	}
	switch used := c.widest(path); {
	case used.text != "":
		return &used.problem
	case len(f.FromWidths) == 0 && used.width >= period:
		return &problem{used.path, fmt.Sprintf("takes %s us of a frame of %s us", used.width.Micros(1), period.Micros(1)), "shorten it, or lengthen the period"}
	}
	return s.checkAfter(c, path, channel)
}

func (c *Carried) framedRules(f *Frames, period decode.Time) []rule {
	duty, stream, slots := c.Kind == "duty", c.Kind == "pulse-position", len(c.SlotsUs)
	return []rule{
		{period == 0, "frames", "has no period, and neither has the capture", `write [frames] with period = "22ms"`},
		{c.Kind == "servo" && c.WidthUs == 0, "width_us", "is missing", "write width_us = 1500"},
		{duty && !(c.DutyPercent > 0 && c.DutyPercent < 100), "duty_percent", "must lie between 0 and 100", "write duty_percent = 25"},
		{duty && len(f.FromWidths) > 0, "frames", "must have a period for a duty channel", ""},
		{stream && (slots == 0 || slots > 32), "slots_us", "must have 1 to 32 widths", "write slots_us = [1500, 1500, 1000, 1500]"},
		{stream && !within(c.MarkerUs, 1, 1e4), "marker_us", "must lie in 1..10000", "write marker_us = 300"},
		{c.StepUs != 0 && !within(c.StepUs, 0.001, 1e4), "step_us", "must lie in 0.001..10000", ""},
		{!within(c.ValueJitterUs, 0, 1e4) || !within(c.JitterUs, 0, 1e4), "jitter_us", "and the like must lie in 0..10000", ""},
		{c.RepeatFrames < 0, "repeat_frames", "must not be below zero", ""},
		{!lasts(c.Offset, decode.Second), "offset", "must lie in 0..1 s", ""},
	}
}

// least is the shortest frame period, 0 where none is stated.
func (f *Frames) least() decode.Time {
	if len(f.FromWidths) > 0 {
		return decode.Time(f.Sync)
	}
	all := slices.Clone(f.Periods)
	if f.Period != 0 {
		all = append(all, f.Period)
	}
	for _, c := range f.Changes {
		all = append(all, c.Period)
	}
	if len(f.Periods) == 0 && f.Period == 0 {
		return 0
	}
	return decode.Time(slices.Min(all))
}

// room is how much of a frame a channel takes at most, with the key that says
// so; or what is wrong with it.
type room struct {
	problem
	width decode.Time
}

func (c *Carried) widest(path string) (u room) {
	slots, key := []float64{c.WidthUs}, ".width_us"
	if c.Kind == "pulse-position" {
		slots, key = slices.Clone(c.SlotsUs), ".slots_us"
	}
	u.path = path + key
	for _, width := range slots {
		if c.Kind != "duty" && !within(width, 1, 1e6) {
			u.text = "must lie in 1..1000000"
			return u
		}
	}
	for i, m := range c.Moves {
		u.path = fmt.Sprintf("%s.moves[%d]", path, i)
		if p := finite(reflect.ValueOf(m), u.path); p != nil {
			u.problem = *p
			return u
		}
		if u.text = m.wrong(c, i); u.text != "" {
			return u
		}
		if k := max(m.Slot, 1) - 1; m.SweepUs == 0 {
			slots[k] = max(slots[k], m.WidthUs)
		}
	}
	if c.Failsafe != nil {
		for k := range slots {
			slots[k] = max(slots[k], c.Failsafe.WidthUs)
		}
	}
	sum := c.MarkerUs
	for _, width := range slots {
		sum += width
	}
	u.width = micros(sum)
	return u
}

// wrong says what is wrong with move i of c, "" if nothing is.
func (m *Move) wrong(c *Carried, i int) string {
	sweeps, before, shapes := m.SweepUs != 0, tomlfile.Duration(0), []string{"", "linear", "smooth", "expo"}
	if i > 0 {
		before = c.Moves[i-1].At
	}
	if sweeps {
		shapes = []string{"", "sine", "triangle"}
	}
	for _, r := range []struct {
		broken bool
		text   string
	}{
		{m.At < before, "must not be earlier than the move before it"},
		{!c.hasSlot(m.Slot), "has no such slot"},
		{sweeps == (m.WidthUs != 0), "needs one of width_us and sweep_us"},
		{!sweeps && !within(m.WidthUs, 1, 1e6), "goes to a width outside 1..1000000 us"},
		{sweeps && (!within(m.SweepUs, 0, 1e6) || decode.Time(m.Every) < decode.Millisecond || m.Rate != 0), `sweeps by sweep_us (0..1000000) every so often ("5s"), and takes no rate_us_per_s`},
		{!sweeps && (m.Every != 0 || m.For != 0), "takes every and for only with sweep_us"},
		{m.Rate < 0 || m.For < 0, "has a rate or a time below zero"},
		{!oneOf(m.Shape, shapes...), "has an unknown shape: " + phrase.Or(shapes[1:])},
	} {
		if r.broken {
			return r.text
		}
	}
	return ""
}

// hasSlot tells whether a stream has the slot, counted from 1; 0 stands for the
// one width of any other channel.
func (c *Carried) hasSlot(slot int64) bool {
	if c.Kind != "pulse-position" {
		return slot == 0
	}
	return slot >= 1 && slot <= int64(len(c.SlotsUs))
}

// checkAfter follows the chain of pulses in a frame.
func (s *Scenario) checkAfter(c *Carried, path, channel string) *problem {
	seen := []string{channel}
	for at := c; at.After != ""; {
		j := s.channel(at.After)
		if j < 0 || s.Channels[j].Kind != "servo" || slices.Contains(seen, at.After) {
			return &problem{path + ".after", fmt.Sprintf("leads to %q, which is no other servo channel", exact.Shorten(at.After)), ""}
		}
		seen = append(seen, at.After)
		at = &s.Channels[j].Carried
	}
	return nil
}

// onlyKeys finds a key that is set though it is not among takes, or is not set
// though it is among needs.
func onlyKeys(v reflect.Value, path, what, takes, needs string) *problem {
	for _, f := range reflect.VisibleFields(v.Type()) {
		key := f.Tag.Get("toml")
		if f.Anonymous {
			continue
		}
		set := !v.FieldByIndex(f.Index).IsZero()
		if set && !slices.Contains(strings.Fields(takes), key) {
			return &problem{path + "." + key, "says nothing of " + what, "it takes " + strings.Join(strings.Fields(takes), ", ")}
		}
		if !set && slices.Contains(strings.Fields(needs), key) {
			return &problem{path + "." + key, "is missing", "state it for " + what}
		}
	}
	return nil
}

// finite finds a number that is none, and a time beyond 50 days.
func finite(v reflect.Value, path string) *problem {
	for _, f := range reflect.VisibleFields(v.Type()) {
		at := path + "." + f.Tag.Get("toml")
		switch x := v.FieldByIndex(f.Index).Interface().(type) {
		case float64:
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return &problem{at, "is no number", ""}
			}
		case tomlfile.Duration:
			if decode.Time(x) > exact.Longest || decode.Time(x) < -exact.Longest {
				return &problem{at, "is longer than 50 days", ""}
			}
		}
	}
	return nil
}

// within is false for what is no number.
func within[T int64 | float64](x, low, high T) bool { return x >= low && x <= high }

func oneOf(s string, of ...string) bool { return slices.Contains(of, s) }

func names[V any](table map[string]V) string {
	all := make([]string, 0, len(table))
	for name := range table {
		all = append(all, name)
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}
