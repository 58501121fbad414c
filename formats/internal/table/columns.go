package table

import (
	"fmt"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/formats/internal/capture"
	"widthwise/formats/internal/exact"
)

// settleColumns gives every column its kind, before one becomes the time.
func (p *plan) settleColumns(profiles []*profile) {
	for i := range p.columns {
		c, f := &p.columns[i], profiles[i]
		c.kind = f.kind()
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

// chooseTime finds the column of the stamps: by its name, as a date, or as
// numbers that rise; else a column of sample numbers, else none.
func (p *plan) chooseTime(profiles []*profile, o capture.Options) {
	best, rank, index := -1, 0, -1
	unit := ""
	for i, c := range p.columns {
		raw := c.name
		if c.unit != "" {
			raw += " [" + c.unit + "]"
		}
		isTime, u := timeHeader(raw)
		r := 0
		switch {
		case indexWord.MatchString(strings.ToLower(c.name)) && c.kind == numberColumn && !(c.name == "t"):
			if index < 0 {
				index = i
			}
			continue
		case c.kind != numberColumn && c.kind != dateColumn && c.kind != quantityColumn:
			continue
		case isTime && c.kind == dateColumn && dateWord.MatchString(strings.ToLower(c.name)):
			r = 30
		case isTime && c.kind == numberColumn && hasTimeUnit(u) && profiles[i].rises > 0:
			r = 110 // a clock beside it may show whole seconds only
		case isTime:
			r = 100
		case c.kind == dateColumn:
			r = 90
		case c.kind == quantityColumn && profiles[i].rows > 0:
			r = 80
		case profiles[i].rising():
			r = 10
			if i == 0 {
				r = 20
			}
		}
		if r > rank {
			best, rank, unit = i, r, u
		}
	}
	if rank < 80 && index >= 0 || len(p.columns) == 1 && rank < 90 {
		best = -1
	}
	counts := best >= 0 && rank <= 20 && profiles[best].byOne && o.Rate != (exact.Rate{})
	switch {
	case best >= 0 && !counts:
		p.timeAt = best
		p.clock = clock{kind: decimalClock, mark: p.decimal}
		if p.columns[best].kind == dateColumn {
			p.clock.kind = dateClock
		}
		p.chooseUnit(unit, profiles[best], o)
	case counts:
		p.countSamples(best, o)
	default:
		p.countSamples(index, o)
	}
	if p.timeAt >= 0 {
		p.columns[p.timeAt].kind = timeColumn
	}
	for i := range p.columns {
		c := &p.columns[i]
		if again, _ := timeHeader(c.name); again && i != p.timeAt && c.kind == numberColumn && c.values > 2 {
			c.kind = timeColumn
		}
		if i == index && i != p.timeAt || p.timeAt >= 0 && c.kind == numberColumn && c.name == "" && profiles[i].byOne && profiles[i].rows > 3 {
			c.kind = indexColumn
		}
	}
}

// countSamples makes the clock count samples: those numbered in column at, or
// rows where at is negative.
func (p *plan) countSamples(at int, o capture.Options) {
	p.timeAt = at
	p.clock = clock{kind: sampleClock, mark: p.decimal}
	what := fmt.Sprintf("column %d numbers samples, and nothing states how far apart they are", at+1)
	if at < 0 {
		p.clock.kind = rowClock
		what = "there is no column of times"
	}
	rate := o.Rate
	if rate == (exact.Rate{}) && p.facts.rate != (exact.Rate{}) {
		rate = p.facts.rate
		p.note("The sample rate of %s is taken from line %d.", rate.Hertz(), p.facts.rateLine)
	}
	if rate == (exact.Rate{}) {
		p.err = &capture.ParseError{Line: p.first, Column: 1, Err: fmt.Errorf("%s", what), Fix: "--rate states the sample rate"}
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
		p.note("The time unit %s is taken from line %d.", p.facts.unit, p.facts.unitLine)
	case f.count[quantityCell] > 0:
	default:
		if shift, unit := epochUnit(f.words); unit != "" {
			p.clock.shift = shift
			p.note("The stamps are read as %s since 1970; --time-unit states another unit.", unit)
			return
		}
		p.note("No time unit is stated: stamps are read as seconds; --time-unit states another unit.")
	}
}

func hasTimeUnit(u string) bool { _, ok := timeUnits[u]; return ok }
func hasVoltUnit(u string) bool { _, ok := voltUnits[u]; return ok }

// epochUnit recognises stamps that count from 1970 in less than seconds: whole
// numbers of 13, 16 or 19 digits between the years 2001 and 2286.
func epochUnit(words map[string]int) (shift int, unit string) {
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
	for i, c := range p.columns {
		isName := nameWord.MatchString(strings.ToLower(c.name))
		switch {
		case i == p.timeAt:
		case (c.kind == textColumn || isName && c.kind == numberColumn) && name < 0 &&
			(isName || p.header == 0 && len(p.columns) == 3) && profiles[i].count[emptyCell] == 0:
			name = i
		case c.kind == levelColumn || c.kind == numberColumn:
			level = i
			levels++
		}
	}
	if name < 0 || levels != 1 || len(profiles[name].words) >= maxWords {
		return
	}
	repeats := 2*len(profiles[name].words) <= profiles[name].rows
	named := p.header > 0 && levelWord.MatchString(strings.ToLower(p.columns[level].name))
	if !named && !(p.header == 0 && repeats) {
		return
	}
	if f := profiles[level]; p.columns[level].kind == numberColumn && (!f.onlyZeroOne() || len(f.values) == 0) {
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
		p.note("An empty cell is read as no change.")
	}
	return levels, text
}

func (p *plan) note(format string, args ...any) {
	p.notes = append(p.notes, fmt.Sprintf(format, args...))
}
