package trace

import (
	"widthwise/decode"
	"widthwise/report"
)

// Lane is what there is of a judged channel, or of a slot of one: what is told,
// where it comes from, and what it was held to.
type Lane struct {
	Told     *report.Channel
	Measured *decode.ChannelAnalysis
	Judged   decode.ChannelJudgement
	Stream   *report.Channel // that a slot belongs to; nil elsewhere
}

// Lanes are those of a capture, each stream before its slots. A stream has no
// pulses of its own.
func Lanes(told *report.Capture, a *decode.Analysis, j *decode.Judgement) []Lane {
	named := map[string]*report.Channel{}
	for _, channel := range told.Channels {
		named[channel.Name] = channel
	}
	var out []Lane
	for i, measured := range a.Channels {
		channel, judged := named[measured.Name], j.Channels[i]
		if channel == nil || !channel.Judged {
			continue
		}
		out = append(out, Lane{channel, measured, judged, nil})
		for k, slot := range channel.Slots {
			out = append(out, Lane{slot, measured.Slots[k], judged.Slots[k], channel})
		}
	}
	return out
}

// IsStream says whether the lane's pulses are in the slots that follow it.
func (l Lane) IsStream() bool { return len(l.Told.Slots) > 0 }
