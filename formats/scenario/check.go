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

// often are the keys by which a fault picks frames, and stretches those by
// which it picks times.
const (
	often     = "at for count every_frames chance repeat times "
	stretches = "at for repeat times "
)

// faultKeys are the keys that each kind of fault takes besides kind, channels,
// together and seed. needs are those it cannot do without.
var faultKeys = map[string]struct{ takes, needs string }{
	"dropped-frame":      {often, ""},
	"late-frame":         {often + "by", "by"},
	"signal-loss":        {stretches + "then width_us", "for"},
	"width-spike":        {often + "by_us slot", "by_us"},
	"width-out-of-range": {often + "width_us slot", "width_us"},
	"jitter-burst":       {stretches + "sigma_us", "for sigma_us"},
	"frozen-width":       {stretches, "for"},
	"repeated-width":     {often, ""},
	"glitch":             {often + "offset_us scatter_us width_us train spacing_us", "width_us"},
	"break":              {often + "offset_us scatter_us width_us train spacing_us level", "width_us"},
	"edge-chatter":       {often + "edge width_us train", "width_us"},
	"extra-pulse":        {often + "offset_us scatter_us width_us", "offset_us width_us"},
	"crosstalk":          {often + "from edge offset_us width_us", "from width_us"},
	"stuck-level":        {stretches + "level", "for level"},
	"unknown-level":      {stretches, "for"},
	"inverted":           {stretches, ""},
	"phase-restart":      {"at repeat times by", "by"},
	"supply-dip":         {stretches + "restart", "for"},
	"loose-wire":         {stretches + "open closed level", "open closed"},
	"late-start":         {"for", "for"},
	"boot-noise":         {stretches + "mean_us width_us", "for"},
	"serial-text":        {stretches + "bit_us text", "for bit_us"},
	"uneven-time":        {stretches, "for"},
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

func (s *Scenario) checkFault(i int) *problem {
	f, path := &s.Faults[i], fmt.Sprintf("fault[%d]", i)
	keys, ok := faultKeys[f.Kind]
	if !ok {
		return &problem{path + ".kind", fmt.Sprintf("%q is unknown or missing", exact.Shorten(f.Kind)), "write one of " + names(faultKeys)}
	}
	if p := onlyKeys(reflect.ValueOf(*f), path, "a "+f.Kind, keys.takes+" kind channels together seed", keys.needs); p != nil {
		return p
	}
	if p := finite(reflect.ValueOf(*f), path); p != nil {
		return p
	}
	for j, name := range f.Channels {
		k := s.channel(name)
		if k < 0 {
			return &problem{fmt.Sprintf("%s.channels[%d]", path, j), fmt.Sprintf("names %q, which is no channel", exact.Shorten(name)), ""}
		}
		if ofFrames(f.Kind) && f.Kind != "late-start" && f.Kind != "boot-noise" && f.Kind != "serial-text" && !framedChannel(&s.Channels[k]) {
			return &problem{fmt.Sprintf("%s.channels[%d]", path, j), fmt.Sprintf("names %q, which has no frames for a %s", exact.Shorten(name), f.Kind), ""}
		}
	}
	for _, d := range []struct {
		key string
		is  tomlfile.Duration
	}{{"at", f.At}, {"for", f.For}, {"repeat", f.Repeat}, {"restart", f.Restart}, {"open", f.Open}, {"closed", f.Closed}} {
		if d.is < 0 {
			return &problem{path + "." + d.key, "must not be below zero", ""}
		}
	}
	for _, rule := range faultRules {
		if rule.broken(f, s) {
			return &problem{path + "." + rule.key, rule.text, ""}
		}
	}
	return nil
}

// faultRules are what the keys of a fault must keep to, besides being there.
var faultRules = []struct {
	key, text string
	broken    func(f *Fault, s *Scenario) bool
}{
	{"count", "must not be below zero", func(f *Fault, _ *Scenario) bool { return f.Count < 0 || f.EveryFrames < 0 || f.Times < 0 }},
	{"chance", "must lie in 0..1", func(f *Fault, _ *Scenario) bool { return !within(f.Chance, 0, 1) }},
	{"times", "needs repeat", func(f *Fault, _ *Scenario) bool { return f.Repeat == 0 && f.Times > 1 }},
	{"repeat", "must be longer than 50 us and than the fault lasts", func(f *Fault, _ *Scenario) bool {
		return f.Repeat != 0 && (decode.Time(f.Repeat) < shortest || f.Repeat <= f.For+f.Restart)
	}},
	{"repeat", "must be at least twice as long as by", func(f *Fault, _ *Scenario) bool { return f.Repeat != 0 && f.Repeat < 2*f.By }},
	{"for", "ends after more than 50 days", func(f *Fault, _ *Scenario) bool {
		return decode.Time(f.At+f.For) > exact.Longest || decode.Time(f.For+f.Restart) > exact.Longest
	}},
	{"train", "must lie in 0..1000", func(f *Fault, _ *Scenario) bool { return !within(f.Train, 0, 1000) }},
	{"spacing_us", "must be above width_us, start to start", func(f *Fault, _ *Scenario) bool {
		return f.Train > 1 && f.Kind != "edge-chatter" && f.SpacingUs <= f.WidthUs
	}},
	{"spacing_us", "must lie in 0..10000", func(f *Fault, _ *Scenario) bool { return !within(f.SpacingUs, 0, 1e4) }},
	{"scatter_us", "must lie in 0..100000", func(f *Fault, _ *Scenario) bool { return !within(f.ScatterUs, 0, 1e5) }},
	{"offset_us", "must lie within 100 ms", func(f *Fault, _ *Scenario) bool { return !within(f.OffsetUs, -1e5, 1e5) }},
	{"by", "must lie in 0..10 s", func(f *Fault, _ *Scenario) bool { return f.By < 0 || decode.Time(f.By) > 10*decode.Second }},
	{"width_us", "must lie in 0..1000000", func(f *Fault, _ *Scenario) bool { return !within(f.WidthUs, 0, 1e6) }},
	{"by_us", "must lie within 1000000", func(f *Fault, _ *Scenario) bool { return !within(f.ByUs, -1e6, 1e6) }},
	{"sigma_us", "must lie in 0..10000", func(f *Fault, _ *Scenario) bool { return !within(f.SigmaUs, 0, 1e4) }},
	{"bit_us", "must lie in 0.05..100000", func(f *Fault, _ *Scenario) bool { return f.Kind == "serial-text" && !within(f.BitUs, 0.05, 1e5) }},
	{"mean_us", "must lie in 1..10000000", func(f *Fault, _ *Scenario) bool { return f.MeanUs != 0 && !within(f.MeanUs, 1, 1e7) }},
	{"open", "and closed must lie in 1 us..1 h", func(f *Fault, _ *Scenario) bool {
		return f.Kind == "loose-wire" && min(decode.Time(f.Open), decode.Time(f.Closed)) < decode.Microsecond || decode.Time(max(f.Open, f.Closed)) > longestPause
	}},
	{"level", `must be "unknown" or nothing`, func(f *Fault, _ *Scenario) bool { return f.Kind == "break" && !oneOf(f.Level, "", "unknown") }},
	{"level", `must be "high", "low" or "unknown"`, func(f *Fault, _ *Scenario) bool { return !oneOf(f.Level, "", "high", "low", "unknown") }},
	{"edge", `must be "leading", "trailing" or "both"`, func(f *Fault, _ *Scenario) bool { return !oneOf(f.Edge, "", "leading", "trailing", "both") }},
	{"then", `must be "silence", "hold" or "preset", the last with width_us`, func(f *Fault, _ *Scenario) bool {
		return !oneOf(f.Then, "", "silence", "hold", "preset") || f.Kind == "signal-loss" && (f.Then == "preset") != (f.WidthUs > 0)
	}},
	{"from", "must name another channel, and none that the fault befalls", func(f *Fault, s *Scenario) bool {
		return f.Kind == "crosstalk" && (s.channel(f.From) < 0 || slices.Contains(s.channelsOf(f), f.From))
	}},
	{"kind", "needs a sampling rate", func(f *Fault, s *Scenario) bool { return f.Kind == "uneven-time" && oneOf(s.Sampling, "", "exact") }},
	{"kind", "leaves samples of the whole capture out, and stands once", func(f *Fault, s *Scenario) bool {
		return f.Kind == "uneven-time" && (len(f.Channels) > 0 || s.unevenTwice())
	}},
}

func (s *Scenario) unevenTwice() bool {
	n := 0
	for _, f := range s.Faults {
		if f.Kind == "uneven-time" {
			n++
		}
	}
	return n > 1
}

// channelsOf returns the names of the channels that f befalls.
func (s *Scenario) channelsOf(f *Fault) []string {
	if len(f.Channels) > 0 {
		return f.Channels
	}
	all := make([]string, len(s.Channels))
	for i, w := range s.Channels {
		all[i] = w.Name
	}
	return all
}

// onlyKeys finds a key that is set though it is not among takes, or is not set
// though it is among needs.
func onlyKeys(v reflect.Value, path, what, takes, needs string) *problem {
	for _, f := range reflect.VisibleFields(v.Type()) {
		key := f.Tag.Get("toml")
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
