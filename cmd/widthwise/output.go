package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/exp/slices"
)

// writeFile lets write fill a file that appears whole or not at all: it is
// written beside its place and renamed into it. What is no regular file, such
// as a device or a named pipe, is written to directly.
func writeFile(name string, write func(io.Writer) error) error {
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
		if info.IsDir() {
			return fmt.Errorf("%s: a directory; the name of a file", name)
		}
		f, err := os.OpenFile(name, os.O_WRONLY, 0)
		if err != nil {
			return bare(name, err)
		}
		return errors.Join(buffered(f, write), f.Close())
	}
	part, err := os.OpenFile(fmt.Sprintf("%s.%d.part", name, os.Getpid()), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return bare(name, err)
	}
	err = errors.Join(buffered(part, write), part.Close())
	if err == nil {
		err = bare(name, os.Rename(part.Name(), name))
	}
	if err != nil {
		os.Remove(part.Name())
	}
	return err
}

// spare refuses to write over a file that is read, or over one just written.
func spare(read []string, written ...string) error {
	for i, name := range written {
		if name == "" || name == "-" {
			continue
		}
		for _, other := range append(slices.Clone(read), written[:i]...) {
			if filepath.Clean(name) == filepath.Clean(other) || sameFile(name, other) {
				return usageError("%s: would be written over; another name for what is written", name)
			}
		}
	}
	return nil
}

// earlier lists those outputs that are there from an earlier run: in a folder of
// captures they are none, and may be written anew. What else stands under the
// name of an output is somebody's capture.
func earlier(outputs ...string) (own []string) {
	for _, name := range outputs {
		if info, err := os.Stat(name); err != nil || !info.Mode().IsRegular() {
			continue // a pipe would wait for who writes to it
		}
		f, err := os.Open(name)
		if err != nil {
			continue
		}
		head := make([]byte, 64)
		n, _ := io.ReadFull(f, head)
		f.Close()
		if slices.ContainsFunc(headsWritten, func(h string) bool { return strings.HasPrefix(string(head[:n]), h) }) {
			own = append(own, name)
		}
	}
	return own
}

// headsWritten begin a gradebook, a table of commands and a page.
var headsWritten = []string{"\ufeffstudent,file,points,of,", "channel,start_s,width_us,command\n", "<!DOCTYPE html>"}

func sameFile(a, b string) bool {
	first, err1 := os.Stat(a)
	second, err2 := os.Stat(b)
	return err1 == nil && err2 == nil && first.Mode().IsRegular() && os.SameFile(first, second)
}

// writeOut writes to a file, to standard output for -, or nowhere for no name.
func writeOut(name string, out io.Writer, write func(io.Writer) error) error {
	switch name {
	case "":
		return nil
	case "-":
		return buffered(out, write)
	}
	return writeFile(name, write)
}

func buffered(w io.Writer, write func(io.Writer) error) error {
	b := bufio.NewWriterSize(w, 256<<10)
	if err := write(b); err != nil {
		return err
	}
	return b.Flush()
}

// bare keeps the reason of a file error and names the file the user knows.
func bare(name string, err error) error {
	var path *os.PathError
	var link *os.LinkError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &path):
		err = path.Err
	case errors.As(err, &link):
		err = link.Err
	}
	return fmt.Errorf("%s: %w", name, err)
}
