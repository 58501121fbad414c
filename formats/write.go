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

// moment is an instant at which a channel changes, or the capture's start.
type moment struct {
	facts   decode.Facts
	at      decode.Time
	levels  []byte // the text of all levels from then on
	changed []int  // the channels that changed; may be sorted
}

// moments merges the channels of s by time and calls each for every instant at
// which a channel changes, and first for the capture's start. A channel that
// changes twice at one instant makes two moments. The slices of a moment are
// valid during the call only. It returns the capture's end.
func moments(s decode.Source, each func(moment) error) (end decode.Time, err error) {
	m := merger{moment: moment{levels: make([]byte, len(s.Channels()))}, each: each}
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
		m.begin(block.Facts)
		if err := m.add(block); err != nil {
			return 0, err
		}
	}
	origin := s.Origin()
	m.begin(decode.Facts{Start: origin.Start, Unit: origin.Unit})
	if err := each(m.moment); err != nil {
		return 0, err
	}
	return max(origin.End, m.at), nil
}

// merger gathers what changes at one instant.
type merger struct {
	moment
	begun bool
	each  func(moment) error
	steps []step // of the block
}

func (m *merger) begin(f decode.Facts) {
	if !m.begun {
		m.begun, m.facts, m.at = true, f, f.Start
	}
}

// step is one new level of one channel.
type step struct {
	at      decode.Time
	channel int32
	level   byte
}

func (m *merger) add(b *decode.Block) error {
	m.steps = m.steps[:0]
	for _, run := range b.Runs {
		level := run.First
		for _, at := range run.At {
			m.steps = append(m.steps, step{at, int32(run.Channel), levelText[level]})
			if level == decode.Unknown {
				break
			}
			level = level.Other()
		}
	}
	slices.SortStableFunc(m.steps, func(a, b step) int { return cmp.Compare(a.at, b.at) })
	for _, st := range m.steps {
		if m.levels[st.channel] == st.level {
			continue // restated
		}
		if st.at > m.at || slices.Contains(m.changed, int(st.channel)) {
			if err := m.each(m.moment); err != nil {
				return err
			}
			m.at, m.changed = max(st.at, m.at), m.changed[:0]
		}
		m.levels[st.channel] = st.level
		m.changed = append(m.changed, int(st.channel))
	}
	return nil
}
