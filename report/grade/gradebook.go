package grade

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// WriteCSV writes the gradebook (RFC 4180, UTF-8 with byte-order mark, lines
// ending in LF): a row for each student.
func (c *Class) WriteCSV(to io.Writer) error {
	if _, err := io.WriteString(to, "\ufeff"); err != nil {
		return err
	}
	w := csv.NewWriter(to)
	header := []string{"student", "file", "points", "of"}
	for _, s := range c.Class {
		header = append(header, s.Name)
	}
	rows := [][]string{append(header, "remark")}
	for _, s := range c.Students {
		row := []string{s.Student, strings.Join(s.Files, "; "), s.Points.String(), c.Points.String()}
		for _, r := range s.Criteria {
			row = append(row, r.Points.String())
		}
		rows = append(rows, append(row, s.Remark))
	}
	for _, row := range rows {
		for i, cell := range row {
			row[i] = harmless(cell)
		}
	}
	return w.WriteAll(rows)
}

// harmless puts an apostrophe before what a spreadsheet would run as a formula
// (OWASP, CSV Injection); numbers stay.
func harmless(cell string) string {
	if cell == "" || !strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil {
		return cell
	}
	return "'" + cell
}
