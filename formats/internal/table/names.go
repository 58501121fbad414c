package table

import "strings"

// RunsAsFormula are the first characters by which a spreadsheet takes a cell
// for a formula (OWASP, CSV Injection).
const RunsAsFormula = "=+-@\t\r\n"

// HeaderCell spells a channel name so that no spreadsheet runs it and any
// reader of RFC 4180 gets it whole. [PlainName] is its inverse.
func HeaderCell(name string) string {
	if at := strings.TrimLeft(name, "'"); at != "" && strings.ContainsRune(RunsAsFormula, rune(at[0])) {
		name = "'" + name
	}
	if plain, _ := CutBrackets(name); plain != name {
		name += " [logic]" // or the end of the name would be taken for a unit
	}
	if strings.ContainsAny(name, ",\"\r\n") || strings.TrimSpace(name) != name {
		name = `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
	}
	return name
}

// PlainName takes away the apostrophe that HeaderCell put before a name.
func PlainName(cell string) string {
	if at := strings.TrimLeft(cell, "'"); at != "" && at != cell && strings.ContainsRune(RunsAsFormula, rune(at[0])) {
		return cell[1:]
	}
	return cell
}
