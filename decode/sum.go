package decode

import "math"

// Bounds of a pulse-position stream. Published autopilots (PX4 hrt.c, ArduPilot
// AP_RCProtocol_PPMSum.cpp) accept markers of 200 to 600 us and slots of 700 to
// 2300 us, and lock after four frames; the limits of markers are wider here.
const (
	minMarker   = 100 * Microsecond
	maxMarker   = 800 * Microsecond
	minSpacings = 5
	minCycle    = 5 // spacings in a frame: slots and one sync
	maxCycle    = 17
	minSlot     = 700 * Microsecond
	maxSlot     = 2300 * Microsecond
	longestSlot = 2500 * Microsecond // longer is two slots, or a gap
	syncOver    = 300 * Microsecond
	lockFrames  = 4
	lockMarkers = 240  // that the number of slots is found from
	syncFrames  = 4000 // that the sync is found from
	lostFrames  = 6    // of which none can be followed: look anew
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
	if slots*10 < (len(starts)-1)*6 || spread > 60e6 || single < 20e6 || spread*4 > single {
		return false
	}
	for shorter := 2; shorter < minCycle; shorter++ {
		if lagSpread(starts, shorter)*4 <= single {
			return false // servo frames that alternate
		}
	}
	return true
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
