package decode

// Tally is what remains of edges that were counted and not kept: how many, the
// first and the last, and histograms of the stretches between them. Tallies of
// neighbouring edges merge, in any grouping, to the tally of all.
type Tally struct {
	Edges int64
}
