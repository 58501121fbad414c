package main

import (
	"errors"
	"io"
	"path/filepath"
	"strings"
	"sync"

	"github.com/spf13/pflag"
	"golang.org/x/exp/slices"

	"widthwise/report"
	"widthwise/report/grade"
	"widthwise/report/page"
	"widthwise/report/picture"
)

// pictures are the files that show what was found: a page and a still.
type pictures struct {
	html, picture string

	book  page.Book
	still picture.Still
}

func (p *pictures) flags(f *pflag.FlagSet) {
	f.Func("html", "`FILE` write a page that shows what happened; - for standard output, and nothing else there", into(&p.html, pageName))
	f.Func("picture", "`FILE` write a still, as FILE.svg or FILE.png", func(s string) error {
		if ending := strings.ToLower(filepath.Ext(s)); ending != ".svg" && ending != ".png" {
			return errors.New("a still ends in .svg or .png")
		}
		p.picture = s
		return nil
	})
}

// alone says whether the page is all that goes to standard output.
func (p *pictures) alone() bool { return p.html == "-" }

// add takes in a capture that was measured.
func (p *pictures) add(told *report.Capture, c *capture) error {
	if p.picture != "" {
		p.still.Add(told, c.analysis, c.judgement)
	}
	if p.html == "" {
		return nil
	}
	return p.book.Add(told, c.analysis, c.judgement)
}

// classPage is the page of a class; captures may be taken in side by side.
type classPage struct {
	html string

	mu    sync.Mutex
	lanes map[string][]page.SmallLane // of each file
}

func (p *classPage) flags(f *pflag.FlagSet) {
	f.Func("html", "`FILE` write a page with a sheet for each student; - for standard output, and nothing else there", into(&p.html, pageName))
}

// pageName refuses a page without a name.
func pageName(s string) (string, error) {
	if s == "" {
		return "", errors.New("empty; the name of a file, or -")
	}
	return s, nil
}

// add takes in a file that was read.
func (p *classPage) add(file string, told *report.Capture, c *capture) {
	if p.html == "" {
		return
	}
	lanes := page.SmallLanes(told, c.analysis, c.judgement)
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.lanes == nil {
		p.lanes = map[string][]page.SmallLane{}
	}
	p.lanes[file] = lanes
}

func (p *classPage) write(out io.Writer, class *grade.Class) error {
	return writeOut(p.html, out, func(w io.Writer) error { return page.WriteClass(w, class, p.lanes) })
}

// write writes the files, each whole or not at all; where no capture could be
// read there is nothing to show.
func (p *pictures) write(out io.Writer, document *report.Check) error {
	if !slices.ContainsFunc(document.Captures, func(c *report.Capture) bool { return c.Err == "" }) {
		return nil
	}
	if err := writeOut(p.html, out, func(w io.Writer) error { return p.book.WriteCheck(w, document) }); err != nil {
		return err
	}
	format := strings.TrimPrefix(strings.ToLower(filepath.Ext(p.picture)), ".")
	return writeOut(p.picture, out, func(w io.Writer) error { return p.still.Write(w, format) })
}
