// Package phrase says lists, counts and decimals the way a sentence has them, and
// tells what a name, mistyped or a pattern, means.
package phrase

import (
	"fmt"
	"strings"
)

// And is "a", "a and b", "a, b and c".
func And(words []string) string { return list(words, " and ") }

// Or is "a", "a or b", "a, b or c".
func Or(words []string) string { return list(words, " or ") }

func list(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	n := len(words) - 1
	return strings.Join(words[:n], ", ") + last + words[n]
}

// Count is "1 channel", "3 channels", "2 glitches", "2 losses".
func Count[N int | int64](n N, noun string) string {
	switch {
	case n == 1:
		return "1 " + noun
	case strings.HasSuffix(noun, "ch") || strings.HasSuffix(noun, "ss"):
		noun += "e"
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// Times is "never", "once", "3 times".
func Times[N int | int64](n N) string {
	switch n {
	case 0:
		return "never"
	case 1:
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// Trim takes the zeros off the end of a number's decimals, and a point that
// nothing follows: 1.500 is 1.5, and 2.000 is 2.
func Trim(number string) string {
	if !strings.Contains(number, ".") {
		return number
	}
	return strings.TrimSuffix(strings.TrimRight(number, "0"), ".")
}
