package main

import (
	"io"
	"sync/atomic"
	"time"

	"github.com/schollz/progressbar/v3"
)

// progress shows how much of a file has been read. It may be told so by
// several readers at once.
type progress interface {
	add(n int)
	finish()
}

// barAfter is how long reading takes before a bar is worth its line.
const barAfter = time.Second

// bar shows the share, the rate and the time left.
type bar struct {
	*progressbar.ProgressBar
	begun time.Time
	early atomic.Int64 // bytes that are not shown yet
	shown atomic.Bool
}

func newBar(w io.Writer, size int64, name string) *bar {
	return &bar{begun: time.Now(), ProgressBar: progressbar.NewOptions64(size,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetDescription(oneLine(name)),
		progressbar.OptionShowBytes(true),
		progressbar.OptionClearOnFinish(),
		progressbar.OptionThrottle(100*time.Millisecond),
	)}
}

func (b *bar) add(n int) {
	if b.early.Add(int64(n)); time.Since(b.begun) >= barAfter {
		b.shown.Store(true)
		b.Add64(b.early.Swap(0))
	}
}

func (b *bar) finish() {
	if b.shown.Load() {
		b.Clear()
	}
}
