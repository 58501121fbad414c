package grade

import (
	"math"
	"strconv"
)

// Points are hundredths of a point, so that totals are those of what is shown.
type Points int64

// points rounds to a hundredth.
func points(p float64) Points { return Points(math.Round(p * 100)) }

// share is k of n parts of the points, rounded to a hundredth.
func (p Points) share(k, n int) Points {
	return Points(math.Round(float64(p) * float64(k) / float64(n)))
}

// String writes as many decimals as there are, two at most.
func (p Points) String() string { return strconv.FormatFloat(float64(p)/100, 'f', -1, 64) }

// Counted is "1 point" or "7.5 points".
func (p Points) Counted() string {
	if p == 100 {
		return "1 point"
	}
	return p.String() + " points"
}

// MarshalJSON writes a number such as 7.5.
func (p Points) MarshalJSON() ([]byte, error) { return []byte(p.String()), nil }
