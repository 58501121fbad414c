// Package scenario makes captures up: a generator of signals that knows the truth
// it puts on its channels. A scenario is a text file in TOML; it is checked
// (check.go), each channel's signal is drawn pulse by pulse (signal.go, hand.go,
// transmitter.go), faults are put on it (fault.go, mixer.go), and the source
// samples what comes of it (source.go).
package scenario

import (
	_ "embed"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"golang.org/x/exp/slices"

	"widthwise/formats/internal/capture"
	"widthwise/formats/tomlfile"
)

// Example is a commented scenario that works.
//
//go:embed example.toml
var Example string

// Scenario describes a capture that is made up: what each wire carries, and
// what goes wrong on it and when. The same scenario and seed give the same
// edges, and every wire and fault draws from a stream of chance of its own, so
// that adding one leaves the others as they were. All times count from the
// start of the capture.
type Scenario struct {
	Title         string            `toml:"scenario"`
	Seed          int64             `toml:"seed"`
	Start         tomlfile.Duration `toml:"start"` // the capture's first time stamp
	Length        tomlfile.Duration `toml:"length"`
	Sampling      string            `toml:"sampling"`       // a rate, or "exact" ("" as well)
	SamplingPhase string            `toml:"sampling_phase"` // how far samples come after time zero; "" or "random" draws it
	Frames        Frames            `toml:"frames"`         // of all channels without their own
	Transmitter   *Transmitter      `toml:"transmitter"`    // nil: it stays on
	Channels      []Channel         `toml:"channel"`
	Faults        []Fault           `toml:"fault"`
}

// Frames says when frames start.
type Frames struct {
	Period     tomlfile.Duration   `toml:"period"`
	Periods    []tomlfile.Duration `toml:"periods"`     // taken in turn, instead of Period
	FromWidths []string            `toml:"from_widths"` // channels whose widths add up to the period,
	Sync       tomlfile.Duration   `toml:"sync"`        // with this much more
	First      tomlfile.Duration   `toml:"first"`       // start of the first frame; 0: half a period
	JitterUs   float64             `toml:"jitter_us"`   // standard deviation of a period
	DriftPPM   float64             `toml:"drift_ppm"`   // growth of the period over the capture
	Changes    []PeriodChange      `toml:"changes"`
}

// PeriodChange is a new frame period from a time on.
type PeriodChange struct {
	At     tomlfile.Duration `toml:"at"`
	Period tomlfile.Duration `toml:"period"`
}

// Channel is a channel: what it carries from the start, and what follows.
type Channel struct {
	Name string `toml:"name"`
	Carried
	Then []Part `toml:"then"`
}

// Part is what a wire carries from a time on. Its frames start anew.
type Part struct {
	At tomlfile.Duration `toml:"at"`
	Carried
}

// Carried is a signal. Which fields count depends on Kind: servo, duty,
// pulse-position, serial, echo, noise, silent or mark.
type Carried struct {
	Kind        string            `toml:"kind"`
	Active      string            `toml:"active"` // "high" or "low"; "" is the usual one
	Frames      *Frames           `toml:"frames"`
	Offset      tomlfile.Duration `toml:"offset"`    // of the pulse in its frame
	After       string            `toml:"after"`     // channel whose pulse of the same frame ends first
	WidthUs     float64           `toml:"width_us"`  // at first
	JitterUs    float64           `toml:"jitter_us"` // of the pulse, every frame
	DutyPercent float64           `toml:"duty_percent"`
	Steered
	Stream
	Bytes
	Of     string            `toml:"of"`      // the channel that is echoed
	Share  float64           `toml:"share"`   // of its pulses that come through whole
	MeanUs float64           `toml:"mean_us"` // between marks of noise
	Level  string            `toml:"level"`   // of a silent wire, or of a mark at first
	Bounce tomlfile.Duration `toml:"bounce"`  // of a mark's contacts
}

// Steered is what stick, transmitter and receiver make of the widths of a servo
// channel or a pulse-position stream.
type Steered struct {
	Moves         []Move    `toml:"moves"`           // of the stick
	StepUs        float64   `toml:"step_us"`         // the transmitter's: widths are multiples of it
	ValueJitterUs float64   `toml:"value_jitter_us"` // of the stick, once a packet
	RepeatFrames  int64     `toml:"repeat_frames"`   // frames that one radio packet feeds
	Hand          *Hand     `toml:"hand"`            // on the stick
	Failsafe      *Failsafe `toml:"failsafe"`        // with the transmitter off; nil holds
}

// Stream is a pulse-position stream.
type Stream struct {
	MarkerUs float64   `toml:"marker_us"`
	SlotsUs  []float64 `toml:"slots_us"` // marker to marker
}

// Bytes are what a serial line sends.
type Bytes struct {
	BitUs      float64           `toml:"bit_us"`
	Text       string            `toml:"text"`        // sent over and over; "": random bytes
	BurstBytes int64             `toml:"burst_bytes"` // between pauses
	Gap        tomlfile.Duration `toml:"gap"`         // mean pause
}

// Move is a movement of a stick: to a width, or a sweep about where it is.
type Move struct {
	At      tomlfile.Duration `toml:"at"`
	Slot    int64             `toml:"slot"` // of a pulse-position stream, counted from 1
	WidthUs float64           `toml:"width_us"`
	Rate    float64           `toml:"rate_us_per_s"` // 0: at once
	SweepUs float64           `toml:"sweep_us"`      // amplitude
	Every   tomlfile.Duration `toml:"every"`         // of one sweep there and back
	For     tomlfile.Duration `toml:"for"`
	Shape   string            `toml:"shape"` // linear, smooth or expo; sine or triangle
}

// Fault is something that goes wrong. Without channels it befalls all of them,
// each by a chance of its own unless Together. See the table of kinds for what
// each takes.
type Fault struct {
	Kind     string   `toml:"kind"`
	Channels []string `toml:"channels"`
	Together bool     `toml:"together"`
	Seed     int64    `toml:"seed"`
	When
	Marks
	By      tomlfile.Duration `toml:"by"`
	ByUs    float64           `toml:"by_us"`
	SigmaUs float64           `toml:"sigma_us"`
	Slot    int64             `toml:"slot"`
	Level   string            `toml:"level"`
	Then    string            `toml:"then"`
	From    string            `toml:"from"`
	Restart tomlfile.Duration `toml:"restart"`
	Open    tomlfile.Duration `toml:"open"`
	Closed  tomlfile.Duration `toml:"closed"`
	BitUs   float64           `toml:"bit_us"`
	Text    string            `toml:"text"`
}

// When says at which times, or to which frames or edges, a fault comes.
type When struct {
	At          tomlfile.Duration `toml:"at"`
	For         tomlfile.Duration `toml:"for"`
	Count       int64             `toml:"count"`        // frames
	EveryFrames int64             `toml:"every_frames"` // 2: every second one
	Chance      float64           `toml:"chance"`       // for each frame or edge
	Repeat      tomlfile.Duration `toml:"repeat"`       // again after this long,
	Times       int64             `toml:"times"`        // so often; 0: to the end
}

// Marks are marks that a fault puts on a wire or cuts out of a pulse.
type Marks struct {
	WidthUs   float64 `toml:"width_us"`
	OffsetUs  float64 `toml:"offset_us"`  // after the leading edge
	ScatterUs float64 `toml:"scatter_us"` // of the offset, either way
	Train     int64   `toml:"train"`      // so many in a row,
	SpacingUs float64 `toml:"spacing_us"` // start to start
	Edge      string  `toml:"edge"`       // leading, trailing or both
	MeanUs    float64 `toml:"mean_us"`    // between marks by chance
}

// titleKey is the line that makes a text a scenario: its title, among keys
// and comments at the top.
var titleKey = regexp.MustCompile(`\A(?:[ \t]*(?:#[^\n]*|[a-z_]+[ \t]*=[^\n]*)?\r?\n)*?[ \t]*scenario[ \t]*=`)

// Looks tells whether a text begins as a scenario does: with its title among
// keys and comments.
func Looks(head []byte) bool {
	return validText(head) && titleKey.Match(head)
}

// validText tells whether head, which may end within a letter, could be TOML.
func validText(head []byte) bool {
	for cut := 1; cut < utf8.UTFMax && cut <= len(head); cut++ {
		if tail := head[len(head)-cut:]; utf8.RuneStart(tail[0]) && !utf8.FullRune(tail) {
			return utf8.Valid(head[:len(head)-cut])
		}
	}
	return utf8.Valid(head)
}

// Parse reads a scenario; name stands for it in messages. What is wrong
// with it is a *ParseError.
func Parse(name string, text []byte) (*Scenario, error) {
	s := &Scenario{}
	places, err := tomlfile.Decode(name, text, s)
	if err != nil {
		return nil, err
	}
	if bad := s.check(); bad != nil {
		return nil, places.Error(bad.path, bad.key()+" "+bad.text, bad.fix)
	}
	return s, nil
}

// Open returns the capture that the scenario describes. A scenario that makes
// no sense is an error that names the key.
func (s *Scenario) Open(o capture.Options) (capture.Source, error) {
	if bad := s.check(); bad != nil {
		return nil, bad
	}
	src, err := s.source(o)
	if err != nil {
		return nil, err
	}
	src.header.File, src.header.Compression, src.header.Encoding = s.Title, "none", "utf-8"
	return capture.Chosen(src, o), nil
}

func (s *Scenario) channel(name string) int {
	return slices.IndexFunc(s.Channels, func(w Channel) bool { return w.Name == name })
}

// frames returns what times c, and the name its stream of chance goes by.
func (s *Scenario) frames(c *Carried, channel string) (*Frames, string) {
	if c.Frames != nil {
		return c.Frames, channel + "/frames"
	}
	return &s.Frames, "frames"
}

// problem is a value that makes no sense, by the path of its key.
type problem struct {
	path, text, fix string
}

func (p *problem) Error() string {
	if p.fix == "" {
		return p.path + " " + p.text
	}
	return fmt.Sprintf("%s %s; %s", p.path, p.text, p.fix)
}

// key is the last word of the path, for messages that tell the place anyway.
func (p *problem) key() string {
	word, _, _ := strings.Cut(p.path[strings.LastIndexByte(p.path, '.')+1:], "[")
	if word == "moves" || word == "changes" {
		return "this " + strings.TrimSuffix(word, "s")
	}
	return word
}
