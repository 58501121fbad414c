package scenario

import (
	"fmt"
	"reflect"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/exact"
	"widthwise/formats/tomlfile"
)

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
