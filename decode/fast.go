//go:build !plain

package decode

// plain compiles the short ways out, with the build tag of that name.
const plain = false
