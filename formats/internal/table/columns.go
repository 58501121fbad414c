package table

import (
	"errors"
	"fmt"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// settleColumns gives every column its kind, before one becomes the time.
func (p *plan) settleColumns(profiles []*profile) {
	for i := range p.columns {
		c, f := &p.columns[i], profiles[i]
		c.at, c.kind = i, f.kind()
		c.base, _ = f.packed()
		switch full := f.rows - f.count[emptyCell]; {
		case c.unit == "hex" && f.size > 0 && 3*f.hex >= 2*full:
			c.kind, c.base = packedColumn, 16
		case (c.unit == "bin" || c.unit == "binary") && f.size > 1 && 3*f.bits >= 2*full:
			c.kind, c.base = packedColumn, 2
		}
		c.size = f.size
		c.values = len(f.values)
		c.zeroOne = f.zeroOne()
		c.shift = 9
		if s, ok := voltUnits[c.unit]; ok {
			c.shift = s
		}
	}
}

// candidate is a column that may hold the stamps.
type candidate struct {
	at    int
	unit  string // that its name states
	named bool   // its name says time
	rank  int
}

// timeClaims are the reasons to take a column for the time, the first that
// holds being its rank. A column of claim 80 or more needs no other evidence.
var timeClaims = []struct {
	rank  int
	holds func(c candidate, col *column, f *profile) bool
}{
	{30, func(c candidate, col *column, f *profile) bool {
		return c.named && col.kind == dateColumn && dateWord.MatchString(strings.ToLower(col.name))
	}},
	// A clock beside it may show whole seconds only.
	{110, func(c candidate, col *column, f *profile) bool {
		return c.named && col.kind == numberColumn && hasTimeUnit(c.unit) && f.rises > 0
	}},
	{100, func(c candidate, col *column, f *profile) bool { return c.named }},
	{90, func(c candidate, col *column, f *profile) bool { return col.kind == dateColumn }},
	{80, func(c candidate, col *column, f *profile) bool { return col.kind == quantityColumn }},
	{firstRises, func(c candidate, col *column, f *profile) bool { return f.rising() && c.at == 0 }},
	{10, func(c candidate, col *column, f *profile) bool { return f.rising() }},
}

const (
	sureTime   = 80 // the least rank that stands against a column of sample numbers
	firstRises = 20 // nothing but its numbers speaks for the column
)

// chooseTime finds the column of the stamps: by its name, as a date, or as
// numbers that rise; else a column of sample numbers, else none.
func (p *plan) chooseTime(profiles []*profile, o capture.Options) {
	index := p.indexColumn(profiles)
	best := p.bestTime(profiles, index)
	if best.rank < sureTime && index >= 0 || len(p.columns) == 1 && best.rank < 90 {
		best = candidate{at: -1}
	}
	switch {
	case best.at < 0:
		p.countSamples(index, o)
	case best.rank <= firstRises && o.Rate != (exact.Rate{}) && profiles[best.at].counts():
		p.countSamples(best.at, o)
	default:
		p.stampsIn(best, profiles[best.at], o)
	}
	p.otherTimes(profiles, index)
}

// indexColumn finds the first column whose name says that it counts; -1 for
// none.
func (p *plan) indexColumn(profiles []*profile) int {
	return slices.IndexFunc(p.columns, func(c column) bool {
		return c.kind == numberColumn && c.name != "t" && indexWord.MatchString(strings.ToLower(c.name)) && !profiles[c.at].levelsOnly()
	})
}

// bestTime returns the column with the best claim, rank 0 and place -1 where
// none has any.
func (p *plan) bestTime(profiles []*profile, index int) candidate {
	best := candidate{at: -1}
	for i := range p.columns {
		col, f := &p.columns[i], profiles[i]
		if i == index || col.kind != numberColumn && col.kind != dateColumn && col.kind != quantityColumn || f.levelsOnly() && !saysTime(col.name) {
			continue
		}
		c := candidate{at: i}
		c.named, c.unit = timeHeader(col.header())
		c.named = c.named && !f.contradicts(col.name)
		for _, claim := range timeClaims {
			if claim.holds(c, col, f) {
				c.rank = claim.rank
				break
			}
		}
		if c.rank > best.rank {
			best = c
		}
	}
	return best
}

// stampsIn makes the clock read the stamps of a column.
func (p *plan) stampsIn(c candidate, f *profile, o capture.Options) {
	col := &p.columns[c.at]
	p.timeAt = c.at
	p.clock = clock{kind: decimalClock, mark: p.decimal, quantities: col.kind == quantityColumn}
	if col.kind == dateColumn {
		p.clock.kind = dateClock
	}
	p.chooseUnit(c.unit, f, o)
}

// otherTimes marks the columns that are no levels although they hold numbers:
// further times and what counts the rows.
func (p *plan) otherTimes(profiles []*profile, index int) {
	for i := range p.columns {
		c := &p.columns[i]
		switch {
		case i == p.timeAt:
			c.kind = timeColumn
		case i == index && profiles[i].rows == 1 && profiles[i].onlyZeroOne():
			// one 0 or 1 counts nothing yet: a level, whatever its name
		case i == index:
			c.kind = indexColumn
		case c.kind != numberColumn:
		case p.timeAt >= 0 && c.name == "" && profiles[i].byOne && profiles[i].rows > 3:
			c.kind = indexColumn
		case c.values > 2 && namesTime(c.name) && !profiles[i].contradicts(c.name):
			c.kind = timeColumn
		}
	}
}

// countSamples makes the clock count samples: those numbered in column at, or
// rows where at is negative.
func (p *plan) countSamples(at int, o capture.Options) {
	p.timeAt = at
	p.clock = clock{kind: sampleClock, mark: p.decimal}
	what := fmt.Sprintf("column %d numbers samples: the table needs a sampling rate", at+1)
	if at < 0 {
		p.clock.kind = rowClock
		what = "there is no column of times: the table needs a sampling rate"
	}
	rate := o.Rate
	if rate == (exact.Rate{}) && p.facts.rate != (exact.Rate{}) {
		rate = p.facts.rate
		p.note(decode.TimesRead, "The sample rate of %s is taken from line %d.", rate.Hertz(), p.facts.rateLine)
	}
	if rate == (exact.Rate{}) {
		p.err = &capture.ParseError{Line: p.first, Column: 1, Err: errors.New(what), Fix: "option rate states it, such as option rate 10MHz"}
	} else if !p.clock.withRate(rate) {
		p.err = &capture.UsageError{Message: fmt.Sprintf("a rate of %d/%d Hz cannot be used", rate.Num, rate.Den)}
	}
}

// chooseUnit finds the unit of the stamps.
func (p *plan) chooseUnit(unit string, f *profile, o capture.Options) {
	p.clock.shift = 12
	switch {
	case p.clock.kind == dateClock:
	case o.TimeUnit != "":
		shift, ok := timeUnits[o.TimeUnit]
		if !ok {
			p.err = &capture.UsageError{Message: fmt.Sprintf("there is no time unit %q; s, ms, us or ns", o.TimeUnit)}
		}
		p.clock.shift = shift
	case hasTimeUnit(unit):
		p.clock.shift = timeUnits[unit]
	case hasTimeUnit(p.columns[p.timeAt].unit):
		p.clock.shift = timeUnits[p.columns[p.timeAt].unit]
	case p.facts.unit != "":
		p.clock.shift = timeUnits[p.facts.unit]
		p.note(decode.TimesRead, "The time unit %s is taken from line %d.", p.facts.unit, p.facts.unitLine)
	case p.clock.quantities:
	default:
		if shift, unit := epochUnit(f.words); unit != "" {
			p.clock.shift = shift
			p.note(decode.TimesRead, "The stamps are read as %s since 1970; option time-unit states another unit.", unit)
			return
		}
		p.note(decode.TimesRead, "No time unit is stated: stamps are read as seconds; option time-unit states another unit.")
	}
}

func hasTimeUnit(u string) bool { _, ok := timeUnits[u]; return ok }
func hasVoltUnit(u string) bool { _, ok := voltUnits[u]; return ok }

// epochUnit recognises stamps that count from 1970 in less than seconds: whole
// numbers of 13, 16 or 19 digits between the years 2001 and 2286.
func epochUnit(words map[string]bool) (shift int, unit string) {
	length := 0
	for w := range words {
		whole, _, _ := strings.Cut(strings.ReplaceAll(w, ",", "."), ".")
		if length == 0 {
			length = len(whole)
		}
		if len(whole) != length || strings.Trim(whole, "0123456789") != "" {
			return 0, ""
		}
	}
	switch length {
	case 13:
		return 9, "milliseconds"
	case 16:
		return 6, "microseconds"
	case 19:
		return 3, "nanoseconds"
	}
	return 0, ""
}

// chooseLong tells whether rows speak of one channel each: a time, a name and
// a level.
func (p *plan) chooseLong(profiles []*profile) {
	if p.timeAt < 0 || p.clock.kind == rowClock {
		return
	}
	name, level, levels := -1, -1, 0
	for i := range p.columns {
		switch c := &p.columns[i]; {
		case i == p.timeAt:
		case name < 0 && p.mayName(c, profiles[i]):
			name = i
		case c.kind == levelColumn || c.kind == numberColumn:
			level = i
			levels++
		}
	}
	if name < 0 || levels != 1 || !p.isLong(name, level, profiles) {
		return
	}
	p.nameAt, p.levelAt = name, level
	p.columns[name].kind = nameColumn
	for _, r := range p.rows {
		if fits(r.cells, len(p.columns)) {
			if n := plainText(r.cells[name]); !slices.Contains(p.names, n) {
				p.names = append(p.names, n)
			}
		}
	}
}

// mayName tells whether a column may say which channel a row speaks of: texts
// or numbers under such a name, or texts between a time and a level. Names such
// as D0 and D1 look like hexadecimal digits.
func (p *plan) mayName(c *column, f *profile) bool {
	says := nameWord.MatchString(strings.ToLower(c.name))
	between := p.header == 0 && len(p.columns) == 3
	switch {
	case f.count[emptyCell] > 0 || len(f.words) >= maxWords:
		return false
	case c.kind == textColumn:
		return says || between
	case c.kind == packedColumn && !f.prefixed && c.base == 16:
		return says || between && f.numbered()
	}
	return says && c.kind == numberColumn
}

// isLong tells whether a column of names and one of levels make a long table.
func (p *plan) isLong(name, level int, profiles []*profile) bool {
	f := profiles[level]
	if p.columns[level].kind == numberColumn && (!f.onlyZeroOne() || len(f.values) == 0) {
		return false
	}
	if p.header > 0 {
		return levelWord.MatchString(strings.ToLower(p.columns[level].name))
	}
	return 2*len(profiles[name].words) <= profiles[name].rows
}

// settleKinds turns dates and quantities that are not the time into text, and
// counts the columns of levels and of text.
func (p *plan) settleKinds(profiles []*profile) (levels, text int) {
	empty, cells := 0, 0
	for i := range p.columns {
		c := &p.columns[i]
		if f := profiles[i]; c.kind == numberColumn && (3*f.huge > f.rows || 10*f.count[emptyCell] > 9*f.rows && !f.onlyZeroOne()) {
			c.kind = textColumn // no level, or facts written beside the data
		}
		switch c.kind {
		case dateColumn, quantityColumn:
			c.kind = textColumn
		case levelColumn, numberColumn, packedColumn:
			levels++
			empty += profiles[i].count[emptyCell]
			cells += profiles[i].rows
		}
		if c.kind == textColumn && profiles[i].count[emptyCell] < profiles[i].rows {
			text++
		}
	}
	if p.sparse = 4*empty >= cells && empty > 0; p.sparse {
		p.note(decode.LevelsRead, "An empty cell is read as no change.")
	}
	return levels, text
}

func (p *plan) note(kind decode.RemarkKind, format string, args ...any) {
	p.notes = append(p.notes, decode.Remarkf(kind, "", format, args...))
}
