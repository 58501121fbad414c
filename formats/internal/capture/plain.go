//go:build plain

package capture

// plain compiles the fast paths out.
const plain = true
