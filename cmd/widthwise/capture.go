package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/diagnose"
	"widthwise/decode/failsafe"
	"widthwise/formats"
	"widthwise/report"
)

// capture is one capture read to its end and judged.
type capture struct {
	name       string
	header     *formats.Header
	rateStated bool // by the user
	analysis   *decode.Analysis
	judgement  *decode.Judgement
	limits     decode.PerChannel[decode.Limits]
	labels     map[string]string
	names      map[string]string // every name a channel goes by, to its own
	mark       []decode.Time     // edges of the channel that marks the switch
	marked     string            // its name
}

// opener opens the capture called name. Commands that bring their own capture
// have one of their own.
type opener func(name string, o *options, r *rules) (*formats.Reader, func() error, error)

// measure reads a capture, analyses and judges it, and warns of what a reader
// has to know even when the output goes elsewhere.
func (a *app) measure(ctx context.Context, name string, o *options, r *rules, open opener) (*capture, error) {
	c, err := a.read(ctx, name, o, r, open)
	if err == nil {
		a.warnings(name, c.warnings(o))
	}
	return c, err
}

// read is measure without a word.
func (a *app) read(ctx context.Context, name string, o *options, r *rules, open opener) (*capture, error) {
	all := *o
	all.read.Witnesses = true
	reader, closeFile, err := open(name, &all, r)
	if err != nil {
		return nil, placed(name, r.placed(name, o, err))
	}
	defer closeFile()
	defer reader.Close()
	c := &capture{name: name, header: reader.Header(), rateStated: o.read.Rate.Num != 0}
	names := channelNames(reader)
	own, err := r.forCapture(name, names)
	if err != nil {
		return nil, placed(name, err)
	}
	if c.labels, err = resolveLabels(o.labels, names); err != nil {
		return nil, placed(name, err)
	}
	c.names = names
	source, edges, err := c.watched(o, reader)
	if err != nil {
		return nil, placed(name, err)
	}
	recording, err := decode.Decode(ctx, source, decode.Settings{From: o.from, To: o.to, Stated: own.stated()})
	if err != nil {
		return nil, placed(name, err)
	}
	c.mark = edges()
	c.analysis = recording.Analyse()
	c.nameSlots()
	if err := o.outside(c.analysis); err != nil {
		return nil, placed(name, err)
	}
	c.limits = own.limits()
	c.judgement = c.analysis.Judge(c.limits)
	return c, nil
}

// report gathers what is to be told of the capture.
func (c *capture) report() *report.Capture {
	told := report.NewCapture(c.header, c.analysis, c.judgement, diagnose.Explain(c.analysis, c.judgement), c.labels)
	told.Reword(dashed)
	return told
}

// watched is the source to decode, and the edges of the channel that marks a
// switch once it has been read.
func (c *capture) watched(o *options, reader *formats.Reader) (decode.Source, func() []decode.Time, error) {
	if o.mark == "" {
		return reader, func() []decode.Time { return nil }, nil
	}
	i, err := c.markChannel(o.mark, reader.Channels())
	if err != nil {
		return nil, nil, err
	}
	w := failsafe.Watch(reader, i)
	return w, w.Edges, nil
}

// warnings tells on standard error what a reader has to know even when the
// output goes elsewhere: what is missing of the file.
func (a *app) warnings(name string, warnings []string) {
	for _, warning := range warnings {
		a.warn(name, warning)
	}
}

// placed puts the name of the capture before an error that has no place.
func placed(name string, err error) error {
	if at := (*formats.ParseError)(nil); errors.As(err, &at) && at.File != "" {
		return err
	}
	if errors.Is(err, context.Canceled) || strings.HasPrefix(err.Error(), name+":") {
		return err
	}
	return fmt.Errorf("%s: %w", name, err)
}

// readOptions adds the channels that a limits file names.
func readOptions(o *options, r *rules) formats.Options {
	read := o.read
	read.Also = r.names()
	if o.mark != "" {
		read.Also = append(read.Also, o.mark)
	}
	return read
}

// openCapture opens a file, or standard input for "-".
func (a *app) openCapture(name string, o *options, r *rules) (*formats.Reader, func() error, error) {
	nothing := func() error { return nil }
	read := readOptions(o, r)
	if info, err := os.Stat(name); err == nil && info.IsDir() {
		if _, err := os.ReadDir(name); err != nil {
			return nil, nil, bare(name, err)
		}
		return nil, nil, usageError("%s: a folder; the name of a capture", name)
	}
	if name == "-" {
		reader, err := formats.NewReader(a.in, name, read)
		return reader, nothing, err
	}
	if f, bar := a.openWithProgress(name, o); f != nil {
		done := func() error { bar.finish(); return f.Close() }
		reader, err := formats.NewReader(&counted{File: f, bar: bar}, name, read)
		if err != nil {
			done()
		}
		return reader, done, err
	}
	reader, err := formats.Open(name, read)
	return reader, nothing, err
}

// openBytes returns an opener for a capture that is built into the program.
func openBytes(text []byte) opener {
	return func(name string, o *options, r *rules) (*formats.Reader, func() error, error) {
		reader, err := formats.NewReader(bytes.NewReader(text), name, readOptions(o, r))
		return reader, func() error { return nil }, err
	}
}

// largeFile is the size from which a bar is worth its line.
const largeFile = 64 << 20

// openWithProgress opens a large regular file together with its bar, and
// nothing else; errors are left to whoever opens it without one.
func (a *app) openWithProgress(name string, o *options) (*os.File, progress) {
	if a.openProgress == nil || o.progress != "auto" || o.quiet {
		return nil, nil
	}
	info, err := os.Stat(name)
	if err != nil || !info.Mode().IsRegular() || info.Size() < largeFile {
		return nil, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, nil
	}
	return f, a.openProgress(info.Size(), name)
}

// counted tells the bar how far a file was read. What is read twice, as its head
// is, counts once.
type counted struct {
	*os.File
	bar  progress
	at   int64 // of the next Read
	told atomic.Int64
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.File.Read(p)
	c.at += int64(n)
	c.reached(c.at)
	return n, err
}

func (c *counted) ReadAt(p []byte, at int64) (int, error) {
	n, err := c.File.ReadAt(p, at)
	c.reached(at + int64(n))
	return n, err
}

func (c *counted) reached(at int64) {
	for told := c.told.Load(); told < at; told = c.told.Load() {
		if c.told.CompareAndSwap(told, at) {
			c.bar.add(int(at - told))
		}
	}
}

var _ io.ReaderAt = (*counted)(nil)

// channelNames maps every name a channel goes by - its own, its path, its
// aliases - to its own.
func channelNames(r *formats.Reader) map[string]string {
	names := map[string]string{}
	own := map[string]bool{}
	for _, ch := range r.Channels() {
		names[ch.Name], own[ch.Name] = ch.Name, true
	}
	for _, v := range r.Header().Variables {
		if !own[v.Name] {
			continue
		}
		for _, other := range append(slices.Clone(v.Aliases), v.Path) {
			if other != "" && !own[other] {
				names[other] = v.Name
			}
		}
	}
	return names
}

// nameSlots lets the slots of streams be named once they are known.
func (c *capture) nameSlots() {
	for _, ch := range c.analysis.Channels {
		for _, s := range ch.Slots {
			if _, taken := c.names[s.Name]; !taken {
				c.names[s.Name] = s.Name
			}
		}
	}
}

func resolveLabels(labels []pair, names map[string]string) (map[string]string, error) {
	out := map[string]string{}
	for _, l := range labels {
		if !l.label(names, out) {
			name, _ := l.first()
			return nil, usageError("--label %s: no channel %q; inspect lists them", l, name)
		}
	}
	return out, nil
}
