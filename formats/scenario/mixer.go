package scenario

import (
	"cmp"
	"hash/fnv"
	"math"
	"math/rand/v2"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// op is something that begins and ends on a wire.
type op uint8

const (
	opPulse   op = iota // active
	opBreak             // not active, whatever the pulses
	opFlip              // the other level; twice is none
	opLow               // held low, whatever the signal
	opHigh              // held high
	opUnknown           // not known
	ops
)

// event is a beginning (step 1) or an end (-1).
type event struct {
	at   decode.Time
	op   op
	step int8
}

// change is a new level of a wire.
type change struct {
	At    decode.Time
	Level decode.Level
}

// filler puts events on a wire: a signal or a fault. It adds all that begin
// before the given time, and remembers where it stopped.
type filler interface {
	fill(w *mixer, until decode.Time)
}

// mixer turns what fillers put on it into changes of level, a window at a time.
type mixer struct {
	fillers []filler
	// frameFaults are shared by the parts, which follow one another.
	frameFaults []*frameFault
	margin      decode.Time // how far before a frame its events may lie
	pace        float64     // events a second, at most about
	events      []event
	count       [ops]int
	level       decode.Level
	started     bool
	done        decode.Time
	changes     []change
	truth       *ChannelTruth // where what is put on the wire is noted, or nil
}

func (w *mixer) push(at decode.Time, o op, step int8) {
	w.events = append(w.events, event{max(at, w.done), o, step})
}

func (w *mixer) add(o op, from, to decode.Time) {
	if from = max(from, w.done); from < to {
		w.events = append(w.events, event{from, o, 1}, event{to, o, -1})
	}
}

// advance returns the changes from where it stopped to before until. They are
// valid until the next call.
func (w *mixer) advance(until decode.Time) []change {
	if !w.started {
		w.started = true
		w.push(0, opPulse, 0)
	}
	for _, f := range w.fillers {
		f.fill(w, until+w.margin)
	}
	byTime := func(a, b event) int { return cmp.Compare(a.at, b.at) }
	if !slices.IsSortedFunc(w.events, byTime) {
		slices.SortFunc(w.events, byTime)
	}
	w.changes = w.changes[:0]
	i := 0
	for i < len(w.events) && w.events[i].at < until {
		at := w.events[i].at
		for ; i < len(w.events) && w.events[i].at == at; i++ {
			w.count[w.events[i].op] += int(w.events[i].step)
		}
		if level := w.now(); level != w.level || at == 0 {
			w.level = level
			w.changes = append(w.changes, change{at, level})
		}
	}
	w.events = w.events[:copy(w.events, w.events[i:])]
	w.done = until
	return w.changes
}

func (w *mixer) now() decode.Level {
	active := w.count[opPulse] > 0 && w.count[opBreak] == 0
	switch {
	case w.count[opUnknown] > 0:
		return decode.Unknown
	case w.count[opLow] > 0:
		return decode.Low
	case w.count[opHigh] > 0:
		return decode.High
	case active != (w.count[opFlip]&1 == 1):
		return decode.High
	}
	return decode.Low
}

// mixer builds channel i. Without crosstalk it is as others see it, which keeps
// two channels that disturb each other from going round in a circle.
func (s *Scenario) mixer(i int, truth *ChannelTruth, crosstalk bool) *mixer {
	spec := &s.Channels[i]
	w := &mixer{truth: truth, frameFaults: s.frameFaults(i)}
	from := decode.Time(0)
	for j := -1; j < len(spec.Then); j++ {
		carried, to := &spec.Carried, decode.Time(math.MaxInt64)
		if j >= 0 {
			carried = &spec.Then[j].Carried
		}
		if j+1 < len(spec.Then) {
			to = decode.Time(spec.Then[j+1].At)
		}
		s.carry(w, i, carried, from, to, crosstalk)
		from = to
	}
	for n := range s.Faults {
		if f := &s.Faults[n]; slices.Contains(s.channelsOf(f), spec.Name) {
			s.applyFault(w, i, n, crosstalk)
		}
	}
	return w
}

// carry puts a signal on w for the time between from and to.
func (s *Scenario) carry(w *mixer, i int, c *Carried, from, to decode.Time, crosstalk bool) {
	low := c.Active == "low"
	switch c.Kind {
	case "servo", "duty", "pulse-position":
		g := s.framed(i, c, from, to, w)
		w.fillers = append(w.fillers, g)
		w.margin = max(w.margin, g.margin)
		w.pace += g.pace
	case "serial":
		low = c.Active != "high"
		w.fillers = append(w.fillers, newSerial(s.chance(s.Channels[i].Name, "serial", int64(from)), c.BitUs, c.Text, c.BurstBytes, decode.Time(c.Gap), from, to))
		w.pace += 1e6 / c.BitUs
	case "echo":
		src := s.mixer(s.channel(c.Of), nil, crosstalk)
		share := c.Share
		if share == 0 {
			share = 0.6
		}
		w.fillers = append(w.fillers, &echo{src: src, rng: s.chance(s.Channels[i].Name, "echo", int64(from)), share: share, from: from, to: to})
		w.pace += src.pace
	case "noise":
		w.fillers = append(w.fillers, newNoise(s.chance(s.Channels[i].Name, "noise", int64(from)), c.MeanUs, c.WidthUs, from, to))
		w.pace += 4e6 / c.MeanUs
	case "silent":
		low = c.Level == "high"
	case "mark":
		low = c.Level == "high"
		s.mark(w, c, s.chance(s.Channels[i].Name, "mark"), from, to)
	}
	if low {
		w.fillers = append(w.fillers, &once{opFlip, from, to})
	}
}

// chance is a stream of random numbers that depends on the seed, a name, a
// purpose and numbers that tell equal ones apart, and on nothing else.
func (s *Scenario) chance(name, purpose string, more ...int64) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(name))
	h.Write([]byte{0})
	h.Write([]byte(purpose))
	for _, n := range more {
		for shift := 0; shift < 64; shift += 8 {
			h.Write([]byte{byte(n >> shift)})
		}
	}
	return rand.New(rand.NewPCG(uint64(s.Seed), h.Sum64()))
}

// micros returns us microseconds as a time.
func micros(us float64) decode.Time { return decode.Time(math.Round(us * 1e6)) }

// once is one stretch.
type once struct {
	op       op
	from, to decode.Time
}

func (o *once) fill(w *mixer, until decode.Time) {
	if o.from < o.to && o.from < until {
		w.add(o.op, o.from, o.to)
		o.to = o.from
	}
}
