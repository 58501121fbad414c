package report

// Style says how text is set.
type Style struct {
	Width  int // columns
	Colour bool
}
