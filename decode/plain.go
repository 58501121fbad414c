//go:build plain

package decode

// plain compiles the short ways out.
const plain = true
