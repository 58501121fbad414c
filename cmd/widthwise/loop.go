package main

import (
	"context"
	"io"
	"iter"
	"runtime"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/report"
	"widthwise/report/text"
)

// batch is the captures of one run; a command goes over them by each or ask. One
// that cannot be read sets the exit status and does not keep the others from being
// read. Where the run was interrupted nothing more is written: half a document is
// none.
type batch struct {
	app   *app
	o     *options
	rules *rules
	files []found
	open  opener
}

// captures finds what args name: files, standard input as "-", and the captures
// in folders, other than the files that flags name.
func (a *app) captures(o *options, args []string, but ...string) (*batch, error) {
	rules, err := newRules(o)
	if err != nil {
		return nil, err
	}
	files, err := a.findCaptures(args, append(slices.Clone(but), o.limits)...)
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, noCapture(args[0])
	}
	return &batch{a, o, rules, files, a.openCapture}, nil
}

func noCapture(folder string) error {
	return usageError("%s: no capture in this folder; files that end in .csv, .tsv, .txt or .vcd, perhaps .gz or .zst", folder)
}

// builtIn is a batch of one capture that the program brings.
func (a *app) builtIn(o *options, name string, text []byte) (*batch, error) {
	rules, err := newRules(o)
	return &batch{a, o, rules, []found{{path: name}}, openBytes(text)}, err
}

// each yields the captures in order, each read to its end and judged. One that cannot
// be is told on standard error, and has no more than its name.
func (b *batch) each(ctx context.Context) iter.Seq2[*capture, error] {
	type outcome struct {
		capture *capture
		err     error
	}
	return func(yield func(*capture, error) bool) {
		for f, r := range inOrder(ctx, b.files, func(ctx context.Context, f found) (r outcome) {
			r.capture, r.err = b.app.read(ctx, f.path, b.o, b.rules, b.open)
			return r
		}) {
			if r.err != nil {
				b.app.complain(r.err)
				r.capture = &capture{name: f.path}
			} else {
				b.app.warnings(f.path, r.capture.warnings(b.o))
			}
			if !yield(r.capture, r.err) {
				return
			}
		}
	}
}

// ask puts a command's question to each capture and tells of it those that
// cannot be read, or to which the question does not apply.
func (b *batch) ask(ctx context.Context, unreadable func(file, problem string), question func(*capture) error) error {
	for c, err := range b.each(ctx) {
		if err == nil {
			if err = question(c); err != nil {
				b.app.complain(placed(c.name, err))
			}
		}
		if err != nil {
			unreadable(c.name, oneLine(bareReason(c.name, err)))
		}
	}
	return ctx.Err()
}

// show prints what a command found: as JSON, in a few words where nothing but
// these are wanted, else in full.
func show[D any](a *app, o *options, asJSON bool, found D, quiet func(io.Writer, D) error, inFull func(*text.Sheet, D)) error {
	switch {
	case asJSON:
		return report.WriteJSON(a.out, found)
	case o.quiet && quiet == nil:
		return nil
	case o.quiet:
		return quiet(a.out, found)
	}
	p := text.NewSheet(a.style(o.color))
	inFull(p, found)
	_, err := p.WriteTo(a.out)
	return err
}

// inOrder yields files in order with what came of reading each. Small ones are read
// side by side, as many as there are cores; a large one is read alone. It ends early
// where the run is interrupted.
func inOrder[T any](ctx context.Context, files []found, read func(context.Context, found) T) iter.Seq2[found, T] {
	return func(yield func(found, T) bool) {
		ctx, stop := context.WithCancel(ctx)
		defer stop()
		cores := runtime.GOMAXPROCS(0)
		places := make(chan struct{}, cores)
		takes := func(f found) int {
			if f.size >= largeFile {
				return cores
			}
			return 1
		}
		results := make(chan chan T, len(files))
		go func() {
			defer close(results)
			for _, f := range files {
				for range takes(f) {
					select {
					case places <- struct{}{}:
					case <-ctx.Done():
						return
					}
				}
				result := make(chan T, 1)
				results <- result
				go func() { result <- read(ctx, f) }()
			}
		}()
		for _, f := range files {
			result := <-results // none once the run was interrupted
			select {
			case one := <-result:
				if ctx.Err() != nil || !yield(f, one) {
					return
				}
			case <-ctx.Done():
				return
			}
			for range takes(f) {
				<-places
			}
		}
	}
}

// names are the captures as they are told of.
func (b *batch) names() []string { return pathsOf(b.files) }

// bareReason is an error without the name of the capture in front.
func bareReason(name string, err error) string {
	reason := wording(err)
	if rest, ok := strings.CutPrefix(reason, name+":"); ok {
		return strings.TrimSpace(rest)
	}
	return reason
}
