package main

import (
	"io"
	"os"
	"strconv"

	"golang.org/x/term"

	"widthwise/report"
)

// streams is where a command reads and writes, and what stands at the ends.
type streams struct {
	in           io.Reader
	out, err     io.Writer
	outTerminal  bool
	errTerminal  bool
	width        int // columns of the terminal at out
	env          func(string) string
	openProgress func(size int64, name string) progress // nil: none is shown
}

const defaultWidth = 80

func systemStreams() streams {
	s := streams{
		in: os.Stdin, out: os.Stdout, err: os.Stderr, env: os.Getenv, width: defaultWidth,
		outTerminal: term.IsTerminal(int(os.Stdout.Fd())), errTerminal: term.IsTerminal(int(os.Stderr.Fd())),
	}
	if width, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil && width > 0 {
		s.width = width
	}
	if s.errTerminal {
		s.openProgress = func(size int64, name string) progress { return newBar(os.Stderr, size, name) }
	}
	return s
}

// style follows --color auto|always|never, NO_COLOR and a dumb terminal. The
// width is that of the terminal, which COLUMNS overrides.
func (s streams) style(color string) report.Style {
	style := report.Style{Width: s.width}
	if n, err := strconv.Atoi(s.env("COLUMNS")); err == nil && n > 0 {
		style.Width = n
	}
	switch color {
	case "always":
		style.Colour = true
	case "auto":
		style.Colour = s.outTerminal && s.env("NO_COLOR") == "" && s.env("TERM") != "dumb"
	}
	return style
}
