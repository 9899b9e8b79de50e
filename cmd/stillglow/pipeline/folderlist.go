package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"stillglow/report"
)

// ListFile is the tool's own mark in a report folder: it lists what the tool
// wrote there, by name and SHA-256, in the form that `sha256sum -c` checks. Its
// head holds the sum of the lines below it, so that no list of another program,
// and none that was edited, is ever taken for ours.
const ListFile = "stillglow-report.sha256"

const (
	listHead = "# stillglow report: the files below were written by stillglow, and its next report replaces them unless they were changed; all else here is kept"
	nextList = ListFile + ".next" // a list on its way, in a working folder
	listSum  = "# sum of the lines below: "
	// maxListBytes bounds what is read as a list: a report of 5000 units with
	// seven pictures each, in two formats, stays under it.
	maxListBytes = 16 << 20
)

// ownFiles are files that the tool wrote, by slash-separated path below the
// report folder, with the SHA-256 of their bytes; several where a run was
// stopped while one report took the place of another.
type ownFiles map[string][]string

func listOf(files []report.File) ownFiles {
	own := make(ownFiles, len(files))
	for _, f := range files {
		own[f.Name] = []string{hexSum(f.Bytes)}
	}
	return own
}

// and is both lists in one.
func (o ownFiles) and(other ownFiles) ownFiles {
	both := maps.Clone(o)
	for name, sums := range other {
		for _, s := range sums {
			if !slices.Contains(both[name], s) {
				both[name] = append(slices.Clone(both[name]), s)
			}
		}
	}
	return both
}

func (o ownFiles) bytes() []byte {
	var lines bytes.Buffer
	for _, name := range slices.Sorted(maps.Keys(o)) {
		for _, sum := range o[name] {
			fmt.Fprintf(&lines, "%s  %s\n", sum, name)
		}
	}
	return append([]byte(listHead+"\n"+listSum+hexSum(lines.Bytes())+"\n"), lines.Bytes()...)
}

// readList reads the list of a report folder; nil when there is none that this
// tool wrote.
func readList(dir string) ownFiles {
	path := filepath.Join(dir, ListFile)
	info, err := os.Lstat(path)
	if err != nil || !info.Mode().IsRegular() || info.Size() > maxListBytes {
		return nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil
	}
	head, rest, _ := strings.Cut(string(data), "\n")
	sum, lines, _ := strings.Cut(rest, "\n")
	if head != listHead || sum != listSum+hexSum([]byte(lines)) {
		return nil
	}
	own := ownFiles{}
	for line := range strings.Lines(lines) {
		sum, name, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		if ok && filepath.IsLocal(filepath.FromSlash(name)) {
			own[name] = append(own[name], sum)
		}
	}
	return own
}

// unchanged reports whether the file of that name in dir is as the tool wrote
// it.
func (o ownFiles) unchanged(dir, name string) bool {
	sums := o[name]
	path := filepath.Join(dir, filepath.FromSlash(name))
	if info, err := os.Lstat(path); len(sums) == 0 || err != nil || !info.Mode().IsRegular() {
		return false
	}
	got, err := fileSum(path)
	return err == nil && slices.Contains(sums, got)
}

// folders are the folders below the report folder that hold listed files.
func (o ownFiles) folders() map[string]bool {
	out := map[string]bool{}
	for name := range o {
		for {
			i := strings.LastIndexByte(name, '/')
			if i < 0 {
				break
			}
			name = name[:i]
			out[name] = true
		}
	}
	return out
}

// remove deletes the files from dir, and the folders that they leave empty.
// A changed file stays, unless halfWritten says that what is there may be part
// of one. The error is the first of what could not be deleted.
func (o ownFiles) remove(dir string, halfWritten bool) error {
	var first error
	note := func(err error) {
		if err != nil && !errors.Is(err, fs.ErrNotExist) && first == nil {
			first = err
		}
	}
	for name := range o {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
			continue
		}
		if halfWritten || o.unchanged(dir, name) {
			note(os.Remove(path))
		}
	}
	folders := slices.SortedFunc(maps.Keys(o.folders()), func(a, b string) int { return strings.Count(b, "/") - strings.Count(a, "/") })
	for _, name := range folders {
		// one that still holds something stays
		_ = os.Remove(filepath.Join(dir, filepath.FromSlash(name)))
	}
	return first
}

// removeOwn removes a working folder: the files that its list names and the
// list. Whatever else it holds is left, and the folder with it.
func removeOwn(folder string, halfWritten bool) error {
	own := readList(folder)
	// A working folder is ours: a mode that forbids deleting came with the
	// report folder's.
	_ = os.Chmod(folder, 0o755)
	for name := range own.folders() {
		_ = os.Chmod(filepath.Join(folder, filepath.FromSlash(name)), 0o755)
	}
	err := own.remove(folder, halfWritten)
	if halfWritten {
		_ = os.Remove(filepath.Join(folder, nextList))
	}
	if err == nil && (own != nil || halfWritten) {
		if rerr := os.Remove(filepath.Join(folder, ListFile)); rerr != nil && !errors.Is(rerr, fs.ErrNotExist) {
			err = rerr
		}
	}
	if rerr := os.Remove(folder); err == nil {
		err = rerr
	}
	return err
}

// fileSum is the SHA-256 of a file in hex.
func fileSum(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	return Sum(f)
}

// Sum is the SHA-256 in hex of what r gives.
func Sum(r io.Reader) (string, error) {
	h := sha256.New()
	if _, err := io.Copy(h, r); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func hexSum(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
