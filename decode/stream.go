package decode

import (
	"fmt"
	"math"
	"strings"

	"golang.org/x/exp/slices"
)

// markers are a row that is being taken apart, stretch by stretch of
// one number of slots.
type markers struct {
	starts []Time
	blind  []int   // markers before which the level was unknown
	stuck  []entry // marks that no frame can hold

	stretches []slotting
	whole     *train
	slots     []*train
}

// slotting is how the frames of one stretch are laid out.
type slotting struct {
	k         int  // spacings in a frame: its slots and the sync
	first     int  // a marker that begins a frame
	bySync    bool // the sync is longer than any slot by more than 300 us
	ambiguous bool // nothing tells which spacing is the sync
	frame     Time // length of the last frame
	last      int  // where the last frame began
	begin     Time // leading edge of the first frame used
}

// splitStream takes a pulse-position stream apart: frames become a train of
// their own, slots become channels.
func (r *Recording) splitStream(a *Analysis, ca *ChannelAnalysis, w *channelState) {
	s := &markers{whole: &train{}}
	ca.Width = s.read(&w.markers)
	s.split()
	if len(s.stretches) == 0 {
		return
	}
	s.useStuck(r.end)
	a.Notes = append(a.Notes, s.notes(ca.Name)...)
	ca.channel = &channel{ChannelAnalysis: ca, rec: r, pulses: s.whole, step: r.resolution, stream: true, markers: int64(len(s.starts))}
	for i, t := range s.slots {
		slot := newChannelAnalysis(fmt.Sprintf("%s.%d", ca.Name, i+1), w)
		slot.Signal, slot.Active = Servo, ca.Active
		slot.channel = &channel{ChannelAnalysis: slot, rec: r, pulses: t, step: r.resolution, slot: true}
		ca.Slots = append(ca.Slots, slot)
	}
}

// read takes the markers and describes their widths.
func (s *markers) read(t *train) *Summary {
	var widths moments
	all := make([]uint32, 0, t.n)
	rd := t.read()
	for m, ok := rd.next(); ok; m, ok = rd.next() {
		if m.marks&stuck != 0 {
			s.stuck = append(s.stuck, m)
			continue
		}
		if m.marks&afterBlind != 0 {
			s.blind = append(s.blind, len(s.starts))
		}
		s.starts = append(s.starts, m.start)
		widths.add(int64(m.width))
		all = append(all, uint32(m.width))
	}
	us := float64(Microsecond)
	return &Summary{N: widths.n, Min: Time(widths.min), Max: Time(widths.max), P01: quantile(all, 0.01) / us,
		Median: quantile(all, 0.5) / us, P99: quantile(all, 0.99) / us, Mean: widths.mean() / us, SD: widths.sd() / us, MeanU95: math.NaN()}
}

// notes says what was assumed about the slots, and how their number changed.
func (s *markers) notes(name string) []Remark {
	var out []Remark
	if slices.ContainsFunc(s.stretches, func(x slotting) bool { return x.ambiguous }) {
		out = append(out, Remarkf(SyncAmbiguous, name, "which spacing is the sync is ambiguous; the slots may be numbered from another one"))
	}
	var words []string
	for i, x := range s.stretches {
		if i == 0 {
			words = append(words, fmt.Sprintf("%d slots", x.k-1))
		} else if x.k != s.stretches[i-1].k {
			words = append(words, fmt.Sprintf("until %s s, then %d", x.begin.Seconds(1), x.k-1))
		}
	}
	if len(words) > 1 {
		out = append(out, Remark{SlotsChanged, name, strings.Join(words, " ")})
	}
	return out
}

// split follows frames by count from where four have been seen that fit, and
// looks anew where they cannot be followed any more.
func (s *markers) split() {
	for at := 0; at+lockFrames*minCycle < len(s.starts); {
		x, ok := layout(s.starts[at:])
		if !ok {
			return
		}
		x.first += at
		next, locked := s.follow(&x)
		if locked {
			s.stretches = append(s.stretches, x)
		}
		if next <= at {
			next = at + minCycle
		}
		at = next
	}
}

// layout finds how the frames that begin with these markers are laid out.
func layout(starts []Time) (x slotting, ok bool) {
	if x.k, _ = cycle(starts[:min(len(starts), lockMarkers)]); x.k == 0 {
		return x, false
	}
	from, until := steadyCycles(starts, x.k)
	n := (until - from) / x.k
	if n == 0 {
		return x, false
	}
	mean := make([]float64, x.k)
	for i := range n * x.k {
		mean[i%x.k] += float64(starts[from+i+1]-starts[from+i]) / float64(n)
	}
	at, longest, second := 0, 0.0, 0.0
	for i, m := range mean {
		x.frame += Time(m)
		if m > longest {
			at, longest, second = i, m, longest
		} else {
			second = max(second, m)
		}
	}
	if x.bySync = longest-second > float64(syncOver); !x.bySync {
		mover, moves := movesMost(starts[from:], x.k, n)
		if x.ambiguous = !moves; moves {
			at = mover
		}
	}
	x.first = (from + at + 1) % x.k
	return x, true
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

// movesMost returns the spacing that moves whenever another does: the sync of a
// frame of fixed length, once two slots have moved at different times. Any
// spacing of such a frame is what the sum of the others leaves; only the sync
// answers for all of them.
func movesMost(starts []Time, k, n int) (at int, ok bool) {
	const lag = 16 // frames, over which slow moves show
	var all []Time
	for i := lag * k; i < n*k; i++ {
		all = append(all, absDiff(starts[i+1]-starts[i], starts[i+1-lag*k]-starts[i-lag*k]))
	}
	if len(all) == 0 {
		return 0, false
	}
	still := max(Microsecond, 5*Time(quantile(slices.Clone(all), 0.5)))
	moves := make([]int, k)
	for i, d := range all {
		if d > still {
			moves[i%k]++
		}
	}
	most := slices.Max(moves)
	at = slices.Index(moves, most)
	moves[at] = 0
	second := slices.Max(moves)
	return at, most >= second+lag/2 && most*5 >= second*6
}

// follow uses the frames of one stretch, once four in a row fit, and returns
// the marker after which none does.
func (s *markers) follow(x *slotting) (next int, locked bool) {
	var held []int
	i := x.first
	next = i
	for i+x.k < len(s.starts) {
		if !x.fits(s.starts[i : i+x.k+1]) {
			if !locked {
				held = nil
			}
			if i = s.resume(x, i); i < 0 {
				return next, locked
			}
			continue
		}
		length := s.starts[i+x.k] - s.starts[i]
		if within(length, x.frame, 10) { // and not with a gap after it
			x.frame = length
		}
		x.last = i
		if held = append(held, i); locked || len(held) == lockFrames {
			if !locked {
				locked, x.begin = true, s.starts[held[0]]
			}
			for _, f := range held {
				s.use(f, x.k)
			}
			held = held[:0]
		}
		i += x.k
		next = i
	}
	if locked && i+x.k == len(s.starts) && longestOf(s.starts[i:]) <= longestSlot {
		s.use(i, x.k) // the end of the capture cut off its sync
	}
	return len(s.starts), locked
}

// fits says whether the markers of a frame and the one after it are as many as
// there should be: the spacing where the sync is due is longer than any slot by
// more than 300 us, or the frame is as long as the one before.
func (x *slotting) fits(markers []Time) bool {
	longest := longestOf(markers[:x.k])
	if longest > longestSlot {
		return false
	}
	if markers[x.k]-markers[x.k-1] > longest+syncOver {
		return true
	}
	return absDiff(markers[x.k]-markers[0], x.frame) < syncOver
}

func longestOf(markers []Time) (longest Time) {
	for i := 1; i < len(markers); i++ {
		longest = max(longest, markers[i]-markers[i-1])
	}
	return longest
}

// resume returns the next marker after i that begins a frame; -1 where none
// does within a few frames.
func (s *markers) resume(x *slotting, i int) int {
	for j := i + 1; j+x.k < len(s.starts) && j <= i+lostFrames*x.k; j++ {
		frame := s.starts[j : j+x.k+1]
		if !x.fits(frame) {
			continue
		}
		before, after := s.starts[j]-s.starts[j-1], frame[x.k]-frame[x.k-1]
		if x.bySync && before > longestOf(frame[:x.k])+syncOver && before*10 > after*7 {
			return j // between two that are both a sync, or longer
		}
		off := (s.starts[j] - s.starts[x.last] + x.frame/2) % x.frame
		if absDiff(off, x.frame/2) < syncOver {
			return j
		}
	}
	return -1
}

// use takes a whole frame.
func (s *markers) use(first, k int) {
	var marks mark
	if n := len(s.blind); n > 0 && s.blind[0] <= first {
		marks = afterBlind
		for len(s.blind) > 0 && s.blind[0] <= first {
			s.blind = s.blind[1:]
		}
	}
	s.useStuck(s.starts[first])
	s.whole.add(entry{s.starts[first], s.starts[first+1] - s.starts[first], marks})
	for i := range k - 1 {
		if i == len(s.slots) {
			s.slots = append(s.slots, &train{})
		}
		s.slots[i].add(entry{s.starts[first+i], s.starts[first+i+1] - s.starts[first+i], marks})
	}
}

// useStuck takes the marks that no frame can hold up to a time.
func (s *markers) useStuck(until Time) {
	for len(s.stuck) > 0 && s.stuck[0].start < until {
		s.whole.add(s.stuck[0])
		s.stuck = s.stuck[1:]
	}
}
