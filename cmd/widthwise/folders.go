package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode/phrase"
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
func (a *app) findCaptures(args []string, but ...string) ([]found, error) {
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
			inside, err := a.inFolder(arg, but)
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

// inFolder walks a folder, also one that is a link. Hidden files, as some archives
// leave them beside each real one, and links to folders are left out and told.
func (a *app) inFolder(root string, but []string) ([]found, error) {
	real, err := filepath.EvalSymlinks(root)
	if err != nil {
		return nil, bare(root, err)
	}
	var all []found
	var hidden []string
	held := map[string]int{} // captures by folder
	err = filepath.WalkDir(real, func(path string, d fs.DirEntry, err error) error {
		below, _ := filepath.Rel(real, path)
		named := filepath.Join(root, below)
		switch {
		case err != nil && path == real:
			return bare(root, err)
		case err != nil:
			all = append(all, found{path: named}) // stands for what it holds; whoever opens it says why
			return nil
		}
		info, err := os.Stat(path)
		if err == nil && info.IsDir() && !d.IsDir() {
			a.warn(named, "a link to a folder, which is not followed; name it to have it walked")
		}
		if d.IsDir() || !looksLikeCapture(d.Name()) || err == nil && (!info.Mode().IsRegular() || isOneOf(info, but)) {
			return nil
		}
		if strings.HasPrefix(below, ".") || strings.Contains(below, string(filepath.Separator)+".") {
			hidden = append(hidden, below)
			return nil
		}
		f := found{path: named}
		if err == nil {
			f.size = info.Size()
		}
		held[filepath.Dir(named)]++
		all = append(all, f)
		return nil
	})
	if len(hidden) > 0 {
		a.warn(root, fmt.Sprintf("%s left out, such as %s; name one to have it read", phrase.Count(len(hidden), "hidden file"), hidden[0]))
	}
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
