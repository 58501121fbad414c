package table

import (
	"errors"
	"fmt"

	"widthwise/decode"
)

// checkLong reads the channel and the level a row of a long table states.
func (t *table) checkLong() error {
	name, level := t.cells[t.plan.nameAt], t.cells[t.plan.levelAt]
	if _, known := t.byName[string(name.text)]; !known {
		if _, known = t.byName[plainText(name.text)]; !known {
			return &badCell{name.at, fmt.Errorf("channel %s appears here for the first time", quote(name.text)),
				"a row for each channel near the beginning"}
		}
	}
	if len(level.text) == 0 {
		return &badCell{level.at, errors.New("an empty cell where a level should be"), "a level in each row"}
	}
	if _, ok := (&cellReader{}).word(level.text, t.plan.decimal); !ok {
		return &badCell{level.at, fmt.Errorf("%s is not a level", quote(level.text)), levelForms}
	}
	return nil
}

// setLong takes the level a row of a long table states. A channel that first
// appears after the beginning was at the other level before.
func (t *table) setLong(now decode.Time) (idle bool) {
	channel, known := t.byName[string(t.cells[t.plan.nameAt].text)]
	if !known {
		channel = t.byName[plainText(t.cells[t.plan.nameAt].text)]
	}
	l, _ := (&cellReader{}).word(t.cells[t.plan.levelAt].text, t.plan.decimal)
	if t.row == 0 {
		t.startLong(now)
	}
	if channel < 0 {
		return true
	}
	idle = l == t.edges.Level(channel)
	t.edges.Set(channel, l, now)
	return idle
}

// startLong gives channels that first appear later, as far as the head shows,
// the level they must have had before.
func (t *table) startLong(now decode.Time) {
	for channel, l := range t.opposite {
		t.edges.Set(channel, l, now)
	}
}

// findOpposites notes for each channel of a long table that is not stated at
// the first instant the level its first row leaves.
func (t *table) findOpposites(rows []*headRecord) {
	t.opposite = map[int]decode.Level{}
	seen := map[string]bool{}
	var start string
	for i, r := range rows {
		if !fits(r.cells, len(t.plan.columns)) {
			continue
		}
		stamp, name := string(r.cells[t.plan.timeAt]), plainText(r.cells[t.plan.nameAt])
		if i == 0 {
			start = stamp
		}
		if seen[name] {
			continue
		}
		seen[name] = true
		l, ok := (&cellReader{}).word(r.cells[t.plan.levelAt], t.plan.decimal)
		if channel, known := t.byName[name]; ok && known && channel >= 0 && stamp != start && l != decode.Unknown {
			t.opposite[channel] = l.Other()
		}
	}
	if len(t.opposite) > 0 {
		t.note(decode.LevelsRead, "A channel that first appears after the beginning is taken to have had the other level before.")
	}
}
