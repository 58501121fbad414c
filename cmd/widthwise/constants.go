package main

import (
	"cmp"
	"errors"
	"math"

	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/calibrate"
	"widthwise/formats"
	"widthwise/formats/tomlfile"
)

// constantsFile is a file of calibration constants as it is read: keys at the
// top hold for all channels, and again under [channel.NAME].
type constantsFile struct {
	statedConstants
	Channel map[string]statedConstants `toml:"channel"`

	places *tomlfile.Places
}

type statedConstants struct {
	Low       *float64           `toml:"low_us"`
	Neutral   *float64           `toml:"neutral_us"`
	High      *float64           `toml:"high_us"`
	Deadband  *float64           `toml:"deadband_us"`
	EndMargin *float64           `toml:"end_margin_us"`
	Reversed  *bool              `toml:"reversed"`
	LossAfter *tomlfile.Duration `toml:"loss_after"`
}

// readConstants reads the named file; nil where none is named.
func readConstants(name string) (*constantsFile, error) {
	if name == "" {
		return nil, nil
	}
	text, err := readSmall(name)
	if err != nil {
		return nil, err
	}
	return parseConstants(name, text)
}

func parseConstants(name string, text []byte) (f *constantsFile, err error) {
	f = &constantsFile{}
	if f.places, err = tomlfile.Decode(name, text, f); err != nil {
		return nil, err
	}
	if err := f.check("", f.statedConstants); err != nil {
		return nil, err
	}
	if f.statedConstants == (statedConstants{}) && len(f.Channel) == 0 {
		return nil, &formats.ParseError{File: name, Line: 1, Err: errors.New("no constants"), Fix: "low_us = 1100 and the like, for all channels or under [channel.NAME]"}
	}
	names := maps.Keys(f.Channel)
	slices.Sort(names)
	for _, channel := range names {
		if err := f.check("channel."+channel+".", f.statedConstants.under(f.Channel[channel])); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// under returns what holds where own comes on top.
func (s statedConstants) under(own statedConstants) statedConstants {
	return statedConstants{cmp.Or(own.Low, s.Low), cmp.Or(own.Neutral, s.Neutral), cmp.Or(own.High, s.High), cmp.Or(own.Deadband, s.Deadband),
		cmp.Or(own.EndMargin, s.EndMargin), cmp.Or(own.Reversed, s.Reversed), cmp.Or(own.LossAfter, s.LossAfter)}
}

// check refuses what contradicts itself.
func (f *constantsFile) check(table string, s statedConstants) error {
	outside := func(us *float64, low, high float64) bool { return us != nil && !(*us >= low && *us <= high) }
	above := func(a, b *float64) bool { return a != nil && b != nil && *a >= *b }
	crowder := "deadband_us"
	if s.Deadband == nil {
		crowder = "end_margin_us"
	}
	for _, c := range []struct {
		wrong          bool
		key, what, fix string
	}{
		{outside(s.Low, 300, 3000), "low_us", "is no width of a pulse", "300 to 3000"},
		{outside(s.Neutral, 300, 3000), "neutral_us", "is no width of a pulse", "300 to 3000"},
		{outside(s.High, 300, 3000), "high_us", "is no width of a pulse", "300 to 3000"},
		{outside(s.Deadband, 0, 500), "deadband_us", "is out of reach", "0 to 500"},
		{outside(s.EndMargin, 0, 500), "end_margin_us", "is out of reach", "0 to 500"},
		{above(s.Low, s.High), "high_us", "is not above low_us", "low_us below high_us; reversed = true turns the command round"},
		{above(s.Low, s.Neutral), "neutral_us", "is not above low_us", "a width between low_us and high_us"},
		{above(s.Neutral, s.High), "neutral_us", "is not below high_us", "a width between low_us and high_us"},
		{s.constants().Crowded() != "", crowder, "leaves no way from neutral to " + s.constants().Crowded(), "a deadband and margins that end well before one another"},
		{s.LossAfter != nil && !waits(decode.Time(*s.LossAfter)), "loss_after", "is out of reach", `above zero and at most "10s", such as "110ms"`},
	} {
		if c.wrong {
			return f.places.Error(table+c.key, c.key+" "+c.what, c.fix)
		}
	}
	return nil
}

func waits(t decode.Time) bool { return t > 0 && t <= 10*decode.Second }

// of returns the constants to replay a channel by: those of the file where it
// names the channel or speaks of all, else those found. What the file leaves
// out of its own is not known, but for what has a usual value.
func (f *constantsFile) of(channel string, found calibrate.Constants) (k calibrate.Constants, stated bool) {
	if f == nil {
		return found, false
	}
	s := f.statedConstants.under(f.Channel[channel])
	if s == (statedConstants{}) {
		return found, false
	}
	return s.constants(), true
}

// constants fills in what has a usual value.
func (s statedConstants) constants() calibrate.Constants {
	notKnown := math.NaN()
	return calibrate.Constants{Low: orElse(s.Low, notKnown), Neutral: orElse(s.Neutral, notKnown), High: orElse(s.High, notKnown),
		Deadband: orElse(s.Deadband, 0), EndMargin: orElse(s.EndMargin, 0), Reversed: orElse(s.Reversed, false),
		LossAfter: decode.Time(orElse(s.LossAfter, tomlfile.Duration(110*decode.Millisecond)))}
}

func orElse[T any](stated *T, usual T) T {
	if stated == nil {
		return usual
	}
	return *stated
}

// unused refuses a channel that the capture does not have.
func (f *constantsFile) unused(c *capture) error {
	if f == nil {
		return nil
	}
	known := c.channelNames()
	for _, ch := range c.judged() {
		known = append(known, ch.Name)
	}
	names := maps.Keys(f.Channel)
	slices.Sort(names)
	for _, name := range names {
		if !slices.Contains(known, name) {
			return f.places.Error("channel."+name, c.name+" has no channel "+name+nearest(name, known), "inspect lists them")
		}
	}
	return nil
}
