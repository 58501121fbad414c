package decode

import (
	"context"
	"iter"
)

// Settings steer the first pass. The zero value takes the whole capture.
type Settings struct {
	From, To *Time             // instants to cut the capture at
	Active   PerChannel[Level] // stated polarity; Unknown: find it
	// GlitchBelow is the width in picoseconds under which a pulse is a glitch;
	// 0 means 300 us.
	GlitchBelow PerChannel[Time]
}

// Recording is what one pass over a capture keeps. It grows with the pulses of
// the capture and not with its length or its noise.
type Recording struct{}

// Decode passes once over s. An error of the source ends it and is returned
// as it is.
func Decode(ctx context.Context, s Source, o Settings) (*Recording, error) {
	return &Recording{}, nil
}

// Analyse measures the recording.
func (r *Recording) Analyse(e PerChannel[Expect]) *Analysis { return &Analysis{} }

// PulseRow is a pulse with the channel it belongs to and the kinds of the
// findings that touch it. A rejected runt or spike has Glitch set.
type PulseRow struct {
	Channel string
	Pulse
	Notes  []Kind
	Glitch bool
}

// Rows yields the accepted pulses of the judged channels, or of those named,
// in order of time over all channels, ties in channel order; slots of a
// pulse-position stream are channels of their own. Rejected pulses are among
// them where glitches is set.
func (j *Judgement) Rows(glitches bool) iter.Seq[PulseRow] {
	return func(yield func(PulseRow) bool) {}
}

// Judge holds the analysis against limits. A channel that the user named, or
// that limits name, is judged as what it is asked to be.
func (a *Analysis) Judge(l PerChannel[Limits]) *Judgement { return &Judgement{} }
