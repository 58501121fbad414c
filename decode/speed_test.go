package decode

import (
	"context"
	"io"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// endless makes up a capture as it is read, a second at a time, so that none of
// its memory is the capture's: channels of servo pulses every 20 ms, and a clock
// beside them if wanted. It looks at the heap before and after, and while it is
// watched each minute.
type endless struct {
	servos  int
	clock   Time // half a cycle; 0: none
	seconds Time
	watched bool

	now   Time
	block Block
	edges int64
	base  uint64
	peak  uint64
}

func (s *endless) Channels() []Channel {
	names := []Channel{{Name: "throttle"}, {Name: "rudder"}, {Name: "winch"}, {Name: "horn"}}[:s.servos]
	if s.clock > 0 {
		names = append(names, Channel{Name: "clock"})
	}
	return names
}
func (s *endless) Want(int, Need) {}
func (s *endless) Close() error   { return nil }
func (s *endless) Origin() Origin {
	return Origin{End: s.seconds * Second, EndStated: true, Unit: Nanosecond, ChangesOnly: true}
}

func (s *endless) Next() (*Block, error) {
	if s.now == s.seconds*Second {
		s.look()
		return nil, io.EOF
	}
	if s.now == 0 || s.watched && s.now/Second%60 == 0 {
		s.look()
	}
	runs := s.servos
	if s.clock > 0 {
		runs++
	}
	if s.block.Runs == nil {
		s.block.Runs = make([]Run, runs)
	}
	for i := range s.block.Runs {
		r := &s.block.Runs[i]
		*r = Run{Channel: i, First: High, At: r.At[:0]}
		if i == s.servos {
			for at := s.now + s.clock; at <= s.now+Second-s.clock; at += s.clock {
				r.At = append(r.At, at)
			}
		} else {
			for at := s.now + Time(2*i+1)*Millisecond; at < s.now+Second; at += 20 * Millisecond {
				start := at + at%1013*Nanosecond
				r.At = append(r.At, start, start+1500*Microsecond+at%487*Nanosecond)
			}
		}
		s.edges += int64(len(r.At))
	}
	s.now += Second
	s.block.Until = s.now
	return &s.block, nil
}

func (s *endless) look() {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	if s.base == 0 {
		s.base = m.HeapAlloc
	}
	s.peak = max(s.peak, m.HeapAlloc)
}

// held is the most that decoding kept beyond what was there before.
func (s *endless) held() uint64 { return s.peak - s.base }

func decodeEndless(t require.TestingT, s *endless) *Recording {
	r, err := Decode(context.Background(), s, Settings{})
	require.NoError(t, err)
	return r
}

// Memory follows the pulses: a clock of 50 000 edges a second beside them costs
// nothing as it goes on, and a pulse costs 16 bytes.
func TestMemoryFollowsPulses(t *testing.T) {
	short, long := &endless{servos: 1, clock: 20 * Microsecond, seconds: 5}, &endless{servos: 1, clock: 20 * Microsecond, seconds: 65, watched: true}
	decodeEndless(t, short)
	r := decodeEndless(t, long)
	assert.EqualValues(t, 3249935+2*50*65, long.edges)
	assert.Less(t, long.held(), short.held()+1<<20, "the heap after 5 and 65 seconds")
	assert.Equal(t, Duty, r.Analyse().Channels[1].Signal)

	const pulses = 4 * 50 * 1800
	s := &endless{servos: 4, seconds: 1800, watched: true}
	decodeEndless(t, s)
	require.EqualValues(t, 2*pulses, s.edges)
	// Each polarity has its train: the pulses of one, and marks of the pauses,
	// too long to be pulses, of which only the first 4096 are listed.
	assert.Less(t, s.held(), uint64(16*pulses)+1<<20, "%d bytes a pulse", s.held()/pulses)
}

// Ten million edges of four channels in one pass, seven hours at 20 ms.
func BenchmarkDecode(b *testing.B) {
	const seconds = 25_000
	var last *endless
	for b.Loop() {
		last = &endless{servos: 4, seconds: seconds}
		decodeEndless(b, last)
	}
	b.ReportMetric(float64(last.edges)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Medges/s")
	b.ReportMetric(float64(last.held())/1e6/(float64(last.edges)/2e6), "peakMB/Mpulses")
	b.ReportMetric(float64(last.held())/1e6, "peakMB")
}

// A busy line: counters only.
func BenchmarkDecodeBusy(b *testing.B) {
	var last *endless
	for b.Loop() {
		last = &endless{servos: 1, clock: 5 * Microsecond, seconds: 20}
		decodeEndless(b, last)
	}
	b.ReportMetric(float64(last.edges)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Medges/s")
	b.ReportMetric(float64(last.held())/1e6, "peakMB")
}

// Measuring and judging what one pass kept, an hour of four channels.
func BenchmarkAnalyse(b *testing.B) {
	r := decodeEndless(b, &endless{servos: 4, seconds: 3600})
	b.ReportAllocs()
	var pulses int64
	for b.Loop() {
		a := r.Analyse()
		a.Judge(PerChannel[Limits]{Default: DefaultLimits})
		pulses = 0
		for _, c := range a.Channels {
			pulses += c.PulseCount
		}
	}
	b.ReportMetric(float64(pulses)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpulses/s")
}
