//go:build !plain

package capture

// plain compiles the fast paths out, with the build tag of that name.
const plain = false
