package decode

import (
	"fmt"
	"math"

	"golang.org/x/exp/slices"
)

// Bounds of a pulse-position stream. Firmware accepts markers of 200 to 600 us
// and slots of 700 to 2300 us; the limits here are wider.
const (
	minMarker   = 100 * Microsecond
	maxMarker   = 800 * Microsecond
	minSpacings = 5
	minCycle    = 5 // spacings in a frame: slots and one sync
	maxCycle    = 17
	minSlot     = 700 * Microsecond
	maxSlot     = 2300 * Microsecond
	syncOver    = 300 * Microsecond
	lockFrames  = 4
	syncFrames  = 4000 // that the sync is found from
)

// sumStream reports whether markers at these instants carry several channels
// one after the other.
func sumStream(starts []Time) bool {
	k, spread := cycle(starts)
	if k == 0 {
		return false
	}
	slots := 0
	for i := 1; i < len(starts); i++ {
		if d := starts[i] - starts[i-1]; d >= minSlot && d <= maxSlot {
			slots++
		}
	}
	single := lagSpread(starts, 1)
	return slots*10 >= (len(starts)-1)*6 && spread <= 60e6 && single >= 20e6 && spread*4 <= single
}

// cycle returns how many spacings make a frame: the k from 5 to 17 for which
// the sum of k successive spacings changes least, the smallest of equals.
func cycle(starts []Time) (k int, spread float64) {
	var spreads [maxCycle + 1]float64
	best := math.Inf(1)
	for k := minCycle; k <= maxCycle && 2*k < len(starts); k++ {
		spreads[k] = lagSpread(starts, k)
		best = min(best, spreads[k])
	}
	for k := minCycle; k <= maxCycle && 2*k < len(starts); k++ {
		if spreads[k] <= best*1.3+2e6 {
			return k, spreads[k]
		}
	}
	return 0, 0
}

// lagSpread is the mean change of the sum of k spacings from one marker to the
// next, in picoseconds; a single change counts 1 ms at most.
func lagSpread(starts []Time, k int) float64 {
	var sum Time
	n := 0
	for i := k + 1; i < len(starts); i++ {
		change := (starts[i] - starts[i-1]) - (starts[i-k] - starts[i-k-1])
		sum += min(max(change, -change), Millisecond)
		n++
	}
	if n == 0 {
		return math.Inf(1)
	}
	return float64(sum) / float64(n)
}

// splitStream takes a pulse-position stream apart: frames become a train of
// their own, slots become channels.
func (r *Recording) splitStream(a *Analysis, ca *ChannelAnalysis, w *channelState) {
	var starts []Time
	var widths moments
	var all []uint32
	rd := w.markers.read()
	for m, ok := rd.next(); ok; m, ok = rd.next() {
		starts = append(starts, m.start)
		widths.add(int64(m.width))
		all = append(all, uint32(m.width))
	}
	k, _ := cycle(starts[:min(len(starts), patternFrames)])
	if k == 0 {
		return
	}
	lock, sync, ambiguous := findSync(starts, k)
	if ambiguous {
		a.Notes = append(a.Notes, fmt.Sprintf("%s: which spacing is the sync is ambiguous; the slots may be numbered from another one", ca.Name))
	}
	us := float64(Microsecond)
	ca.Width = &Summary{N: widths.n, Min: Time(widths.min), Max: Time(widths.max), P01: quantile(all, 0.01) / us,
		Median: quantile(all, 0.5) / us, P99: quantile(all, 0.99) / us, Mean: widths.mean() / us, SD: widths.sd() / us, MeanU95: math.NaN()}
	whole := &train{}
	slots := make([]*train, k-1)
	for i := range slots {
		slots[i] = &train{}
	}
	wholeFrames(starts, k, lock, sync, func(first int) {
		whole.add(entry{starts[first], starts[first+1] - starts[first], 0})
		for s := range slots {
			slots[s].add(entry{starts[first+s], starts[first+s+1] - starts[first+s], 0})
		}
	})
	ca.channel = &channel{ChannelAnalysis: ca, rec: r, pulses: whole, step: r.resolution, stream: true, markers: widths.n}
	for i, t := range slots {
		s := &ChannelAnalysis{Name: fmt.Sprintf("%s.%d", ca.Name, i+1), Named: ca.Named, Witness: ca.Witness, Stated: ca.Stated, Signal: Servo, Active: ca.Active,
			Offset: math.NaN(), RateHz: math.NaN(), DutyLow: math.NaN(), DutyHigh: math.NaN(), BitTime: math.NaN()}
		s.channel = &channel{ChannelAnalysis: s, rec: r, pulses: t, step: r.resolution, slot: true}
		ca.Slots = append(ca.Slots, s)
	}
}

// findSync looks at the first row of whole cycles for the spacing that is the
// sync: the longest by more than 300 us, else the one that moves against the
// sum of the others. lock is the marker after it; sync is its shortest length
// seen there.
func findSync(starts []Time, k int) (lock int, sync Time, ambiguous bool) {
	from, until := steadyCycles(starts, k)
	n := (until - from) / k
	mean := make([]float64, k)
	for i := range n * k {
		mean[i%k] += float64(starts[from+i+1]-starts[from+i]) / float64(n)
	}
	order := make([]int, k)
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return int(mean[b] - mean[a]) })
	at := order[0]
	if mean[order[0]]-mean[order[1]] <= float64(syncOver) {
		against, ok := movesAgainst(starts[from:], k, n)
		if ok {
			at = against
		} else {
			ambiguous = true
		}
	}
	sync = Time(math.MaxInt64)
	for f := range n {
		i := from + f*k + at
		sync = min(sync, starts[i+1]-starts[i])
	}
	if mean[order[0]]-mean[order[1]] <= float64(syncOver) {
		sync = 0 // its length does not tell it from a slot
	}
	return from + at + 1, sync, ambiguous
}

// steadyCycles returns the first row of at least four cycles in which each
// spacing resembles the one a cycle before; the whole where there is none.
func steadyCycles(starts []Time, k int) (from, until int) {
	from = 0
	for i := k + 1; i < len(starts); i++ {
		change := (starts[i] - starts[i-1]) - (starts[i-k] - starts[i-k-1])
		if max(change, -change) > 400*Microsecond {
			if i-1-from >= (lockFrames+1)*k {
				return from, min(i-1, from+syncFrames*k)
			}
			from = i - k
		}
	}
	if len(starts)-1-from < lockFrames*k {
		from = 0
	}
	return from, min(len(starts)-1, from+syncFrames*k)
}

// movesAgainst returns the spacing whose length falls as the sum of the others
// grows.
func movesAgainst(starts []Time, k, n int) (int, bool) {
	found, best := 0, -0.8
	for at := range k {
		var l line
		for f := range n {
			i := f*k + at
			own := starts[i+1] - starts[i]
			l.add(micros(starts[f*k+k]-starts[f*k]-own), micros(own))
		}
		sxx, syy := l.xx-l.x*l.x/l.n, l.yy-l.y*l.y/l.n
		if sxx < 25*l.n || syy < 25*l.n {
			continue
		}
		if r := (l.xy - l.x*l.y/l.n) / math.Sqrt(sxx*syy); r < best {
			found, best = at, r
		}
	}
	return found, best < -0.8
}

// wholeFrames calls f with the first marker of every frame that has the right
// number of markers, once four in a row have had it.
func wholeFrames(starts []Time, k, lock int, sync Time, f func(first int)) {
	lock %= k
	frame := Time(0)
	locked := 0
	i := lock
	for i+k < len(starts) {
		length := starts[i+k] - starts[i]
		if locked >= lockFrames && starts[i+k]-starts[i+k-1] > frame && closesSlots(starts[i:i+k], sync) {
			f(i) // whole, though a gap follows in place of its sync
			i += k
			continue
		}
		good := frame == 0 || within(length, frame, 10)
		if good && sync > 0 {
			last := starts[i+k] - starts[i+k-1]
			good = last*100 >= sync*80
		}
		if good {
			frame = length
			if locked++; locked == lockFrames {
				for b := lockFrames - 1; b > 0; b-- {
					f(i - b*k)
				}
			}
			if locked >= lockFrames {
				f(i)
			}
			i += k
			continue
		}
		if locked < lockFrames {
			locked, frame = 0, 0
		}
		i = nextFrame(starts, i, frame, sync)
	}
	if locked >= lockFrames && i+k == len(starts) && closesSlots(starts[i:], sync) {
		f(i) // the end of the capture cut off its sync
	}
}

// closesSlots reports whether no sync lies among the markers of a frame.
func closesSlots(markers []Time, sync Time) bool {
	for j := 1; j < len(markers); j++ {
		if sync > 0 && (markers[j]-markers[j-1])*100 >= sync*80 {
			return false
		}
	}
	return true
}

// nextFrame finds the next marker that may begin a frame: the one after a
// sync, or the one a frame later.
func nextFrame(starts []Time, i int, frame, sync Time) int {
	for j := i + 1; j < len(starts); j++ {
		d := starts[j] - starts[j-1]
		if sync > 0 && d*100 >= sync*80 {
			return j
		}
		if sync == 0 && frame > 0 {
			off := (starts[j] - starts[i] + frame/2) % frame
			if absDiff(off, frame/2) < 300*Microsecond {
				return j
			}
		}
	}
	return len(starts)
}
