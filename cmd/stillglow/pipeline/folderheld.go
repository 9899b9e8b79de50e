package pipeline

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"stillglow/report"
)

// holding is what a report folder holds before a report is written.
type holding struct {
	dir     string
	exists  bool
	mode    fs.FileMode
	list    ownFiles // what the tool wrote there; nil without a list of ours
	own     []string // of it, what is there unchanged and is no input
	foreign []string // all else: slash-separated, a folder with "/" after it
	inputs  []input
}

// input is a file that the report rests on, by every path that leads to it.
type input struct {
	paths []string
	info  fs.FileInfo // nil when it is not there
}

func resolveInputs(names []string) []input {
	out := make([]input, 0, len(names))
	for _, name := range names {
		abs, err := filepath.Abs(name)
		if err != nil {
			continue
		}
		in := input{paths: []string{abs}}
		if real, err := filepath.EvalSymlinks(abs); err == nil && real != abs {
			in.paths = append(in.paths, real)
		}
		if folder, err := filepath.EvalSymlinks(filepath.Dir(abs)); err == nil {
			if p := filepath.Join(folder, filepath.Base(abs)); !slices.Contains(in.paths, p) {
				in.paths = append(in.paths, p)
			}
		}
		in.info, _ = os.Stat(abs)
		out = append(out, in)
	}
	return out
}

// isInput reports whether path is one of the inputs, or a folder or link on the
// way to one.
func (h *holding) isInput(path string) bool {
	info, err := os.Stat(path)
	for _, in := range h.inputs {
		if slices.ContainsFunc(in.paths, func(p string) bool { return within(p, path) }) ||
			err == nil && in.info != nil && os.SameFile(info, in.info) {
			return true
		}
	}
	return false
}

// survey tells the tool's own files in dir from all others. A folder without
// files of the tool counts as a whole and is not looked into.
func survey(dir string, inputs []string) (holding, error) {
	h := holding{dir: dir, inputs: resolveInputs(inputs)}
	info, err := os.Stat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return h, nil
	}
	if err != nil {
		return h, plainPathError(err)
	}
	h.exists = true
	h.mode = info.Mode() & (fs.ModePerm | fs.ModeSetgid | fs.ModeSticky)
	h.list = readList(dir)
	folders := h.list.folders()
	err = filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // gone since it was listed
		}
		if err != nil {
			return plainPathError(err)
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil || path == dir {
			return err
		}
		name := filepath.ToSlash(rel)
		if e.IsDir() {
			return h.meetFolder(name, e.Name(), folders[name])
		}
		h.meetFile(path, name)
		return nil
	})
	return h, err
}

// meetFolder notes a folder of the folder, name its path within it; one of ours is
// looked into.
func (h *holding) meetFolder(name, base string, ours bool) error {
	if strings.HasPrefix(base, workingMark) && !strings.Contains(name, "/") {
		return filepath.SkipDir // a working folder of another run
	}
	if ours {
		return nil
	}
	h.foreign = append(h.foreign, name+"/")
	return filepath.SkipDir
}

// meetFile notes a file of the folder, name its path within it.
func (h *holding) meetFile(path, name string) {
	switch {
	case name == ListFile && h.list != nil:
	case h.list.unchanged(h.dir, name) && !h.isInput(path):
		h.own = append(h.own, name)
	default:
		h.foreign = append(h.foreign, name)
	}
}

// refusal is why the folder is not written to; nil when it may be.
func (h *holding) refusal(force bool) error {
	if len(h.foreign) == 0 || force {
		return nil
	}
	return fmt.Errorf("%s: holds %s, not from an earlier report; name another folder with --out, or keep it beside the new report with --force", h.dir, quoteSome(h.foreign))
}

// clashes are the paths that must make room for the files and their list, none
// of them the tool's own. It is an error when an input would have to.
func (h *holding) clashes(files []report.File) ([]string, error) {
	var out []string
	seen := map[string]bool{}
	add := func(name string) error {
		path := filepath.Join(h.dir, filepath.FromSlash(name))
		if seen[name] {
			return nil
		}
		seen[name] = true
		if h.isInput(path) {
			return fmt.Errorf("%s: is what the report is made from, and the report has a file of that name; name another folder with --out", path)
		}
		out = append(out, path)
		return nil
	}
	if _, err := os.Lstat(filepath.Join(h.dir, ListFile)); err == nil && h.list == nil {
		if err := add(ListFile); err != nil {
			return nil, err
		}
	}
	for _, f := range files {
		parts := strings.Split(f.Name, "/")
		for i := range parts {
			name := strings.Join(parts[:i+1], "/")
			info, err := os.Lstat(filepath.Join(h.dir, filepath.FromSlash(name)))
			if err != nil {
				break // not there, so nothing below it is
			}
			if folder := i+1 < len(parts); folder && info.IsDir() || !folder && slices.Contains(h.own, name) {
				continue
			}
			if err := add(name); err != nil {
				return nil, err
			}
			break
		}
	}
	return out, nil
}

// writeList puts a list in the place of the folder's; fresh is the working
// folder it is written to first.
func (h *holding) writeList(fresh string, list ownFiles) error {
	next := filepath.Join(fresh, nextList)
	if err := writeSynced(next, list.bytes()); err != nil {
		return err
	}
	if err := os.Rename(next, filepath.Join(h.dir, ListFile)); err != nil {
		return err
	}
	syncFolder(h.dir)
	return nil
}
