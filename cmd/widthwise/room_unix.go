//go:build linux || darwin

package main

import "golang.org/x/sys/unix"

// room is how many bytes a folder's disk has free for whoever runs this; ok is
// false where that cannot be known.
func room(folder string) (bytes float64, ok bool) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, false
	}
	return float64(s.Bavail) * float64(s.Bsize), true
}
