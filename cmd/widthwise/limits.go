package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// stated is what a limits file says for all channels or for one; nil where it
// says nothing.
type stated struct {
	WidthWarn         []float64 `toml:"width_warn_us"`
	WidthFail         []float64 `toml:"width_fail_us"`
	WidthJitterWarn   *float64  `toml:"width_jitter_warn_us"`
	WidthJitterFail   *float64  `toml:"width_jitter_fail_us"`
	Period            *string   `toml:"period"`
	PeriodWarnPercent *float64  `toml:"period_warn_percent"`
	PeriodFailPercent *float64  `toml:"period_fail_percent"`
	FrameWarnPercent  *float64  `toml:"frame_warn_percent"`
	PeriodJitterWarn  *float64  `toml:"period_jitter_warn_us"`
	DroppedFail       *float64  `toml:"dropped_fail_percent"`
	GlitchFail        *float64  `toml:"glitch_fail_percent"`
	GlitchBelow       *float64  `toml:"glitch_below_us"`
	LossAfter         *string   `toml:"loss_after"`
	MinFrames         *int64    `toml:"min_frames"`
	Active            *string   `toml:"active"`
	Signal            *string   `toml:"signal"`
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
	out := &rules{all: rule{limits: decode.DefaultLimits}, channel: map[string]rule{}}
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

// forCapture returns the rules under the capture's own names of channels.
func (r *rules) forCapture(names map[string]string) (*rules, error) {
	out := &rules{all: r.all, channel: map[string]rule{}}
	for _, name := range r.names() {
		own, ok := names[name]
		if !ok {
			return nil, usageError("the limits name a channel %q that the capture does not have; inspect lists them", name)
		}
		out.channel[own] = r.channel[name]
	}
	return out, nil
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
	places map[string]place // of each key, by its dotted path
}

type place struct{ line, column int }

// maxLimits is far more than anyone writes; a capture given by mistake is not
// read to its end.
const maxLimits = 1 << 20

func (f *limitsFile) read() error {
	file, err := os.Open(f.name)
	if err != nil {
		return bare(f.name, err)
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxLimits+1))
	switch {
	case err != nil:
		return bare(f.name, err)
	case len(text) > maxLimits:
		return usageError("%s: more than 1 MiB; a limits file, as widthwise help limits shows it", f.name)
	}
	return f.parse(text)
}

func (f *limitsFile) parse(text []byte) error {
	d := toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields()
	if err := d.Decode(&f.all); err != nil {
		return f.refused(err)
	}
	f.places = keyPlaces(text)
	return f.exact()
}

// exact refuses a key that is one of ours but for capital letters, which the
// TOML reader lets pass. The first in the file is told.
func (f *limitsFile) exact() error {
	var first *place
	var wrong string
	for path, at := range f.places {
		keys := strings.Split(path, "\x00")
		key := keys[0]
		if key == "channel" {
			if len(keys) < 3 {
				continue
			}
			key = keys[len(keys)-1]
		}
		if accepted[key] == "" && (first == nil || at.line < first.line || at.line == first.line && at.column < first.column) {
			first, wrong = &at, key
		}
	}
	if first == nil {
		return nil
	}
	return fmt.Errorf("%s:%d:%d: unknown key %q%s; widthwise help limits lists them", f.name, first.line, first.column, wrong, nearest(strings.ToLower(wrong), maps.Keys(accepted)))
}

// refused puts what the TOML reader did not take in our words.
func (f *limitsFile) refused(err error) error {
	var unknown *toml.StrictMissingError
	var damage *toml.DecodeError
	switch {
	case errors.As(err, &unknown):
		first := unknown.Errors[0]
		line, column := first.Position()
		key := unknownKey(first.Key())
		return fmt.Errorf("%s:%d:%d: unknown key %q%s; widthwise help limits lists them", f.name, line, column, key, nearest(key, maps.Keys(accepted)))
	case errors.As(err, &damage):
		line, column := damage.Position()
		reason := strings.TrimPrefix(damage.Error(), "toml: ")
		if key := acceptedKey(damage.Key()); key != "" && strings.HasPrefix(reason, "cannot ") {
			return fmt.Errorf("%s:%d:%d: %s is of the wrong type; %s", f.name, line, column, key, accepted[key])
		}
		return fmt.Errorf("%s:%d:%d: %s; TOML, as widthwise help limits shows it", f.name, line, column, reason)
	}
	return fmt.Errorf("%s: %s; TOML, as widthwise help limits shows it", f.name, strings.TrimPrefix(err.Error(), "toml: "))
}

// unknownKey is the part of a dotted key that nothing is known by.
func unknownKey(path toml.Key) string {
	if accepted[path[0]] == "" {
		return path[0]
	}
	return path[len(path)-1]
}

// acceptedKey is the last part of a dotted key that is one of ours.
func acceptedKey(path toml.Key) string {
	for i := len(path) - 1; i >= 0; i-- {
		if accepted[path[i]] != "" {
			return path[i]
		}
	}
	return ""
}

// keyPlaces finds where each key of a valid document is written.
func keyPlaces(text []byte) map[string]place {
	places := map[string]place{}
	p := unstable.Parser{}
	p.Reset(text)
	table := []string{}
	for p.NextExpression() {
		switch e := p.Expression(); e.Kind {
		case unstable.Table:
			table = dotted(e.Key())
		case unstable.KeyValue:
			note(&p, places, table, e)
		}
	}
	return places
}

// note keeps the place of a key, and of the keys of an inline table under it.
func note(p *unstable.Parser, places map[string]place, table []string, e *unstable.Node) {
	path := append(slices.Clone(table), dotted(e.Key())...)
	keys := e.Key()
	keys.Next()
	at := p.Shape(keys.Node().Raw).Start
	places[strings.Join(path, "\x00")] = place{at.Line, at.Column}
	if value := e.Value(); value.Kind == unstable.InlineTable {
		for inner := value.Children(); inner.Next(); {
			note(p, places, path, inner.Node())
		}
	}
}

func dotted(keys unstable.Iterator) []string {
	var path []string
	for keys.Next() {
		path = append(path, string(keys.Node().Data))
	}
	return path
}

// section is the part of a limits file that speaks of one channel, or of all.
type section struct {
	file    *limitsFile
	channel string // "" for all
}

func (f *limitsFile) section(channel string) section { return section{f, channel} }

// own finds a key that this section itself states.
func (s section) own(key string) (place, bool) {
	path := key
	if s.channel != "" {
		path = strings.Join([]string{"channel", s.channel, key}, "\x00")
	}
	at, ok := s.file.places[path]
	return at, ok
}

// place finds a key in this section, or where it was said for all channels.
func (s section) place(key string) (place, bool) {
	if at, ok := s.own(key); ok {
		return at, true
	}
	at, ok := s.file.places[key]
	return at, ok
}

// states tells whether this section itself sets a key.
func (s section) states(key string) bool { _, ok := s.own(key); return ok }

// refuse places an error at the key it is about.
func (s section) refuse(key, format string, args ...any) error {
	at, ok := s.place(key)
	if !ok { // contradicted by a flag
		return fmt.Errorf("%s: "+format, append([]any{s.file.name}, args...)...)
	}
	return fmt.Errorf("%s:%d:%d: "+format, append([]any{s.file.name, at.line, at.column}, args...)...)
}
