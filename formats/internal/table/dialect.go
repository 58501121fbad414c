package table

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// plan is how a table is spelt and what its columns hold: one reading of its
// first rows.
type plan struct {
	delimiter, decimal byte
	columns            []column
	timeAt             int // column of the stamps, -1 for none
	clock              clock
	header             int64 // line of the names, 0 for none
	first              int64 // line of the first row of data
	sparse             bool  // an empty cell repeats the one above
	nameAt, levelAt    int   // of a long table, else -1
	names              []string
	rows               []*headRecord // of data, those of the head
	facts              facts
	notes              []decode.Remark
	err                error // why the plan cannot be carried out
	score              float64
}

// column is one column of a table.
type column struct {
	at         int // its place, counted from 0
	kind       columnKind
	name, unit string
	base       int // 2 or 16 where several bits share a cell
	size       int // digits of such a cell
	shift      int // volts: the unit is 10^shift nanovolts
	values     int // different numbers in the head, up to 3
	zeroOne    bool
}

// header is the column's name as written, with its unit.
func (c *column) header() string {
	if c.unit == "" {
		return c.name
	}
	return c.name + " [" + c.unit + "]"
}

func (p *plan) long() bool { return p.nameAt >= 0 }

var delimiterNames = map[byte]string{
	',': "comma", ';': "semicolon", '\t': "tab", '|': "pipe", spaces: "spaces",
}

// headRecord is a line of the head, cut at a candidate's delimiter.
type headRecord struct {
	line    int64
	raw     []byte
	comment bool
	cells   [][]byte // trimmed; nil where the row is damaged
	err     error    // the damage
}

func (r *headRecord) text() string { return plainText(r.raw) }

// findPlan reads the head of a table in every spelling and returns the best
// reading and, best first, what else it could have been.
func findPlan(head []byte, end byte, o capture.Options) (best *plan, others []string, err error) {
	plans := plansOf(head, end, o)
	if len(plans) == 0 {
		return nil, nil, noRows(head, end)
	}
	best = plans[0]
	if before := startsBefore(best, head, end, o); before != nil {
		return before, nil, before.err
	}
	for _, p := range plans[1:] {
		d := p.describe()
		if p.score > best.score/2 && p.err == nil && d != best.describe() && !slices.Contains(others, d) {
			others = append(others, d)
		}
	}
	return best, others, best.err
}

// plansOf reads a head in every spelling, the best first.
func plansOf(head []byte, end byte, o capture.Options) (plans []*plan) {
	quoted := bytes.IndexByte(head, '"') >= 0
	for _, delimiter := range []byte{'\t', ';', ',', '|', spaces} {
		if o.Dialect.Delimiter == 0 && delimiter != ',' && bytes.IndexByte(head, delimiter) < 0 {
			continue // one column, as with the comma
		}
		if o.Dialect.Delimiter != 0 && byte(o.Dialect.Delimiter) != delimiter {
			continue
		}
		records := headRecords(head, end, delimiter)
		for _, decimal := range []byte{'.', ','} {
			if o.Dialect.Decimal != 0 && byte(o.Dialect.Decimal) != decimal {
				continue
			}
			if decimal == ',' && o.Dialect.Decimal == 0 && (delimiter == ',' && !quoted || !hasComma(records)) {
				continue // it would make no difference
			}
			if p := readPlan(records, delimiter, decimal, o); p != nil {
				plans = append(plans, p)
			}
		}
	}
	slices.SortStableFunc(plans, func(a, b *plan) int { return cmp.Compare(b.score, a.score) })
	return plans
}

// startsBefore reads what stands before the rows of a plan. If that makes rows
// of the same columns in another spelling, the table begins there, and the
// spelling changes half-way: the reader then stumbles over the change.
func startsBefore(p *plan, head []byte, end byte, o capture.Options) *plan {
	if p.first <= leastEarly {
		return nil
	}
	early := bytes.Join(bytes.SplitAfter(head, []byte{end})[:p.first-1], nil)
	plans := plansOf(early, end, o)
	if len(plans) == 0 {
		return nil
	}
	before := plans[0]
	same := len(before.rows) >= leastEarly && before.timeAt == p.timeAt && before.timeAt >= 0 && len(before.columns) == len(p.columns)
	for i := 0; same && i < len(p.columns); i++ {
		same = before.columns[i].kind == p.columns[i].kind
	}
	if !same {
		return nil
	}
	return before
}

// leastEarly is how many rows in another spelling are the beginning of a table,
// and not some remark before it.
const leastEarly = 3

// noRows says that nothing in the head is a row of data.
func noRows(head []byte, end byte) error {
	records := headRecords(head, end, ',')
	rows := 0
	for _, r := range records {
		if r.err != nil && !r.comment {
			return r.err
		}
		if !r.comment && isTextual(r.text()) {
			rows++
		}
	}
	if len(records) > 0 && rows <= 2 && len(head) > capture.HeadSize*9/10 {
		return &capture.ParseError{Line: records[len(records)-1].line, Err: fmt.Errorf("no row of data in the first %d KiB", capture.HeadSize>>10),
			Fix: "fewer lines before the first row"}
	}
	if len(records) > 0 && rows <= 2 {
		return &capture.ParseError{Line: records[len(records)-1].line, Err: errors.New("there is no row of data"),
			Fix: "a time and a level in each row"}
	}
	return &capture.ParseError{Line: 1, Err: errors.New("no rows of times and levels were found"),
		Fix: "option delimiter and option decimal state how rows are written, option rate a table without times"}
}

// hasComma tells whether a comma is left in a cell.
func hasComma(records []*headRecord) bool {
	return slices.ContainsFunc(records, func(r *headRecord) bool {
		return !r.comment && slices.ContainsFunc(r.cells, func(c []byte) bool { return bytes.IndexByte(c, ',') >= 0 })
	})
}

func isTextual(s string) bool { return strings.ContainsFunc(s, func(r rune) bool { return r > ' ' }) }

func headRecords(head []byte, end, delimiter byte) (all []*headRecord) {
	r := &records{lines: lines{buf: head, hi: len(head), err: io.EOF, end: end}, delimiter: delimiter}
	list := make([]headRecord, bytes.Count(head, []byte{end})+1)
	all = make([]*headRecord, 0, len(list))
	var cells [][]byte // of all records, in pieces
	for {
		line, ended, err := r.next()
		if err != nil {
			return all
		}
		if isBlank(line) {
			continue
		}
		rec := &list[len(all)]
		*rec = headRecord{line: r.number, raw: line, comment: isComment(line, delimiter)}
		r.joined = nil
		if rec.comment {
			_, rec.err = r.split([]byte(commentText(line)))
		} else {
			_, _, rec.err = r.read(line, ended)
		}
		if rec.err == nil {
			if len(r.cells) > cap(cells)-len(cells) {
				cells = make([][]byte, 0, max(len(r.cells), 1024))
			}
			from := len(cells)
			for _, c := range r.cells {
				cells = append(cells, bytes.TrimSpace(c.text))
			}
			rec.cells = cells[from:len(cells):len(cells)]
		}
		all = append(all, rec)
	}
}

// readPlan reads the head with one delimiter and decimal mark; nil where no
// row of it makes sense.
func readPlan(all []*headRecord, delimiter, decimal byte, o capture.Options) *plan {
	p := &plan{delimiter: delimiter, decimal: decimal, timeAt: -1, nameAt: -1, levelAt: -1}
	rows := make([]*headRecord, 0, len(all))
	for _, r := range all {
		if !r.comment {
			rows = append(rows, r)
		}
	}
	width := commonWidth(rows)
	first := firstRow(rows, width, decimal)
	if first < 0 {
		return nil
	}
	p.first = rows[first].line
	p.columns = make([]column, width)
	p.readNames(all, rows, first)
	for _, r := range all {
		if r.line < p.first && r.line != p.header {
			p.facts.learn(r.text(), r.line)
		}
	}
	p.rows = rows[first:]
	profiles, fit := profileRows(p.rows, width, decimal)
	p.settleColumns(profiles)
	p.chooseTime(profiles, o)
	p.chooseLong(profiles)
	levels, text := p.settleKinds(profiles)
	if levels == 0 {
		return nil
	}
	p.score = 4*float64(fit)/float64(len(rows)-first) - 2*float64(text)/float64(width)
	if width > 1 {
		p.score += 2
	}
	if damage := mostlyDamaged(rows); damage != nil {
		p.err = damage
	}
	if p.err != nil {
		p.score -= 2
	}
	return p
}

// mostlyDamaged returns the first damage where more than half of the rows have
// some: the few that are whole are then the odd ones.
func mostlyDamaged(rows []*headRecord) error {
	var first error
	damaged := 0
	for _, r := range rows {
		if r.err != nil {
			if damaged++; first == nil {
				first = r.err
			}
		}
	}
	if 2*damaged > len(rows) {
		return first
	}
	return nil
}

// commonWidth is the usual number of cells in a row; those that are always
// empty at the end are trailing delimiters and not counted.
func commonWidth(rows []*headRecord) int {
	counts := map[int]int{}
	for _, r := range rows[len(rows)/4:] {
		counts[len(r.cells)]++
	}
	width := 0
	for n, c := range counts {
		if n > 0 && (width == 0 || c > counts[width] || c == counts[width] && n > width) {
			width = n
		}
	}
	filled := 0
	for _, r := range rows {
		for i := filled; i < len(r.cells) && len(r.cells) <= width; i++ {
			if len(r.cells[i]) > 0 {
				filled = i + 1
			}
		}
	}
	return filled
}

// fits tells whether a row has the right number of cells, empty ones at the end
// aside.
func fits(cells [][]byte, width int) bool {
	if len(cells) < width {
		return false
	}
	for _, c := range cells[width:] {
		if len(c) > 0 {
			return false
		}
	}
	return true
}

// enoughRows show what rows of data look like.
const enoughRows = 256

// firstRow finds where the data begins: the first row that looks like those at the
// end of the head, half of it at most. -1 where there is none.
func firstRow(rows []*headRecord, width int, decimal byte) int {
	if width == 0 {
		return -1
	}
	usual := make([]*headRecord, 0, len(rows))
	for _, r := range rows {
		if fits(r.cells, width) {
			usual = append(usual, r)
		}
	}
	usual = usual[len(usual)-min(max(1, len(usual)/2), enoughRows):]
	profiles, _ := profileRows(usual, width, decimal)
	for i, r := range rows {
		if likeData(r.cells, profiles, decimal) {
			return i
		}
	}
	return -1
}

// likeData tells whether cells may stand in the columns that profiles describe,
// and one of them surely does.
func likeData(cells [][]byte, profiles []*profile, decimal byte) bool {
	if !fits(cells, len(profiles)) {
		return false
	}
	any := false
	for i, p := range profiles {
		may, sure := p.suits(cells[i], classify(cells[i], decimal), len(profiles) == 1)
		if !may {
			return false
		}
		any = any || sure
	}
	return any
}

// suits tells whether a cell may stand in a column, and whether it surely does and
// is no name of it; where the column is alone, a word for a level will do.
func (p *profile) suits(cell []byte, class cellClass, alone bool) (may, sure bool) {
	switch {
	case p.mostly(numberCell, wordCell, unknownCell, quantityCell):
		return class != textCell && class != dateCell, class == numberCell || class == quantityCell || alone && class == wordCell
	case p.mostly(dateCell):
		return class == dateCell, true
	}
	_, packed := p.packed()
	return true, packed && p.size == len(cell)
}

// mostly tells whether at least half of the cells that are not empty are of
// these classes.
func (p *profile) mostly(classes ...cellClass) bool {
	n := 0
	for _, c := range classes {
		n += p.count[c]
	}
	if _, ok := p.packed(); ok && p.count[textCell] > 0 {
		return false
	}
	return n > 0 && 2*n >= p.rows-p.count[emptyCell]
}

// profileRows describes the columns over the rows that have the right number
// of cells, and says how many those are.
func profileRows(rows []*headRecord, width int, decimal byte) (profiles []*profile, fit int) {
	profiles = make([]*profile, width)
	for i := range profiles {
		profiles[i] = newProfile()
	}
	for _, r := range rows {
		if !fits(r.cells, width) {
			continue
		}
		fit++
		for i, p := range profiles {
			p.add(r.cells[i], decimal)
		}
	}
	for _, p := range profiles {
		p.settle()
	}
	return profiles, fit
}

// describe tells the decision in one line.
func (p *plan) describe() string {
	mark := "decimal point"
	if p.decimal == ',' {
		mark = "decimal comma"
	}
	parts := []string{delimiterNames[p.delimiter], mark, "no header"}
	if p.header > 0 {
		parts[2] = fmt.Sprintf("names in line %d", p.header)
	}
	parts = append(parts, p.describeTime())
	if p.long() {
		parts = append(parts, fmt.Sprintf("channel name in column %d, level in column %d", p.nameAt+1, p.levelAt+1))
		return strings.Join(parts, ", ")
	}
	for _, k := range []struct {
		name string
		is   func(column) bool
	}{
		{"digital", func(c column) bool { return c.isDigital() }},
		{"analog", func(c column) bool { return c.kind == numberColumn && !c.isDigital() }},
		{"bits", func(c column) bool { return c.kind == packedColumn }},
		{"text", func(c column) bool { return c.kind == textColumn }},
	} {
		if list := p.listColumns(k.is); list != "" {
			parts = append(parts, k.name+" "+list)
		}
	}
	if p.sparse {
		parts = append(parts, "an empty cell repeats the one above")
	}
	return strings.Join(parts, ", ")
}

// isDigital tells whether the column is digital as far as the head shows.
func (c column) isDigital() bool {
	return c.kind == levelColumn || c.kind == numberColumn && c.values <= 2
}

func (p *plan) describeTime() string {
	switch p.clock.kind {
	case dateClock:
		return fmt.Sprintf("date and time in column %d", p.timeAt+1)
	case sampleClock:
		return fmt.Sprintf("sample number in column %d", p.timeAt+1)
	case rowClock:
		return "no time"
	}
	unit := map[int]string{12: "s", 9: "ms", 6: "us", 3: "ns", 0: "ps"}[p.clock.shift]
	return fmt.Sprintf("time in column %d in %s", p.timeAt+1, unit)
}

// listColumns writes the numbers of some columns: "2, 4-7".
func (p *plan) listColumns(is func(column) bool) string {
	var list []string
	for i := 0; i < len(p.columns); i++ {
		if !is(p.columns[i]) {
			continue
		}
		from := i
		for i+1 < len(p.columns) && is(p.columns[i+1]) {
			i++
		}
		if from == i {
			list = append(list, fmt.Sprint(from+1))
		} else {
			list = append(list, fmt.Sprintf("%d-%d", from+1, i+1))
		}
	}
	if len(list) == 0 {
		return ""
	}
	return "in column " + strings.Join(list, ", ")
}
