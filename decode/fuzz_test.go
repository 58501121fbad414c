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
	most  int // runs in a block
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
	const endOfTime = 90 * 24 * 3600 * Second // of 106 days
	if len(s.bytes) < 2 || s.at > endOfTime {
		return nil, io.EOF
	}
	s.block.Runs = s.block.Runs[:0]
	for n := 0; n < s.most && len(s.bytes) >= 2 && s.at <= endOfTime; n++ {
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

// Whatever a source says, nothing panics, rows come in order of time, the counts
// fit together, and blocks of another length change nothing.
func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x58, 0, 0x64, 185, 0x68, 185, 0x68, 185, 0x68, 185, 0x68, 185, 0x68, 185})
	f.Add([]byte("a torn wire and a busy line, in no order at all"))
	train := []byte{}
	for i := range 48 {
		train = append(train, 0x68, 185, 0x69, byte(i))
	}
	f.Add(train)
	f.Fuzz(func(t *testing.T, bytes []byte) {
		bytes = bytes[:min(len(bytes), 192)] // more of it tries nothing new
		r, err := Decode(context.Background(), &script{bytes: bytes, most: 20}, Settings{})
		require.NoError(t, err)
		a := r.Analyse()
		j := a.Judge(PerChannel[Limits]{Default: DefaultLimits})
		r, err = Decode(context.Background(), &script{bytes: bytes, most: 1}, Settings{})
		require.NoError(t, err)
		same(t, j, r.Analyse().Judge(PerChannel[Limits]{Default: DefaultLimits}), 0, "a block for each run")
		var last Time
		pulses := map[string]int64{}
		for row := range j.Rows(true) {
			if row.Start < last { // cheaper than to require it of each
				t.Fatalf("a row at %d after one at %d", row.Start, last)
			}
			last = row.Start
			if !row.Glitch {
				pulses[row.Channel]++
			}
		}
		for i, c := range a.Channels {
			if j.Channels[i].Judged && c.Signal == Servo {
				require.Equal(t, c.PulseCount, pulses[c.Name], c.Name)
				require.LessOrEqual(t, c.FrameCount-c.DroppedCount, c.PulseCount, c.Name)
			}
		}
		for _, x := range j.Findings {
			if x.Start > x.End || x.Message == "" || x.Count < 0 {
				t.Fatalf("%+v", x)
			}
		}
	})
}
