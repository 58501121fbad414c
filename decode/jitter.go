package decode

import (
	"iter"
	"math"
)

// jitter pools the rests.
func (c *channel) jitter(all []reading, rests []segment) *Jitter {
	nan := math.NaN()
	j := &Jitter{WidthRMS: nan, WidthRMSCorrected: nan, WidthP99: nan, WidthPP: nan, WidthLargest: nan,
		PeriodRMS: c.frames.intervals.sd() / float64(Microsecond), CycleToCycleRMS: c.frames.cycles.rms() / float64(Microsecond),
		WidthRMSLow95: nan, WidthRMSHigh95: nan}
	var squares, degrees, largest float64
	var widest Time
	for i := range rests {
		w := &rests[i].widths
		j.WidthN += w.n
		squares += rests[i].spread
		degrees += float64(w.n - 1)
		widest = max(widest, Time(w.max-w.min))
		if rests[i].noisy { // a stick that creeps or turns may come as far
			largest = max(largest, float64(w.max)-w.mean(), w.mean()-float64(w.min))
		}
	}
	if j.WidthN < restFrames {
		return j
	}
	rms := math.Sqrt(squares / degrees)
	j.WidthRMS = rms / float64(Microsecond)
	j.WidthPP = micros(widest)
	residuals, byTime := c.residuals(all, rests, j.WidthN)
	j.WidthLargest = largest / float64(Microsecond)
	if j.WidthN >= 100 {
		j.WidthP99 = quantile(residuals, 0.99) / float64(Microsecond)
	}
	if u := student95 * byTime.jackknife(func(m *moments) float64 { return math.Log(m.rms()) }); rms > 0 {
		j.WidthRMSLow95, j.WidthRMSHigh95 = j.WidthRMS*math.Exp(-u), j.WidthRMS*math.Exp(u)
	}
	if c.step > 0 && rms >= resolvedAt*c.step || c.step == 0 && rms > 0 {
		j.Resolved = true
		j.WidthRMSCorrected = math.Sqrt(max(0, rms*rms-c.step*c.step/6)) / float64(Microsecond)
	}
	return j
}

// resolvedAt is the jitter, in time steps, from which it is told from the half
// a step that a steady width between two steps may read.
const resolvedAt = 0.53

// residuals returns |width - mean of its rest| in picoseconds, and by time.
func (c *channel) residuals(all []reading, rests []segment, n int64) (off []uint32, byTime *batched) {
	off = make([]uint32, 0, n)
	byTime = c.rec.batched()
	for b, mean := range atRest(all, rests) {
		d := int64(math.Abs(math.Round(float64(b.width) - mean)))
		off = append(off, uint32(d))
		byTime.add(b.start, d)
	}
	return off, byTime
}

// atRest yields the readings that the rests are made of, each with the mean of its
// rest in picoseconds.
func atRest(all []reading, rests []segment) iter.Seq2[reading, float64] {
	return func(yield func(reading, float64) bool) {
		i, mean := 0, math.NaN()
		for _, b := range all {
			for i < len(rests) && rests[i].end < b.start {
				i, mean = i+1, math.NaN()
			}
			if i == len(rests) {
				return
			}
			if b.start < rests[i].start || b.note&aside != 0 {
				continue
			}
			if math.IsNaN(mean) {
				mean = rests[i].widths.mean()
			}
			if !yield(b, mean) {
				return
			}
		}
	}
}
