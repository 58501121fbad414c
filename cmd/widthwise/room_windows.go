package main

import "golang.org/x/sys/windows"

// room is how many bytes a folder's disk has free for whoever runs this; ok is
// false where that cannot be known.
func room(folder string) (bytes float64, ok bool) {
	name, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, false
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(name, &free, nil, nil)
	return float64(free), err == nil
}
