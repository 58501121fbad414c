package decode

import (
	"context"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
)

// script is a source made of bytes: each is a change of one of three channels,
// some after a time, some unknown, some restated, some at once.
type script struct {
	bytes []byte
	at    Time
	block Block
	end   Time
}

func (s *script) Channels() []Channel {
	return []Channel{{Name: "throttle"}, {Name: "rudder", Named: true}, {Name: "winch"}}
}
func (s *script) Want(int, Need) {}
func (s *script) Close() error   { return nil }
func (s *script) Origin() Origin {
	return Origin{End: s.end, Unit: Microsecond, ChangesOnly: true}
}

func (s *script) Next() (*Block, error) {
	if len(s.bytes) < 2 || s.at > 90*24*3600*Second { // 106 days are the end of time
		return nil, io.EOF
	}
	s.block.Runs = s.block.Runs[:0]
	for n := 0; n < 20 && len(s.bytes) >= 2; n++ {
		what, wait := s.bytes[0], Time(s.bytes[1])
		s.bytes = s.bytes[2:]
		s.at += [...]Time{0, wait * Microsecond, wait * 100 * Microsecond, wait * wait * wait * Millisecond}[what>>4&3]
		channel, level := int(what&3)%3, Level(what>>2&3)%3
		run := Run{Channel: channel, First: level, At: []Time{s.at}}
		if level != Unknown && what>>6&1 == 1 {
			s.at += 1500 * Microsecond
			run.At = append(run.At, s.at)
		}
		s.block.Runs = append(s.block.Runs, run)
	}
	s.block.Until, s.end = s.at, s.at
	return &s.block, nil
}

// Whatever a source says, nothing panics, rows come in order of time, and the
// counts fit together.
func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x58, 0, 0x64, 185, 0x68, 185, 0x68, 185, 0x68, 185, 0x68, 185, 0x68, 185})
	f.Add([]byte("a torn wire and a busy line, in no order at all"))
	train := []byte{}
	for i := range 120 {
		train = append(train, 0x68, 185, 0x69, byte(i))
	}
	f.Add(train)
	f.Fuzz(func(t *testing.T, bytes []byte) {
		r, err := Decode(context.Background(), &script{bytes: bytes}, Settings{})
		require.NoError(t, err)
		a := r.Analyse(PerChannel[Expect]{})
		j := a.Judge(PerChannel[Limits]{Default: DefaultLimits})
		var last Time
		pulses := map[string]int64{}
		for row := range j.Rows(true) {
			require.GreaterOrEqual(t, row.Start, last)
			last = row.Start
			if !row.Glitch {
				pulses[row.Channel]++
			}
		}
		for i, c := range a.Channels {
			if j.Channels[i].Judged && c.Signal == Servo {
				require.Equal(t, c.Pulses, pulses[c.Name], c.Name)
				require.LessOrEqual(t, c.Frames-c.Dropped, c.Pulses, c.Name)
			}
		}
		for _, x := range j.Findings {
			require.LessOrEqual(t, x.Start, x.End, "%s", x.Kind)
			require.NotEmpty(t, x.Message)
			require.Positive(t, x.Count+1)
		}
	})
}

// Ten million edges of four channels, a day and more of pulses.
func BenchmarkDecode(b *testing.B) {
	c := &tape{end: 400 * Second, block: Second}
	for i := range 4 {
		var starts, widths []Time
		for at := Time(2*i+1) * Millisecond; at < c.end-20*Millisecond; at += 20 * Millisecond {
			starts = append(starts, at+at%1013*Nanosecond)
			widths = append(widths, 1500*Microsecond+at%487*Nanosecond)
		}
		c.names, c.tracks = append(c.names, string(rune('a'+i))), append(c.tracks, pulsesOf(starts, widths))
	}
	edges := 0
	for _, t := range c.tracks {
		edges += len(t)
	}
	b.ReportAllocs()
	for b.Loop() {
		judged(b, c.copy())
	}
	b.ReportMetric(float64(edges)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Medges/s")
}
