package phrase

import "strings"

// Nearest returns the known word that a mistyped one was probably meant to be,
// "" where none is near. Capital letters make no difference.
func Nearest(word string, known []string) string {
	best, least := "", min(3, 1+len(word)/2)
	for _, k := range known {
		if d := Distance(strings.ToLower(word), strings.ToLower(k)); d < least {
			best, least = k, d
		}
	}
	return best
}

// Distance counts the letters to insert, delete or replace (Levenshtein 1966).
func Distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// Matches tells whether name matches pattern, in which * stands for any run of
// characters and ? for one.
func Matches(pattern, name string) bool {
	p, n := []rune(pattern), []rune(name)
	i, j := 0, 0
	star, mark := -1, 0 // the last * and where its run ends so far
	for j < len(n) {
		switch {
		case i < len(p) && p[i] == '*':
			star, mark = i, j
			i++
		case i < len(p) && (p[i] == '?' || p[i] == n[j]):
			i++
			j++
		case star >= 0:
			mark++
			i, j = star+1, mark
		default:
			return false
		}
	}
	for i < len(p) && p[i] == '*' {
		i++
	}
	return i == len(p)
}
