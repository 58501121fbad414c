package main

import (
	"errors"
	"fmt"

	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats"
	"widthwise/formats/tomlfile"
)

// stated is what a limits file says for all channels or for one; nil where it
// says nothing.
type stated struct {
	WidthWarn         []float64          `toml:"width_warn_us"`
	WidthFail         []float64          `toml:"width_fail_us"`
	WidthJitterWarn   *float64           `toml:"width_jitter_warn_us"`
	WidthJitterFail   *float64           `toml:"width_jitter_fail_us"`
	Period            *tomlfile.Duration `toml:"period"`
	PeriodWarnPercent *float64           `toml:"period_warn_percent"`
	PeriodFailPercent *float64           `toml:"period_fail_percent"`
	FrameWarnPercent  *float64           `toml:"frame_warn_percent"`
	PeriodJitterWarn  *float64           `toml:"period_jitter_warn_us"`
	DroppedFail       *float64           `toml:"dropped_fail_percent"`
	GlitchFail        *float64           `toml:"glitch_fail_percent"`
	GlitchBelow       *float64           `toml:"glitch_below_us"`
	LossAfter         *tomlfile.Duration `toml:"loss_after"`
	MinFrames         *int64             `toml:"min_frames"`
	Active            *string            `toml:"active"`
	Signal            *string            `toml:"signal"`
}

// accepted shows for each key what it takes.
var accepted = map[string]string{
	"width_warn_us": "two numbers, such as [885, 2115]", "width_fail_us": "two numbers, such as [800, 2200]",
	"width_jitter_warn_us": "a number, such as 8", "width_jitter_fail_us": "a number, such as 20",
	"period": `a duration, such as "22ms"`, "period_warn_percent": "a number, such as 1", "period_fail_percent": "a number, such as 3",
	"frame_warn_percent": "a number, such as 5", "period_jitter_warn_us": "a number, such as 50",
	"dropped_fail_percent": "a number, such as 1", "glitch_fail_percent": "a number, such as 1",
	"glitch_below_us": "a number, such as 300", "loss_after": `a duration, such as "110ms"`,
	"min_frames": "a whole number, such as 50", "active": `"high" or "low"`, "signal": `"servo", "pulse-position", "duty" or "serial"`,
	"channel": "a table for each channel, such as [channel.rudder]",
}

// rule is what holds for one channel.
type rule struct {
	limits decode.Limits
	stated decode.Stated
}

// rules are what holds for all channels and for those named in a limits file.
type rules struct {
	all     rule
	channel map[string]rule
	file    *limitsFile
}

// newRules merges, in rising order of weight: the usual limits, the top of the
// limits file, the flags, and the channels' own part of the file.
func newRules(o *options) (*rules, error) {
	f := &limitsFile{name: o.limits}
	if o.limits != "" {
		if err := f.read(); err != nil {
			return nil, err
		}
	}
	return f.rules(o)
}

func (f *limitsFile) rules(o *options) (*rules, error) {
	flags := func(r *rule) {
		if o.period > 0 {
			r.stated.Period = o.period
		}
		if o.lossAfter > 0 {
			r.stated.LossAfter = o.lossAfter
		}
		if o.active != decode.Unknown {
			r.stated.Active = o.active
		}
	}
	out := &rules{all: rule{limits: decode.DefaultLimits}, channel: map[string]rule{}, file: f}
	top := f.section("")
	if err := top.apply(f.all.stated, &out.all); err != nil {
		return nil, err
	}
	flags(&out.all)
	if err := top.settle(&out.all); err != nil {
		return nil, err
	}
	names := maps.Keys(f.all.Channel)
	slices.Sort(names)
	for _, name := range names {
		own, r := f.section(name), out.all
		if err := own.apply(f.all.Channel[name], &r); err != nil {
			return nil, err
		}
		if err := own.settle(&r); err != nil {
			return nil, err
		}
		out.channel[name] = r
	}
	return out, nil
}

// names lists the channels that the limits file names.
func (r *rules) names() []string {
	names := maps.Keys(r.channel)
	slices.Sort(names)
	return names
}

// forCapture returns the rules under a capture's own names of channels.
func (r *rules) forCapture(capture string, names map[string]string) (*rules, error) {
	out := &rules{all: r.all, channel: map[string]rule{}}
	for _, name := range r.names() {
		own, ok := names[name]
		if !ok {
			return nil, r.missing(capture, name, fmt.Sprintf("no channel is called %q; inspect lists them", name))
		}
		out.channel[own] = r.channel[name]
	}
	return out, nil
}

// missing points at a channel that a capture does not have.
func (r *rules) missing(capture, name, problem string) error {
	return r.file.places.Error("channel."+name, problem+" ("+capture+")", "")
}

// placed points at a channel that the limits file alone has asked for in vain.
func (r *rules) placed(capture string, o *options, err error) error {
	vain := (*formats.UsageError)(nil)
	if !errors.As(err, &vain) || slices.Contains(o.read.Select, vain.Channel) {
		return err
	}
	if _, ok := r.channel[vain.Channel]; !ok {
		return err
	}
	return r.missing(capture, vain.Channel, vain.Message)
}

func (r *rules) limits() decode.PerChannel[decode.Limits] {
	return each(r, func(r rule) decode.Limits { return r.limits })
}

func (r *rules) stated() decode.PerChannel[decode.Stated] {
	return each(r, func(r rule) decode.Stated { return r.stated })
}

func each[T any](r *rules, pick func(rule) T) decode.PerChannel[T] {
	out := decode.PerChannel[T]{Default: pick(r.all), Channel: map[string]T{}}
	for name, own := range r.channel {
		out.Channel[name] = pick(own)
	}
	return out
}

// limitsFile is a limits file as it is read.
type limitsFile struct {
	name string
	all  struct {
		stated
		Channel map[string]stated `toml:"channel"`
	}
	places *tomlfile.Places
}

func (f *limitsFile) read() error {
	text, err := readSmall(f.name)
	if err != nil {
		return err
	}
	return f.parse(text)
}

func (f *limitsFile) parse(text []byte) error {
	places, err := tomlfile.Decode(f.name, text, &f.all)
	f.places = places
	return err
}

// section is the part of a limits file that speaks of one channel, or of all.
type section struct {
	file    *limitsFile
	channel string // "" for all
}

func (f *limitsFile) section(channel string) section { return section{f, channel} }

// path is where this section would state a key.
func (s section) path(key string) string {
	if s.channel == "" {
		return key
	}
	return "channel." + s.channel + "." + key
}

// states tells whether this section itself sets a key.
func (s section) states(key string) bool { return s.file.places.Has(s.path(key)) }

// known tells whether this section sets a key, or the top of the file does.
func (s section) known(key string) bool { return s.states(key) || s.file.places.Has(key) }

// refuse places an error at the key it is about: in this section, where it was
// said for all channels, or nowhere if a flag contradicts.
func (s section) refuse(key, fix, format string, args ...any) error {
	problem := fmt.Sprintf(format, args...)
	switch {
	case s.states(key):
		return s.file.places.Error(s.path(key), problem, fix)
	case s.known(key):
		return s.file.places.Error(key, problem, fix)
	}
	return fmt.Errorf("%s: %s; %s", s.file.name, problem, fix)
}
