package calibrate

import (
	"iter"

	"widthwise/decode"
)

// Range is what a mix commands: the smallest, the largest, and how many were
// clipped at full scale.
type Range struct {
	Min, Max int64
	Clipped  int
}

// Mix adds and subtracts the commands of two channels, as a drive with two
// motors does. Each command of a goes with b's latest one of the last period;
// where there is none nothing is counted. seen is how many were.
func Mix(a, b iter.Seq[Command], period decode.Time, full int64) (sum, difference Range, seen int) {
	next, stop := iter.Pull(b)
	defer stop()
	coming, more := next()
	var latest *Command
	for cmd := range a {
		for more && coming.Start <= cmd.Start {
			if !coming.Ignored {
				now := coming
				latest = &now
			}
			coming, more = next()
		}
		if cmd.Ignored || latest == nil || !latest.Stop && cmd.Start-latest.Start > period+period/20 {
			continue
		}
		sum.add(cmd.Value+latest.Value, full, seen == 0)
		difference.add(cmd.Value-latest.Value, full, seen == 0)
		seen++
	}
	return sum, difference, seen
}

func (r *Range) add(v, full int64, first bool) {
	if v > full || v < -full {
		r.Clipped++
	}
	v = clip(v, -full, full)
	if first {
		r.Min, r.Max = v, v
	}
	r.Min, r.Max = min(r.Min, v), max(r.Max, v)
}
