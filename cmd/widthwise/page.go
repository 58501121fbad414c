package main

import (
	"errors"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	"widthwise/report"
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
	f.Func("html", "`FILE` write a page that shows what happened; - for standard output, and nothing else there", func(s string) error {
		if s == "" {
			return errors.New("empty; the name of a file, or -")
		}
		p.html = s
		return nil
	})
	f.Func("picture", "`FILE` write a still, as FILE.svg or FILE.png", func(s string) error {
		if ending := strings.ToLower(filepath.Ext(s)); ending != ".svg" && ending != ".png" {
			return errors.New("a still ends in .svg or .png")
		}
		p.picture = s
		return nil
	})
}

// asked says whether any file was asked for.
func (p *pictures) asked() bool { return p.html != "" || p.picture != "" }

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

// write writes the files, each whole or not at all.
func (p *pictures) write(out io.Writer, document *report.Check) error {
	if len(document.Captures) == 0 {
		return nil
	}
	whole := func(w io.Writer) error { return p.book.WriteCheck(w, document) }
	switch p.html {
	case "":
	case "-":
		if err := buffered(out, whole); err != nil {
			return err
		}
	default:
		if err := writeFile(p.html, whole); err != nil {
			return err
		}
	}
	if p.picture == "" {
		return nil
	}
	format := strings.TrimPrefix(strings.ToLower(filepath.Ext(p.picture)), ".")
	return writeFile(p.picture, func(w io.Writer) error { return p.still.Write(w, format) })
}
