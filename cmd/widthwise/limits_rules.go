package main

import (
	"fmt"
	"math"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/formats/tomlfile"
)

// apply takes what a section states into the rule.
func (s section) apply(in stated, r *rule) error {
	l := &r.limits
	if err := s.ranges(in, l); err != nil {
		return err
	}
	for _, n := range []struct {
		key     string
		from    *float64
		to      *float64
		percent bool
	}{
		{"width_jitter_warn_us", in.WidthJitterWarn, &l.WidthJitterWarn, false},
		{"width_jitter_fail_us", in.WidthJitterFail, &l.WidthJitterFail, false},
		{"period_warn_percent", in.PeriodWarnPercent, &l.PeriodWarnPercent, true},
		{"period_fail_percent", in.PeriodFailPercent, &l.PeriodFailPercent, true},
		{"frame_warn_percent", in.FrameWarnPercent, &l.FrameWarnPercent, true},
		{"period_jitter_warn_us", in.PeriodJitterWarn, &l.PeriodJitterWarn, false},
		{"dropped_fail_percent", in.DroppedFail, &l.DroppedFailPercent, true},
		{"glitch_fail_percent", in.GlitchFail, &l.GlitchFailPercent, true},
	} {
		switch {
		case n.from == nil:
		case !(*n.from >= 0) || math.IsInf(*n.from, 0):
			return s.refuse(n.key, accepted[n.key]+", or 0 for no limit", "%s = %g is below zero", n.key, *n.from)
		case n.percent && *n.from > 100:
			return s.refuse(n.key, accepted[n.key], "%s = %g is more than 100 %%", n.key, *n.from)
		default:
			*n.to = *n.from
		}
	}
	if g := in.GlitchBelow; g != nil {
		if !(*g >= 1 && *g <= 3000) {
			return s.refuse("glitch_below_us", "a number from 1 to 3000", "glitch_below_us = %g would leave no pulse apart from a glitch", *g)
		}
		r.stated.GlitchBelow = decode.Time(math.Round(*g * float64(decode.Microsecond)))
	}
	if in.MinFrames != nil {
		if *in.MinFrames < 1 {
			return s.refuse("min_frames", "at least 1", "min_frames = %d would let a dead wire pass", *in.MinFrames)
		}
		l.MinFrames = *in.MinFrames
	}
	return s.words(in, r)
}

// ranges takes the width limits, each a pair of the lowest and the highest.
func (s section) ranges(in stated, l *decode.Limits) error {
	for _, w := range []struct {
		key  string
		from []float64
		to   *[2]float64
	}{{"width_warn_us", in.WidthWarn, &l.WidthWarn}, {"width_fail_us", in.WidthFail, &l.WidthFail}} {
		switch {
		case w.from == nil:
			continue
		case len(w.from) != 2:
			return s.refuse(w.key, accepted[w.key], "%s has %s", w.key, phrase.Count(len(w.from), "number"))
		case !(w.from[0] >= 0) || !(w.from[0] < w.from[1]) || math.IsInf(w.from[1], 0):
			return s.refuse(w.key, accepted[w.key], "%s = [%g, %g] does not rise from lowest to highest", w.key, w.from[0], w.from[1])
		}
		*w.to = [2]float64(w.from)
		l.WidthStated = true
	}
	return nil
}

// words takes what is written as a string.
func (s section) words(in stated, r *rule) error {
	for _, d := range []struct {
		key  string
		from *tomlfile.Duration
		to   *decode.Time
	}{{"period", in.Period, &r.stated.Period}, {"loss_after", in.LossAfter, &r.stated.LossAfter}} {
		if d.from == nil {
			continue
		}
		if *d.from <= 0 {
			return s.refuse(d.key, "a length of time, such as 22ms", "%s is not above zero", d.key)
		}
		*d.to = decode.Time(*d.from)
	}
	if in.Active != nil {
		level, err := parseLevel(*in.Active)
		if err != nil {
			return s.refuse("active", accepted["active"], "active = %q is not a level", *in.Active)
		}
		r.stated.Active = level
	}
	if in.Signal != nil {
		switch signal := decode.Signal(*in.Signal); signal {
		case decode.Servo, decode.PulsePosition, decode.Duty, decode.Serial:
			r.stated.Signal = signal
		default:
			return s.refuse("signal", accepted["signal"], "signal = %q is no kind of signal", *in.Signal)
		}
	}
	return nil
}

// settle refuses limits that contradict each other. A milder limit that was
// stated for more channels, or not at all, gives way to a stricter one.
func (s section) settle(r *rule) error {
	if err := s.settleMilder(&r.limits); err != nil {
		return err
	}
	fail, below := r.limits.WidthFail, float64(r.stated.GlitchBelow)/float64(decode.Microsecond)
	if s.known("glitch_below_us") && fail[1] > 0 && below > fail[0] {
		return s.refuse("glitch_below_us", fmt.Sprintf("at most %g", fail[0]), "glitch_below_us = %g is above the lowest width of width_fail_us = [%g, %g]",
			below, fail[0], fail[1])
	}
	if p := r.stated.Period; s.known("period") && (p < shortestFrame || p > longestFrame) {
		return s.refuse("period", accepted["period"], "period = %s: frames come 1 ms to 1 s apart", spelled(p))
	}
	if e := r.stated; e.Period > 0 && e.LossAfter > 0 && e.LossAfter <= e.Period {
		return s.refuse("loss_after", "several periods", "loss_after = %s is no longer than period = %s, so every frame would be a loss", spelled(e.LossAfter), spelled(e.Period))
	}
	return nil
}

// settleMilder holds what warns against what fails.
func (s section) settleMilder(l *decode.Limits) error {
	if outside(l.WidthWarn, l.WidthFail) {
		if s.states("width_warn_us") {
			return s.refuse("width_warn_us", "limits that warn before they fail", "width_warn_us = [%g, %g] reaches past width_fail_us = [%g, %g]",
				l.WidthWarn[0], l.WidthWarn[1], l.WidthFail[0], l.WidthFail[1])
		}
		l.WidthWarn = [2]float64{max(l.WidthWarn[0], l.WidthFail[0]), min(l.WidthWarn[1], l.WidthFail[1])}
		if l.WidthWarn[0] >= l.WidthWarn[1] {
			l.WidthWarn = l.WidthFail
		}
	}
	for _, p := range []struct {
		warnKey, failKey string
		warn, fail       *float64
	}{
		{"width_jitter_warn_us", "width_jitter_fail_us", &l.WidthJitterWarn, &l.WidthJitterFail},
		{"period_warn_percent", "period_fail_percent", &l.PeriodWarnPercent, &l.PeriodFailPercent},
	} {
		if *p.fail == 0 || *p.warn <= *p.fail {
			continue
		}
		if s.states(p.warnKey) {
			return s.refuse(p.warnKey, "a warning that comes before the failure", "%s = %g is above %s = %g", p.warnKey, *p.warn, p.failKey, *p.fail)
		}
		*p.warn = *p.fail
	}
	return nil
}

// outside tells whether a pair of limits reaches past another that is set.
func outside(inner, outer [2]float64) bool {
	return outer[1] > 0 && inner[1] > 0 && (inner[0] < outer[0] || inner[1] > outer[1])
}
