package table

import (
	"fmt"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/formats/internal/capture"
)

// readNames finds the header: the last row before the data with a name for
// each column, perhaps followed by one of units; or a remark of that shape.
func (p *plan) readNames(all, rows []*headRecord, first int) {
	width := len(p.columns)
	at := first - 1
	var units [][]byte
	if at >= 1 && p.fitsNames(rows[at]) && isUnitRow(rows[at].cells) && p.fitsNames(rows[at-1]) {
		units = rows[at].cells
		at--
	}
	if at >= 0 {
		r := *rows[at]
		if p.delimiter == spaces && !fits(r.cells, width) {
			r.cells = spacedNames(r.text(), width)
		}
		if fits(r.cells, width) && p.isHeader(&r) {
			p.takeNames(&r, units)
			return
		}
		if len(r.cells) > 1 && namesTime(plainText(r.cells[0])) && p.allNames(r.cells) {
			p.err = &capture.ParseError{Line: r.line, Column: 1, Err: fmt.Errorf("the header has %d cells and the rows have %d", len(r.cells), width),
				Fix: "a name for each column"}
			return
		}
	}
	p.readCommentNames(all)
}

// readCommentNames takes the names from the last comment before the rows, if it
// has a time among them.
func (p *plan) readCommentNames(all []*headRecord) {
	width := len(p.columns)
	for i := len(all) - 1; i >= 0; i-- {
		r := *all[i]
		if r.line >= p.first || !r.comment {
			continue
		}
		if p.delimiter == spaces && !fits(r.cells, width) {
			r.cells = spacedNames(commentText(r.raw), width)
		}
		if width > 1 && fits(r.cells, width) && countsTime(r.cells) {
			p.takeNames(&r, nil)
		}
		return
	}
}

// allNames tells whether no cell is a number or a date.
func (p *plan) allNames(cells [][]byte) bool {
	return !slices.ContainsFunc(cells, func(c []byte) bool {
		class := classify(c, p.decimal)
		return class == numberCell || class == dateCell || class == quantityCell
	})
}

func (p *plan) fitsNames(r *headRecord) bool {
	if p.delimiter == spaces && !fits(r.cells, len(p.columns)) {
		return spacedNames(r.text(), len(p.columns)) != nil
	}
	return fits(r.cells, len(p.columns))
}

// isHeader tells names from the last pair of key and value before the data.
func (p *plan) isHeader(r *headRecord) bool {
	if countsTime(r.cells) {
		return true
	}
	var f facts
	f.learn(r.text(), 0)
	return f == facts{}
}

// countsTime tells whether a cell is a name for time or sample numbers.
func countsTime(cells [][]byte) bool {
	for _, c := range cells {
		name := plainText(c)
		if namesTime(name) || indexWord.MatchString(strings.ToLower(name)) {
			return true
		}
	}
	return false
}

// spacedNames cuts a header whose names hold spaces: units in brackets belong
// to the name before them, and two spaces part names where one does not.
func spacedNames(text string, width int) [][]byte {
	joined := strings.NewReplacer(" [", "[", " (", "(", " {", "{").Replace(text)
	for _, names := range [][]string{strings.Fields(joined), splitWide(text)} {
		if len(names) == width {
			cells := make([][]byte, width)
			for i, n := range names {
				cells[i] = []byte(strings.TrimSpace(n))
			}
			return cells
		}
	}
	return nil
}

func splitWide(text string) []string {
	return slices.DeleteFunc(strings.Split(strings.ReplaceAll(text, "\t", "  "), "  "),
		func(s string) bool { return !isTextual(s) })
}

// isUnitRow tells whether all cells are units or empty, at least one of them
// of time or volts.
func isUnitRow(cells [][]byte) bool {
	known := false
	for _, c := range cells {
		u := bareUnit(c)
		_, isTime := timeUnits[u]
		_, isVolt := voltUnits[u]
		known = known || isTime || isVolt
		if !isUnit(u) {
			return false
		}
	}
	return known
}

// bareUnit reads a cell of a row of units, with or without brackets.
func bareUnit(cell []byte) string {
	return unitName(strings.Trim(plainText(cell), "[](){}"))
}

func (p *plan) takeNames(r *headRecord, units [][]byte) {
	p.header = r.line
	for i := range p.columns {
		c := &p.columns[i]
		c.name, c.unit = cutBrackets(plainText(r.cells[i]))
		c.name = plainName(c.name)
		if len(units) > i && c.unit == "" {
			c.unit = bareUnit(units[i])
		}
		if u := unitName(c.name); c.unit == "" && hasVoltUnit(u) {
			c.unit = u // which is all its name says
		}
	}
}

// nameFor returns the name of column i: the header's, or "col2".
func (p *plan) nameFor(i int) string {
	if name := p.columns[i].name; name != "" {
		return name
	}
	return fmt.Sprintf("col%d", i+1)
}
