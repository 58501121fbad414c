package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/exp/slices"
)

// found is a capture among the arguments of a command: a file as it was named,
// or one that a folder holds.
type found struct {
	path string
	size int64
	// alone is the name of the folder that holds this capture and no other,
	// below the folder that was named; "" elsewhere.
	alone string
}

// findCaptures lists the files that the arguments name and those that their
// folders hold, in the order of the arguments and then of their paths. Files
// named by flags, such as a roster, are no captures.
func findCaptures(args []string, but ...string) ([]found, error) {
	if err := readOnce(args); err != nil {
		return nil, err
	}
	var all []found
	for _, arg := range args {
		info, err := os.Stat(arg)
		switch {
		case err != nil: // whoever opens it says so
			all = append(all, found{path: arg})
		case info.IsDir():
			inside, err := inFolder(arg, but)
			if err != nil {
				return nil, err
			}
			all = append(all, inside...)
		default:
			all = append(all, found{path: arg, size: info.Size()})
		}
	}
	return all, nil
}

func pathsOf(files []found) []string {
	var paths []string
	for _, f := range files {
		paths = append(paths, f.path)
	}
	return paths
}

// readOnce refuses standard input where it is named again after its end was read.
func readOnce(args []string) error {
	if i := slices.Index(args, "-"); i >= 0 && slices.Contains(args[i+1:], "-") {
		return usageError("-: standard input is named twice; - once, and files")
	}
	return nil
}

func inFolder(root string, but []string) ([]found, error) {
	var all []found
	held := map[string]int{} // captures by folder
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return bare(path, err)
		}
		info, err := os.Stat(path)
		if d.IsDir() || !looksLikeCapture(d.Name()) || err == nil && (!info.Mode().IsRegular() || isOneOf(info, but)) {
			return nil
		}
		f := found{path: path}
		if err == nil {
			f.size = info.Size()
		}
		held[filepath.Dir(path)]++
		all = append(all, f)
		return nil
	})
	for i := range all {
		if folder := filepath.Dir(all[i].path); held[folder] == 1 && folder != filepath.Clean(root) {
			all[i].alone = filepath.Base(folder)
		}
	}
	return all, err
}

// looksLikeCapture goes by the ending: .csv .tsv .txt .vcd, perhaps .gz or .zst.
func looksLikeCapture(name string) bool {
	name = strings.ToLower(name)
	for _, packed := range []string{".gz", ".zst"} {
		name = strings.TrimSuffix(name, packed)
	}
	return slices.Contains([]string{".csv", ".tsv", ".txt", ".vcd"}, filepath.Ext(name))
}

func isOneOf(info fs.FileInfo, files []string) bool {
	return slices.ContainsFunc(files, func(name string) bool {
		other, err := os.Stat(name)
		return err == nil && os.SameFile(info, other)
	})
}
