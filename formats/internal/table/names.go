package table

import "strings"

// runsAsFormula are the first characters by which a spreadsheet takes a cell
// for a formula (OWASP, CSV Injection).
const runsAsFormula = "=+-@\t\r\n"

// HeaderCell spells a channel name so that no spreadsheet runs it and any
// reader of RFC 4180 gets it whole. [plainName] is its inverse.
func HeaderCell(name string) string {
	if at := strings.TrimLeft(name, "'"); at != "" && strings.ContainsRune(runsAsFormula, rune(at[0])) {
		name = "'" + name
	}
	if plain, _ := cutBrackets(name); plain != name {
		name += " [logic]" // or the end of the name would be taken for a unit
	}
	if strings.ContainsAny(name, ",\"\r\n") || strings.TrimSpace(name) != name {
		name = `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
	}
	return name
}

// plainName takes away the apostrophe that HeaderCell put before a name.
func plainName(cell string) string {
	if at := strings.TrimLeft(cell, "'"); at != "" && at != cell && strings.ContainsRune(runsAsFormula, rune(at[0])) {
		return cell[1:]
	}
	return cell
}
