package decode

import "fmt"

// Remark is something to know about a capture that is no finding: what of the
// file is missing, what a reader assumed, what the capture cannot tell.
type Remark struct {
	Kind    RemarkKind
	Channel string // the channel that it speaks of; "" where it is the capture
	Text    string // what is so, without the name of the channel
}

// RemarkKind names what a remark speaks of. Readers of an analysis may have
// kinds of their own.
type RemarkKind string

// Kinds of remark. The first two are what whoever uses the figures has to know;
// a source tells them as its warnings.
const (
	CutOff   RemarkKind = "cut-off"   // the end of the file is missing
	LeftOver RemarkKind = "left-over" // what lies behind the capture in the file was not read

	// What a reader did.
	LeftOut      RemarkKind = "left-out"      // damaged or undeclared parts were left out
	Irregularity RemarkKind = "irregularity"  // the file is written otherwise than its format says, and was read nevertheless
	TimesRead    RemarkKind = "times-read"    // how unit, rate or zero of the times were found
	TimesDiffer  RemarkKind = "times-differ"  // the file contradicts itself on its times
	TimesCoarse  RemarkKind = "times-coarse"  // times were rounded, or are written more coarsely than sampled
	LevelsRead   RemarkKind = "levels-read"   // how levels were told apart
	LevelsShift  RemarkKind = "levels-shift"  // they moved after they were told apart
	SmallSwing   RemarkKind = "small-swing"   // they differ by less than those of logic do
	NameChanged  RemarkKind = "name-changed"  // two channels had one name
	PerhapsShort RemarkKind = "perhaps-short" // as long as a program's limit: perhaps cut there

	// What the analysis assumed, or cannot tell.
	EitherLevel   RemarkKind = "either-level"    // both levels could be the pulse
	OtherLevel    RemarkKind = "other-level"     // the level stated as the pulse's does not look like one
	SyncAmbiguous RemarkKind = "sync-ambiguous"  // which spacing of a stream is the sync
	SlotsChanged  RemarkKind = "slots-changed"   // the number of slots of a stream
	KeepsTime     RemarkKind = "keeps-time"      // a line that is not judged follows the frames of one that is
	UnitDoubtful  RemarkKind = "unit-doubtful"   // in another time unit marks would be pulses
	EndUnseen     RemarkKind = "end-unseen"      // a loss at the capture's end could not be seen
	LossTimeShort RemarkKind = "loss-time-short" // the stated loss time is hardly longer than a frame
	MotorOrServo  RemarkKind = "motor-or-servo"  // narrow pulses that a motor drive could send
)

// Remarkf makes a remark on a channel, or on the capture where channel is "".
func Remarkf(kind RemarkKind, channel, format string, args ...any) Remark {
	return Remark{kind, channel, fmt.Sprintf(format, args...)}
}

// String is the remark with the name of its channel in front.
func (r Remark) String() string {
	if r.Channel == "" {
		return r.Text
	}
	return r.Channel + ": " + r.Text
}

// Texts are remarks as sentences.
func Texts(remarks []Remark) []string {
	var all []string
	for _, r := range remarks {
		all = append(all, r.String())
	}
	return all
}
