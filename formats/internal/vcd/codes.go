package vcd

import "golang.org/x/exp/slices"

// Codes of up to three characters, 839 514 of them, are looked up in a table.
const (
	first    = '!'
	alphabet = '~' - '!' + 1
	dense    = 3
)

// codes finds the signal that an identifier code stands for.
type codes struct {
	dense []int32 // by the code as a number, one more than the signal; 0: none
	long  map[string]int32
}

// find returns the index of the signal, -1 if the code is not declared.
func (c *codes) find(code []byte) int32 {
	if n := denseCode(code); n >= 0 {
		if n < len(c.dense) {
			return c.dense[n] - 1
		}
		return -1
	}
	if i, ok := c.long[string(code)]; ok {
		return i
	}
	return -1
}

func (c *codes) add(code []byte, signal int32) {
	n := denseCode(code)
	if n < 0 {
		if c.long == nil {
			c.long = map[string]int32{}
		}
		c.long[string(code)] = signal
		return
	}
	if n >= len(c.dense) {
		c.dense = slices.Grow(c.dense, n+1-len(c.dense))[:n+1]
	}
	c.dense[n] = signal + 1
}

// continues tells whether a declared code is longer than start and begins with
// it. It searches them all: for use once, at the end of a file.
func (c *codes) continues(start []byte) bool {
	for code := range c.long {
		if len(code) > len(start) && code[:len(start)] == string(start) {
			return true
		}
	}
	for n, signal := range c.dense {
		if signal > 0 && continuesDense(n, start) {
			return true
		}
	}
	return false
}

func continuesDense(n int, start []byte) bool {
	for _, c := range start {
		if n == 0 || byte((n-1)%alphabet)+first != c {
			return false
		}
		n = (n - 1) / alphabet
	}
	return n > 0
}

// denseCode returns a code as a number, its first character the least
// significant digit (1 to 94), since most writers count that way; -1 if it is
// longer than the table has room for.
func denseCode(code []byte) int {
	if len(code) > dense {
		return -1
	}
	n := 0
	for i := len(code) - 1; i >= 0; i-- {
		digit := int(code[i]) - first
		if uint(digit) >= alphabet {
			return -1
		}
		n = n*alphabet + digit + 1
	}
	return n
}
