package main

import (
	"fmt"
	"io"
	"os"
)

// mostSmall is far more than anyone writes.
const mostSmall = 16 << 20

// readSmall reads a file that people write: limits, constants, a rubric, a
// roster, answers. A capture given by mistake is not read to its end.
func readSmall(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, bare(name, err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, mostSmall+1))
	switch {
	case err != nil:
		return nil, bare(name, err)
	case len(text) > mostSmall:
		return nil, fmt.Errorf("%s: more than 16 MiB; a file as widthwise help shows it, and no capture", name)
	}
	return text, nil
}
