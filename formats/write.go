package formats

import (
	"cmp"
	"errors"
	"io"

	"golang.org/x/exp/slices"

	"widthwise/decode"
)

// WriteOptions steer how a capture is written.
type WriteOptions struct {
	// Samples writes a row for each sample at this rate, counted from the
	// capture's start; the zero value writes a row for each change.
	Samples Rate
}

// flushSize is how much text is gathered before it is written.
const flushSize = 256 << 10

// levelText is how both formats spell a level.
var levelText = [...]byte{decode.Unknown: 'x', decode.Low: '0', decode.High: '1'}

// rows merges the channels of s by time and calls row for every instant at
// which a channel changes: with the text of all levels from then on, and the
// channels that changed. The first call is for the capture's start. A channel
// that changes twice at one instant gets two calls. Both slices are
// valid during the call only, and changed may be sorted. It returns the capture's end.
func rows(s decode.Source, row func(at decode.Time, levels []byte, changed []int) error) (end decode.Time, err error) {
	m := merger{levels: make([]byte, len(s.Channels())), row: row}
	for i := range m.levels {
		m.levels[i] = levelText[decode.Unknown]
	}
	for {
		block, err := s.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return 0, err
		}
		if len(block.Counts) > 0 {
			return 0, errors.New("the source counted edges instead of listing them")
		}
		if err := m.add(block, s); err != nil {
			return 0, err
		}
	}
	origin := s.Origin()
	if !m.begun {
		m.at = origin.Start
	}
	if err := row(m.at, m.levels, m.changed); err != nil {
		return 0, err
	}
	return max(origin.End, m.at), nil
}

// merger gathers what changes at one instant.
type merger struct {
	levels  []byte
	changed []int // at the instant at
	at      decode.Time
	begun   bool
	row     func(at decode.Time, levels []byte, changed []int) error
	block   []step
}

// step is one new level of one channel.
type step struct {
	at      decode.Time
	channel int32
	level   byte
}

func (m *merger) add(b *decode.Block, s decode.Source) error {
	m.block = m.block[:0]
	for _, run := range b.Runs {
		level := run.First
		for _, at := range run.At {
			m.block = append(m.block, step{at, int32(run.Channel), levelText[level]})
			if level == decode.Unknown {
				break
			}
			level = level.Other()
		}
	}
	slices.SortStableFunc(m.block, func(a, b step) int { return cmp.Compare(a.at, b.at) })
	for _, st := range m.block {
		if !m.begun {
			m.begun, m.at = true, st.at
			// A dump may begin before its first value.
			if o := s.Origin(); o.Rows > 0 {
				m.at = min(m.at, o.Start)
			}
		}
		if m.levels[st.channel] == st.level {
			continue // restated
		}
		if st.at > m.at || slices.Contains(m.changed, int(st.channel)) {
			if err := m.row(m.at, m.levels, m.changed); err != nil {
				return err
			}
			m.at, m.changed = max(st.at, m.at), m.changed[:0]
		}
		m.levels[st.channel] = st.level
		m.changed = append(m.changed, int(st.channel))
	}
	return nil
}
