package scenario

import (
	"io"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// signals makes a scenario up as it is read, a window of time at a time.
type signals struct {
	header   capture.Header
	channels []decode.Channel
	wires    []*lane // nil where nothing is wanted
	sampler  exact.Sampler
	holes    *Fault      // stretches without samples
	shift    decode.Time // from time since the start to stamps, before sampling
	length   decode.Time
	window   decode.Time
	done     decode.Time
	edges    *capture.Edges
	rows     int64 // edges so far
}

// lane is one selected channel on its way through the sampler.
type lane struct {
	mixer *mixer
	holes episodes
	hole  [2]decode.Time // the current one
	// waiting is the last change, which a later one on the same sample undoes.
	waiting change
	pending bool
}

// source builds the capture. The scenario has been checked.
func (s *Scenario) source(o capture.Options) (*signals, error) {
	rate, phase, err := s.sampling()
	if err != nil {
		return nil, err
	}
	src := &signals{
		sampler: exact.Sampler{Rate: rate, Start: decode.Time(s.Start)},
		shift:   decode.Time(s.Start) + phase,
		length:  decode.Time(s.Length),
		header:  capture.Header{Format: "scenario", Dialect: "exact edges"},
	}
	if rate.Num != 0 {
		src.header.Dialect = "sampled at " + s.Sampling
	}
	for i := range s.Faults {
		if s.Faults[i].Kind == "uneven-time" {
			src.holes = &s.Faults[i]
		}
	}
	choose, pace := capture.NewSelector(o), 1.0
	for i, w := range s.Channels {
		v := capture.Variable{Name: w.Name, Kind: "digital", Width: 1}
		selected, named := choose.Match(v)
		v.Selected = selected
		src.header.Variables = append(src.header.Variables, v)
		l := &lane{mixer: s.mixer(i, nil, true)}
		if src.holes != nil {
			l.holes = newEpisodes(src.holes)
		}
		pace = max(pace, l.mixer.pace)
		src.wires = append(src.wires, l)
		src.channels = append(src.channels, decode.Channel{Name: w.Name, Named: named, Witness: !selected})
	}
	// A window holds some thousand events of the busiest channel.
	src.window = min(decode.Time(4096/pace*1e12)+1, 2*decode.Second)
	src.edges = capture.NewEdges(len(src.wires))
	return src, choose.Unmatched()
}

// sampling returns the sample rate, 0 for an exact capture, and how much later
// than stated everything happens, so that edges fall anywhere between samples.
// A phase below zero is a bad one.
func (s *Scenario) sampling() (rate exact.Rate, phase decode.Time, err error) {
	if oneOf(s.Sampling, "", "exact") {
		return exact.Rate{}, 0, nil
	}
	if rate, err = exact.ParseRate(s.Sampling); err != nil {
		return exact.Rate{}, 0, err
	}
	step := float64(rate.Den) / float64(rate.Num) * 1e12
	if oneOf(s.SamplingPhase, "", "random") {
		return rate, decode.Time(s.chance("", "sampling").Float64() * step), nil
	}
	phase, err = exact.ParseDuration(s.SamplingPhase)
	if err != nil || float64(phase) >= step {
		return rate, -1, nil
	}
	return rate, phase, nil
}

func (s *signals) Header() *capture.Header    { return &s.header }
func (s *signals) Channels() []decode.Channel { return s.channels }
func (s *signals) Close() error               { return nil }

func (s *signals) Want(channel int, n decode.Need) {
	if n == decode.Nothing {
		s.wires[channel] = nil
	}
}

func (s *signals) end() decode.Time {
	return s.sampler.Down(s.sampler.Start + s.length)
}

// Next makes up the next window of time.
func (s *signals) Next() (*decode.Block, error) {
	if s.done > s.length {
		return nil, io.EOF
	}
	s.done = min(s.done+s.window, s.length+1)
	last := s.done > s.length
	until := min(s.sampler.Up(s.shift+s.done), s.end())
	s.edges.Reset()
	for i, l := range s.wires {
		if l == nil {
			continue
		}
		for _, c := range l.mixer.advance(s.done) {
			s.take(i, c)
		}
		if l.pending && (last || l.waiting.At < until) {
			s.emit(i)
		}
	}
	block := s.edges.Take(s.facts(), until)
	for _, run := range block.Runs {
		s.rows += int64(len(run.At))
	}
	return block, nil
}

// take samples one change. The level at the start is that of the first sample.
func (s *signals) take(channel int, c change) {
	l := s.wires[channel]
	first := c.At == 0
	c.At = s.sampler.Up(c.At + s.shift)
	if first {
		c.At = s.sampler.Start
	}
	if s.holes != nil {
		c.At = s.skipHole(l, c.At)
	}
	if l.pending && c.At > l.waiting.At {
		s.emit(channel)
	}
	l.waiting, l.pending = c, true
}

// skipHole returns t, or the first sample after the hole it falls into.
func (s *signals) skipHole(l *lane, t decode.Time) decode.Time {
	for {
		from, ok := l.holes.take(t - s.sampler.Start)
		if !ok {
			break
		}
		l.hole = s.holeAt(from)
	}
	if t > l.hole[0] && t < l.hole[1] {
		return l.hole[1]
	}
	return t
}

// holeAt returns the last sample before and the first after a hole.
func (s *signals) holeAt(from decode.Time) [2]decode.Time {
	from += s.sampler.Start
	return [2]decode.Time{s.sampler.Down(from), s.sampler.Up(from + decode.Time(s.holes.For))}
}

// emit passes the waiting change on, if it is not after the end.
func (s *signals) emit(channel int) {
	l := s.wires[channel]
	l.pending = false
	if l.waiting.At <= s.end() {
		s.edges.Set(channel, l.waiting.Level, l.waiting.At)
	}
}

func (s *signals) facts() decode.Facts {
	f := decode.Facts{Start: s.sampler.Start, Unit: decode.Picosecond}
	if s.sampler.Rate.Num != 0 {
		f.Unit = s.sampler.Unit()
	}
	return f
}

// Origin tells the sampling of the capture.
func (s *signals) Origin() decode.Origin {
	o := decode.Origin{Start: s.sampler.Start, End: s.end(), EndStated: true, Unit: s.facts().Unit}
	if s.sampler.Rate.Num == 0 {
		o.ChangesOnly, o.Rows = true, s.rows
		return o
	}
	o.Step = 1e12 * float64(s.sampler.Rate.Den) / float64(s.sampler.Rate.Num)
	o.Rows = s.sampler.Index(o.End) + 1
	if s.holes != nil {
		s.unevenness(&o)
	}
	return o
}

// unevenness counts the holes.
func (s *signals) unevenness(o *decode.Origin) {
	times := newEpisodes(s.holes)
	for {
		from, ok := times.take(s.length)
		if !ok {
			return
		}
		hole := s.holeAt(from)
		if hole[1] > o.End {
			return
		}
		if o.Uneven.Count == 0 {
			o.Uneven.Start = hole[0]
		}
		o.Uneven.Count++
		o.Uneven.End = hole[1]
		o.Uneven.Largest = max(o.Uneven.Largest, hole[1]-hole[0])
		o.Rows -= s.sampler.Index(hole[1]) - s.sampler.Index(hole[0]) - 1
	}
}
