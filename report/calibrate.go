package report

import (
	"math"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/calibrate"
	"widthwise/decode/places"
	"widthwise/formats"
)

// Calibrate is the document of `calibrate`.
type Calibrate struct {
	Schema   string `json:"schema"`
	Captures []any  `json:"captures"` // *CalibrateCapture or *Unread
	Safety   string `json:"safety"`
}

// CalibrateCapture holds the constants that one capture shows.
type CalibrateCapture struct {
	Facts
	Channels []*CalibrateChannel `json:"channels"`
	Mix      *Mix                `json:"mix"`
}

// CalibrateChannel holds the constants of one channel, and what they would have
// done on the capture.
type CalibrateChannel struct {
	Name             string   `json:"name"`
	Label            string   `json:"label"`
	Low              Number   `json:"low_us"`
	LowU95           Number   `json:"low_u95_us"`
	LowVisits        int      `json:"low_visits"`
	Neutral          Number   `json:"neutral_us"`
	NeutralU95       Number   `json:"neutral_u95_us"`
	NeutralVisits    int      `json:"neutral_visits"`
	NeutralFromBelow Number   `json:"neutral_from_below_us"`
	NeutralFromAbove Number   `json:"neutral_from_above_us"`
	High             Number   `json:"high_us"`
	HighU95          Number   `json:"high_u95_us"`
	HighVisits       int      `json:"high_visits"`
	Step             Number   `json:"step_us"`
	Deadband         Number   `json:"deadband_us"`
	EndMargin        Number   `json:"end_margin_us"`
	LossAfter        Seconds  `json:"loss_after_s"`
	Reversed         *bool    `json:"reversed"`
	Missing          []string `json:"missing"`
	Said             []string `json:"said"` // how far the constants can be trusted
	Proof            *Proof   `json:"proof"`

	Given  bool `json:"-"` // the proof is of constants from a file
	OneWay bool `json:"-"` // it is of constants without a neutral
}

// Proof is what the constants would have done on the capture.
type Proof struct {
	Full           int64 `json:"full"`
	IdleFrames     int   `json:"idle_frames"`
	IdleNotZero    int   `json:"idle_not_zero"`
	ReachesLow     bool  `json:"reaches_low"`
	ReachesHigh    bool  `json:"reaches_high"`
	LargestJump    int64 `json:"largest_jump"`
	StartUpNotZero int   `json:"start_up_not_zero"`
	StopsOnLoss    int   `json:"stops_on_loss"`
	JumpAtLoss     int64 `json:"jump_at_loss"`
	JumpAfterLoss  int64 `json:"jump_after_loss"`
}

// Mix is the sum and the difference of the commands of two channels.
type Mix struct {
	A          string `json:"a"`
	B          string `json:"b"`
	Sum        Range  `json:"sum"`
	Difference Range  `json:"difference"`
}

// Range is the smallest and the largest of some commands, and how many were
// clipped.
type Range struct {
	Min     int64 `json:"min"`
	Max     int64 `json:"max"`
	Clipped int   `json:"clipped"`
}

// Shown is the channel's name with its label.
func (c *CalibrateChannel) Shown() string { return named(c.Name, c.Label) }

// NewCalibrate starts the document of `calibrate`.
func NewCalibrate() *Calibrate {
	return &Calibrate{Schema: "widthwise.calibrate/1", Captures: []any{}, Safety: TrialSafety + " " + Safety}
}

// Unreadable tells of a capture that could not be read.
func (c *Calibrate) Unreadable(file, problem string) {
	c.Captures = append(c.Captures, unread(file, problem))
}

// Add appends a capture.
func (c *Calibrate) Add(capture *CalibrateCapture) { c.Captures = append(c.Captures, capture) }

// NewCalibrateCapture starts what is told of one capture.
func NewCalibrateCapture(h *formats.Header, a *decode.Analysis) *CalibrateCapture {
	return &CalibrateCapture{Facts: newFacts(h, a), Channels: []*CalibrateChannel{}}
}

// Add appends a channel. Its proof is of the constants given, which come from a
// file where stated; nil proves nothing.
func (c *CalibrateCapture) Add(ch *calibrate.Channel, label string, k calibrate.Constants, stated bool, proof *calibrate.Proof) {
	out := &CalibrateChannel{
		Name: ch.Analysis.Name, Label: label,
		Low: none, LowU95: none, Neutral: none, NeutralU95: none, High: none, HighU95: none,
		NeutralFromBelow: Number(ch.Places.FromBelow), NeutralFromAbove: Number(ch.Places.FromAbove), Step: Number(ch.Places.Step),
		Deadband: Number(ch.Deadband), EndMargin: Number(ch.EndMargin), LossAfter: Seconds(ch.LossAfter), Reversed: ch.Turned,
		Missing: append([]string{}, ch.Missing...), Said: append([]string{}, ch.Said...),
		Given: stated, OneWay: math.IsNaN(k.Neutral),
	}
	for _, p := range []struct {
		place     *places.Place
		mean, u95 *Number
		visits    *int
	}{{ch.Places.Low, &out.Low, &out.LowU95, &out.LowVisits}, {ch.Places.Neutral, &out.Neutral, &out.NeutralU95, &out.NeutralVisits},
		{ch.Places.High, &out.High, &out.HighU95, &out.HighVisits}} {
		if p.place != nil {
			*p.mean, *p.u95, *p.visits = Number(p.place.Mean), Number(p.place.U95), len(p.place.Visits)
		}
	}
	out.LowVisits, out.HighVisits = ch.Places.EndVisits[0], ch.Places.EndVisits[1]
	if proof != nil {
		p := Proof(*proof)
		out.Proof = &p
	}
	c.Channels = append(c.Channels, out)
}

// Mixed tells of two channels' commands added and subtracted.
func (c *CalibrateCapture) Mixed(a, b string, sum, difference calibrate.Range) {
	c.Mix = &Mix{a, b, Range(sum), Range(difference)}
}

// Complete says whether every constant was found, and Empty whether none was.
func (c *CalibrateChannel) Complete() bool {
	return !slices.ContainsFunc([]Number{c.Low, c.Neutral, c.High, c.Deadband}, Number.Missing)
}

// Empty says that no constant was found.
func (c *CalibrateChannel) Empty() bool {
	return c.Low.Missing() && c.Neutral.Missing() && c.High.Missing()
}
