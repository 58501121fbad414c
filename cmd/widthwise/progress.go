package main

import (
	"io"

	"github.com/schollz/progressbar/v3"
)

// progress shows how much of a file has been read. It may be told so by
// several readers at once.
type progress interface {
	add(n int)
	finish()
}

type bar struct{ *progressbar.ProgressBar }

func newBar(w io.Writer, size int64, name string) progress {
	return bar{progressbar.NewOptions64(size,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetDescription(oneLine(name)),
		progressbar.OptionShowBytes(true),
		progressbar.OptionClearOnFinish(),
		progressbar.OptionThrottle(100_000_000), // ns
	)}
}

func (b bar) add(n int) { b.Add64(int64(n)) }
func (b bar) finish()   { b.Clear() }
