package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"stillglow/report"
)

// sumsFile lists what the tool wrote into a report folder, in the form that
// `sha256sum -c` checks. It is also how a later run tells its own files from
// other people's.
const sumsFile = "SHA256SUMS"

// writeFolder puts files into dir so that at every instant dir holds either the
// whole earlier report or the whole new one. Files of other people in dir (any
// that sumsFile does not list with the very bytes) make it refuse; with force
// they are kept beside the new report, under their own name or, where the
// report has a file of that name, with ".kept" after it.
func writeFolder(dir string, files []report.File, force bool) (err error) {
	dir, err = resolveFolder(dir)
	if err != nil {
		return err
	}
	if err := sweepLeftovers(dir); err != nil {
		return err
	}
	foreign, err := foreignFiles(dir)
	if err != nil {
		return err
	}
	if len(foreign) > 0 && !force {
		return fmt.Errorf("%s: holds %s, which is not from an earlier report; name another folder with --out, or keep it beside the new report with --force", dir, quoteSome(foreign))
	}

	fresh := leftoverName(dir, "new")
	if err := os.Mkdir(fresh, 0o755); err != nil {
		return plainPathError(err)
	}
	defer func() {
		if err != nil {
			os.RemoveAll(fresh)
		}
	}()
	var sums bytes.Buffer
	for _, f := range files {
		if !filepath.IsLocal(filepath.FromSlash(f.Name)) {
			return fmt.Errorf("%s: refuses to write %q outside the report folder", dir, f.Name)
		}
		if err := writeSynced(filepath.Join(fresh, filepath.FromSlash(f.Name)), f.Bytes); err != nil {
			return plainPathError(err)
		}
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(f.Bytes), f.Name)
	}
	if err := writeSynced(filepath.Join(fresh, sumsFile), sums.Bytes()); err != nil {
		return plainPathError(err)
	}
	for _, name := range foreign {
		if err := keepForeign(dir, fresh, name); err != nil {
			return plainPathError(err)
		}
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return plainPathError(err)
	}
	old, err := swapFolders(fresh, dir, leftoverName(dir, "old"))
	if err != nil {
		return plainPathError(err)
	}
	syncFolder(filepath.Dir(dir))
	if old != "" {
		// Everything in it is ours or linked into the new folder, but for what
		// somebody put there since we looked.
		late, err := foreignFiles(old)
		if err != nil {
			return err
		}
		for _, name := range late {
			if slices.Contains(foreign, name) {
				continue
			}
			if err := keepForeign(old, dir, name); err != nil {
				return plainPathError(err)
			}
		}
		if err := os.RemoveAll(old); err != nil {
			return plainPathError(err)
		}
	}
	return nil
}

// resolveFolder makes dir absolute and follows links, so that the swap replaces
// the folder and not a link to it. Its parent is made when missing.
func resolveFolder(dir string) (string, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	real, err := filepath.EvalSymlinks(abs)
	switch {
	case err == nil:
		info, err := os.Stat(real)
		if err != nil {
			return "", plainPathError(err)
		}
		if !info.IsDir() {
			return "", fmt.Errorf("%s: is a file, expected a folder to write the report into; name another with --out", dir)
		}
		if real == filepath.Dir(real) {
			return "", fmt.Errorf("%s: is the root folder; name another with --out", dir)
		}
		return real, nil
	case errors.Is(err, fs.ErrNotExist):
		if info, lerr := os.Lstat(abs); lerr == nil && info.Mode()&fs.ModeSymlink != 0 {
			return "", fmt.Errorf("%s: is a link that leads nowhere; remove it or name another folder with --out", dir)
		}
		parent := filepath.Dir(abs)
		if err := os.MkdirAll(parent, 0o755); err != nil {
			return "", plainPathError(err)
		}
		if parent, err = filepath.EvalSymlinks(parent); err != nil {
			return "", plainPathError(err)
		}
		return filepath.Join(parent, filepath.Base(abs)), nil
	default:
		return "", plainPathError(err)
	}
}

// leftoverName names a working folder beside dir that carries this process's
// number, so that a later run can tell a dead process's leftovers.
func leftoverName(dir, kind string) string {
	return filepath.Join(filepath.Dir(dir), fmt.Sprintf(".%s.stillglow-%s-%d", filepath.Base(dir), kind, os.Getpid()))
}

// sweepLeftovers removes working folders of runs that were killed, and puts an
// old report back where a run died between the two renames of a system that
// can't swap folders in one step.
func sweepLeftovers(dir string) error {
	parent := filepath.Dir(dir)
	entries, err := os.ReadDir(parent)
	if err != nil {
		return plainPathError(err)
	}
	prefix := "." + filepath.Base(dir) + ".stillglow-"
	for _, e := range entries {
		rest, ours := strings.CutPrefix(e.Name(), prefix)
		if !ours || !e.IsDir() {
			continue
		}
		kind, number, _ := strings.Cut(rest, "-")
		pid, err := strconv.Atoi(number)
		if err != nil || pid <= 0 || processAlive(pid) {
			continue
		}
		left := filepath.Join(parent, e.Name())
		if kind == "old" {
			if _, err := os.Lstat(dir); errors.Is(err, fs.ErrNotExist) {
				if err := os.Rename(left, dir); err != nil {
					return plainPathError(err)
				}
				continue
			}
		}
		if kind == "new" || kind == "old" {
			if err := os.RemoveAll(left); err != nil {
				return plainPathError(err)
			}
		}
	}
	return nil
}

// foreignFiles lists, by slash-separated path, what in dir is not a file this
// tool wrote there: not in its list, or changed since.
func foreignFiles(dir string) ([]string, error) {
	sums, err := readSums(filepath.Join(dir, sumsFile))
	if err != nil {
		return nil, err
	}
	var foreign []string
	err = filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			if path == dir && errors.Is(err, fs.ErrNotExist) {
				return filepath.SkipAll
			}
			return plainPathError(err)
		}
		if e.IsDir() {
			return nil
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		name := filepath.ToSlash(rel)
		if name == sumsFile && sums != nil {
			return nil
		}
		if want, listed := sums[name]; listed && e.Type().IsRegular() {
			if got, err := fileSum(path); err == nil && got == want {
				return nil
			}
		}
		foreign = append(foreign, name)
		return nil
	})
	return foreign, err
}

// readSums reads a list that writeFolder wrote; nil when there is none.
func readSums(path string) (map[string]string, error) {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && (!info.Mode().IsRegular() || info.Size() > 1<<20) {
		return nil, nil
	}
	if err != nil {
		return nil, plainPathError(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, plainPathError(err)
	}
	sums := make(map[string]string)
	for line := range strings.Lines(string(data)) {
		if sum, name, ok := strings.Cut(strings.TrimRight(line, "\r\n"), "  "); ok {
			sums[name] = sum
		}
	}
	return sums, nil
}

func fileSum(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// keepForeign carries one of other people's files into the new folder: by a
// hard link where the file system has them, else by copying.
func keepForeign(dir, fresh, name string) error {
	from := filepath.Join(dir, filepath.FromSlash(name))
	to := filepath.Join(fresh, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	for {
		if _, err := os.Lstat(to); errors.Is(err, fs.ErrNotExist) {
			break
		}
		to += ".kept"
	}
	info, err := os.Lstat(from)
	if err != nil {
		return err
	}
	if info.Mode()&fs.ModeSymlink != 0 {
		dest, err := os.Readlink(from)
		if err != nil {
			return err
		}
		return os.Symlink(dest, to)
	}
	if err := os.Link(from, to); err == nil {
		return nil
	}
	if !info.Mode().IsRegular() {
		return fmt.Errorf("%s: is neither file nor folder and can't be kept; move it away first", from)
	}
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return writeSynced(to, data)
}

// writeSynced writes a new file and waits until it is on the disk. A file that
// is there already is an error, never overwritten.
func writeSynced(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// syncFolder makes a rename last through a power cut, where the system lets a
// folder be synced; elsewhere there is nothing more to do.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		d.Close()
	}
}

// plainPathError turns the system's path errors into the house's form: the
// path, what was found, what to do where that is plain.
func plainPathError(err error) error {
	path, cause := pathAndCause(err)
	if path == "" {
		return err
	}
	return fmt.Errorf("%s: cannot write the report: %w", path, cause)
}

// quoteSome names the first few of many files.
func quoteSome(names []string) string {
	const most = 3
	shown := slices.Clone(names[:min(most, len(names))])
	for i := range shown {
		shown[i] = strconv.Quote(shown[i])
	}
	text := strings.Join(shown, ", ")
	if more := len(names) - len(shown); more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}
