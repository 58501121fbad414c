package formats

import (
	"io"
	"math/bits"

	"widthwise/decode"
)

// scenarioSource makes a scenario up as it is read, a window of time at a time.
type scenarioSource struct {
	header   Header
	channels []decode.Channel
	wires    []*lane // nil where nothing is wanted
	sampler  sampler
	holes    *Fault      // stretches without samples
	shift    decode.Time // from time since the start to stamps, before sampling
	length   decode.Time
	window   decode.Time
	done     decode.Time
	edges    int64
	block    decode.Block
}

// lane is one selected channel on its way through the sampler.
type lane struct {
	wire  *wire
	holes episodes
	hole  [2]decode.Time // the current one
	// waiting is the last change, which a later one on the same sample undoes.
	waiting change
	pending bool
	last    decode.Level
	at      []decode.Time
	runs    []decode.Run // At still to be cut from at
	begins  []int
}

// source builds the capture. The scenario has been checked.
func (s *Scenario) source(o Options) (*scenarioSource, error) {
	rate, phase, err := s.sampling()
	if err != nil {
		return nil, err
	}
	src := &scenarioSource{
		sampler: sampler{rate: rate, start: decode.Time(s.Start)},
		shift:   decode.Time(s.Start) + phase,
		length:  decode.Time(s.Length),
		header:  Header{Format: "scenario", Dialect: "exact edges"},
	}
	if rate.Num != 0 {
		src.header.Dialect = "sampled at " + s.Sampling
	}
	for i := range s.Faults {
		if s.Faults[i].Kind == "uneven-time" {
			src.holes = &s.Faults[i]
		}
	}
	choose, pace := newSelector(o), 1.0
	for i, w := range s.Channels {
		v := Variable{Name: w.Name, Kind: "digital", Width: 1}
		selected, named := choose.match(v)
		v.Selected = selected
		src.header.Variables = append(src.header.Variables, v)
		if !selected {
			continue
		}
		l := &lane{wire: s.wire(i, nil, true)}
		if src.holes != nil {
			l.holes = newEpisodes(src.holes)
		}
		pace = max(pace, l.wire.pace)
		src.wires = append(src.wires, l)
		src.channels = append(src.channels, decode.Channel{Name: w.Name, Named: named})
	}
	// A window holds some thousand events of the busiest channel.
	src.window = min(decode.Time(4096/pace*1e12)+1, 2*decode.Second)
	return src, choose.unmatched()
}

// sampling returns the sample rate, 0 for an exact capture, and how much later
// than stated everything happens, so that edges fall anywhere between samples.
// A phase below zero is a bad one.
func (s *Scenario) sampling() (rate Rate, phase decode.Time, err error) {
	if oneOf(s.Sampling, "", "exact") {
		return Rate{}, 0, nil
	}
	if rate, err = ParseRate(s.Sampling); err != nil {
		return Rate{}, 0, err
	}
	step := float64(rate.Den) / float64(rate.Num) * 1e12
	if oneOf(s.SamplingPhase, "", "random") {
		return rate, decode.Time(s.chance("", "sampling").Float64() * step), nil
	}
	phase, err = ParseDuration(s.SamplingPhase)
	if err != nil || float64(phase) >= step {
		return rate, -1, nil
	}
	return rate, phase, nil
}

func (s *scenarioSource) Header() *Header            { return &s.header }
func (s *scenarioSource) Channels() []decode.Channel { return s.channels }
func (s *scenarioSource) Close() error               { return nil }

func (s *scenarioSource) Want(channel int, n decode.Need) {
	if n == decode.Nothing {
		s.wires[channel] = nil
	}
}

func (s *scenarioSource) end() decode.Time {
	return s.sampler.down(s.sampler.start + s.length)
}

// Next makes up the next window of time.
func (s *scenarioSource) Next() (*decode.Block, error) {
	if s.done > s.length {
		return nil, io.EOF
	}
	s.done = min(s.done+s.window, s.length+1)
	last := s.done > s.length
	until := s.sampler.up(s.shift + s.done)
	if last {
		until = s.end()
	}
	s.block = decode.Block{Until: until, Runs: s.block.Runs[:0]}
	for i, l := range s.wires {
		if l == nil {
			continue
		}
		l.at, l.runs, l.begins = l.at[:0], l.runs[:0], l.begins[:0]
		for _, c := range l.wire.advance(s.done) {
			s.take(l, c)
		}
		if l.pending && (last || l.waiting.at < until) {
			l.emit(s.end())
		}
		s.edges += int64(len(l.at))
		for k, begin := range l.begins {
			end := len(l.at)
			if k+1 < len(l.begins) {
				end = l.begins[k+1]
			}
			l.runs[k].Channel, l.runs[k].At = i, l.at[begin:end]
			s.block.Runs = append(s.block.Runs, l.runs[k])
		}
	}
	return &s.block, nil
}

// take samples one change. The level at the start is that of the first sample.
func (s *scenarioSource) take(l *lane, c change) {
	first := c.at == 0
	c.at = s.sampler.up(c.at + s.shift)
	if first {
		c.at = s.sampler.start
	}
	if s.holes != nil {
		c.at = s.skipHole(l, c.at)
	}
	if l.pending && c.at > l.waiting.at {
		l.emit(s.end())
	}
	l.waiting, l.pending = c, true
}

// skipHole returns t, or the first sample after the hole it falls into.
func (s *scenarioSource) skipHole(l *lane, t decode.Time) decode.Time {
	for {
		from, ok := l.holes.take(t - s.sampler.start)
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
func (s *scenarioSource) holeAt(from decode.Time) [2]decode.Time {
	from += s.sampler.start
	return [2]decode.Time{s.sampler.down(from), s.sampler.up(from + decode.Time(s.holes.For))}
}

// emit passes the waiting change on if it is one, and not after the end.
func (l *lane) emit(end decode.Time) {
	l.pending = false
	c := l.waiting
	if c.at > end || c.level == l.last && len(l.begins)+len(l.at) > 0 || c.level == l.last && c.level != decode.Unknown {
		return
	}
	// A level other than the opposite of the one before opens a run, and so
	// does the first of a block.
	if len(l.begins) == 0 || c.level == decode.Unknown || l.last == decode.Unknown {
		l.begins = append(l.begins, len(l.at))
		l.runs = append(l.runs, decode.Run{First: c.level})
	}
	l.last = c.level
	l.at = append(l.at, c.at)
}

// Origin tells the sampling of the capture.
func (s *scenarioSource) Origin() decode.Origin {
	o := decode.Origin{Start: s.sampler.start, End: s.end(), EndStated: true, Unit: decode.Picosecond}
	if s.sampler.rate.Num == 0 {
		o.ChangesOnly, o.Rows = true, s.edges
		return o
	}
	o.Step = 1e12 * float64(s.sampler.rate.Den) / float64(s.sampler.rate.Num)
	o.Rows = s.sampler.index(o.End) + 1
	o.Unit = s.sampler.unit()
	if s.holes != nil {
		s.unevenness(&o)
	}
	return o
}

// unevenness counts the holes.
func (s *scenarioSource) unevenness(o *decode.Origin) {
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
		o.Rows -= s.sampler.index(hole[1]) - s.sampler.index(hole[0]) - 1
	}
}

// sampler knows the instants of samples: start + n/rate, each rounded to a
// picosecond. With no rate every instant is one.
type sampler struct {
	rate  Rate
	start decode.Time
}

// at returns the instant of sample n.
func (s sampler) at(n int64) decode.Time {
	hi, lo := bits.Mul64(uint64(n), uint64(s.rate.Den)*1e12)
	q, r := bits.Div64(hi, lo, uint64(s.rate.Num))
	half := uint64(s.rate.Num) - r
	if r > half || r == half && q&1 == 1 {
		q++
	}
	return s.start + decode.Time(q)
}

// index returns the last sample at or before t, which is not before the start.
func (s sampler) index(t decode.Time) int64 {
	if s.rate.Num == 0 {
		return 0
	}
	hi, lo := bits.Mul64(uint64(t-s.start), uint64(s.rate.Num))
	q, _ := bits.Div64(hi, lo, uint64(s.rate.Den)*1e12)
	n := int64(q)
	for s.at(n) > t {
		n--
	}
	for s.at(n+1) <= t {
		n++
	}
	return n
}

// down returns the last sample instant at or before t.
func (s sampler) down(t decode.Time) decode.Time {
	if s.rate.Num == 0 {
		return t
	}
	return s.at(s.index(t))
}

// up returns the first sample instant at or after t.
func (s sampler) up(t decode.Time) decode.Time {
	if s.rate.Num == 0 {
		return t
	}
	n := s.index(t)
	if at := s.at(n); at == t {
		return at
	}
	return s.at(n + 1)
}

// unit is the largest power of ten in which all instants can be written, 1 ps
// where samples fall between picoseconds.
func (s sampler) unit() decode.Time {
	step := uint64(s.rate.Den) * 1e12
	if step%uint64(s.rate.Num) != 0 {
		return decode.Picosecond
	}
	step /= uint64(s.rate.Num)
	unit := decode.Picosecond
	for step%uint64(unit*10) == 0 && s.start%(unit*10) == 0 && unit < decode.Second {
		unit *= 10
	}
	return unit
}
