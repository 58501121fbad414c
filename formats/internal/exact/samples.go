package exact

import "widthwise/decode"

// Sampler knows the instants of samples: start + n/rate, each rounded to a
// picosecond. With no rate every instant is one.
type Sampler struct {
	Rate  Rate
	Start decode.Time
}

// At returns the instant of sample n.
func (s Sampler) At(n int64) decode.Time {
	t, _ := Ratio(n, uint64(s.Rate.Den)*1e12, uint64(s.Rate.Num))
	return s.Start + decode.Time(t)
}

// Index returns the last sample at or before t, which is not before the start.
func (s Sampler) Index(t decode.Time) int64 {
	if s.Rate.Num == 0 {
		return 0
	}
	n, _ := Ratio(int64(t-s.Start), uint64(s.Rate.Num), uint64(s.Rate.Den)*1e12)
	for s.At(n) > t {
		n--
	}
	for s.At(n+1) <= t {
		n++
	}
	return n
}

// Down returns the last sample instant at or before t.
func (s Sampler) Down(t decode.Time) decode.Time {
	if s.Rate.Num == 0 {
		return t
	}
	return s.At(s.Index(t))
}

// Up returns the first sample instant at or after t.
func (s Sampler) Up(t decode.Time) decode.Time {
	if s.Rate.Num == 0 {
		return t
	}
	n := s.Index(t)
	if at := s.At(n); at == t {
		return at
	}
	return s.At(n + 1)
}

// Unit is the largest power of ten in which all instants can be written, 1 ps
// where samples fall between picoseconds.
func (s Sampler) Unit() decode.Time {
	step := uint64(s.Rate.Den) * 1e12
	if step%uint64(s.Rate.Num) != 0 {
		return decode.Picosecond
	}
	step /= uint64(s.Rate.Num)
	unit := decode.Picosecond
	for step%uint64(unit*10) == 0 && s.Start%(unit*10) == 0 && unit < decode.Second {
		unit *= 10
	}
	return unit
}
