package decode

import "math"

// line fits a straight line in floating point, in one fixed order.
type line struct{ n, x, y, xx, xy, yy float64 }

func (l *line) add(x, y float64) {
	l.n++
	l.x += x
	l.y += y
	l.xx += x * x
	l.xy += x * y
	l.yy += y * y
}

// fit returns the slope and the standard deviation about the line (n - 2).
func (l *line) fit() (slope, residual float64) {
	sxx := l.xx - l.x*l.x/l.n
	sxy := l.xy - l.x*l.y/l.n
	syy := l.yy - l.y*l.y/l.n
	if l.n < 3 || sxx <= 0 {
		return math.NaN(), math.NaN()
	}
	slope = sxy / sxx
	return slope, math.Sqrt(max(0, syy-slope*sxy) / (l.n - 2))
}
