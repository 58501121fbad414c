package grade

import (
	"cmp"
	"strings"

	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
)

// shownNear is how many near misses are suggested.
const shownNear = 4

// near lists the known words that a mistyped one is nearest to.
func near(word string, known []string) string {
	known = slices.Clone(known)
	slices.Sort(known)
	slices.SortStableFunc(known, func(a, b string) int { return cmp.Compare(distance(word, a), distance(word, b)) })
	return strings.Join(known[:min(shownNear, len(known))], ", ")
}

func nearestPaths(path string, figures map[string]figure) string {
	return near(path, maps.Keys(figures))
}

// distance is that of two words; a word that the other ends with, or begins
// with, is half as far.
func distance(a, b string) int {
	if strings.HasSuffix(b, a) || strings.HasPrefix(b, a) {
		return (len(b) - len(a) + 1) / 2
	}
	return phrase.Distance(a, b)
}
