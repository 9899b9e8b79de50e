package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"stillglow/report"
	"stillglow/report/pool"
)

// FolderOptions say how a report folder may be written. The zero value writes
// only to a folder that is new, empty or holds an unchanged earlier report.
type FolderOptions struct {
	// Force writes beside files that no report wrote. They are kept: under
	// their own name or, where the report has a file of that name, with ".kept"
	// after it.
	Force bool
	// Inputs are the files that the report was made from. They are never
	// replaced, moved or removed: where the report would have to, it is an
	// error, also with Force.
	Inputs []string
	// Cache holds pictures drawn before (WriteReport); nil: all are drawn.
	Cache *Cache
}

// WriteFolder puts files into dir. Of what dir holds, only the files that an
// earlier report wrote and nobody changed since are ever replaced or removed
// (see ListFile); all else stays.
//
// A folder that holds an earlier report and nothing else is replaced in one
// step: at every instant it holds the whole old report or the whole new one.
// Any other folder (the current one, one with other files in it, a mount
// point) stays the folder it is, with its mode: the files are staged inside it
// and then renamed into place one by one, and a run that dies meanwhile leaves
// files that the next run still knows for its own.
//
// The notes tell what is left to know though the report is in place, such as an
// old folder that could not be removed.
func WriteFolder(dir string, files []report.File, opt FolderOptions) (notes []string, err error) {
	if dir, err = resolveFolder(dir); err != nil {
		return nil, err
	}
	for _, f := range files {
		if !filepath.IsLocal(filepath.FromSlash(f.Name)) {
			return nil, fmt.Errorf("%s: refuses to write %q outside the report folder", dir, f.Name)
		}
	}
	sweepLeftovers(dir)
	held, err := survey(dir, opt.Inputs)
	if err != nil {
		return nil, err
	}
	if err := held.refusal(opt.Force); err != nil {
		return nil, err
	}
	if !held.exists || len(held.own) > 0 && len(held.foreign) == 0 && !holdsCurrent(dir) {
		notes, err = replaceFolder(held, files)
		if err == nil || !held.exists {
			return notes, err
		}
		// The folder can't be exchanged: a mount point, or beside it nothing may
		// be made. It can still be filled.
	}
	return nil, fillFolder(held, files, opt)
}

// CheckFolder reports why WriteFolder would refuse dir as it is now, so that a
// long run can say so before it starts.
func CheckFolder(dir string, opt FolderOptions) error {
	dir, err := resolveFolder(dir)
	if err != nil {
		return err
	}
	held, err := survey(dir, opt.Inputs)
	if err != nil {
		return err
	}
	return held.refusal(opt.Force)
}

// resolveFolder makes dir absolute and follows links, so that the swap replaces
// the folder and not a link to it. Its parent is made when missing.
func resolveFolder(dir string) (string, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("%s: %w", dir, err)
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
		_, cause := PathAndCause(err)
		return "", fmt.Errorf("%s: cannot write the report: %w", dir, cause)
	}
}

// holdsCurrent reports whether dir is the current folder or one above it. Such
// a folder must stay where it is, or the shell stands in a removed one.
func holdsCurrent(dir string) bool {
	current, err := os.Getwd()
	if err != nil {
		return true // it may be
	}
	if current, err = filepath.EvalSymlinks(current); err != nil {
		return true
	}
	return within(current, dir)
}

// within reports whether path is folder or lies in it. Both are absolute.
func within(path, folder string) bool {
	rel, err := filepath.Rel(folder, path)
	return err == nil && filepath.IsLocal(rel)
}

// Working folders stand beside the report folder, or in it where it is filled:
// "<stem>.stillglow-<kind>-<process>-<random>".
const (
	workingMark = ".stillglow-"
	workingNew  = "new" // the report being written
	workingOld  = "old" // the one it replaced
)

// workingStem is how the names of dir's working folders beside it start.
func workingStem(dir string) string {
	return filepath.Join(filepath.Dir(dir), "."+filepath.Base(dir))
}

// workingName is a name that no other run uses, with this process's number, so
// that a later run can tell a dead process's leftovers.
func workingName(stem, kind string) string {
	return fmt.Sprintf("%s%s%s-%d-%08x", stem, workingMark, kind, os.Getpid(), rand.Uint32())
}

// leftoverAge is how old a working folder is certainly nobody's any more, even
// when its process number is in use again.
const leftoverAge = 24 * time.Hour

// sweepLeftovers removes working folders of runs that were killed, and puts an
// old report back where a run died between the two renames of a system that
// can't swap folders in one step. What can't be removed is left: it must not
// keep the new report from being written.
func sweepLeftovers(dir string) {
	for _, stem := range []string{workingStem(dir), dir + string(filepath.Separator)} {
		entries, err := os.ReadDir(filepath.Dir(stem + "x"))
		if err != nil {
			continue
		}
		for _, e := range entries {
			path := filepath.Join(filepath.Dir(stem+"x"), e.Name())
			rest, ours := strings.CutPrefix(path, stem+workingMark)
			if !ours || !e.IsDir() {
				continue
			}
			kind, rest, _ := strings.Cut(rest, "-")
			number, _, _ := strings.Cut(rest, "-")
			pid, err := strconv.Atoi(number)
			info, ierr := e.Info()
			if err != nil || ierr != nil || pid <= 0 || processAlive(pid) && time.Since(info.ModTime()) < leftoverAge {
				continue
			}
			switch kind {
			case workingOld:
				if _, err := os.Lstat(dir); errors.Is(err, fs.ErrNotExist) && os.Rename(path, dir) == nil {
					continue
				}
				_ = removeOwn(path, false)
			case workingNew:
				_ = removeOwn(path, true)
			}
		}
	}
}

// writers is how many files are written side by side: a file that is to be on the disk
// waits for it, and the disk takes several in one go.
const writers = 8

// stage makes a working folder with the files and their list, all of it on the
// disk when it returns.
func stage(stem string, files []report.File) (fresh string, err error) {
	for range 10 { // names are random: a second try is rare, a third unheard of
		fresh = workingName(stem, workingNew)
		if err = os.Mkdir(fresh, 0o755); !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	if err != nil {
		_, cause := PathAndCause(err) // the working folder's own name means nothing to the user
		return "", fmt.Errorf("%s: cannot write the report: %w", filepath.Dir(fresh), cause)
	}
	// The list is first, so that what a killed run leaves is known for its own.
	err = writeSynced(filepath.Join(fresh, ListFile), listOf(files).bytes())
	if err == nil {
		err = pool.Each(context.Background(), len(files), writers, func(i int) error {
			return writeSynced(filepath.Join(fresh, filepath.FromSlash(files[i].Name)), files[i].Bytes)
		})
	}
	if err != nil {
		_ = removeOwn(fresh, true)
		return "", plainPathError(err)
	}
	return fresh, nil
}

// replaceFolder puts a new folder in the place of one that holds nothing but an
// earlier report, or of none.
func replaceFolder(held holding, files []report.File) (notes []string, err error) {
	dir := held.dir
	fresh, err := stage(workingStem(dir), files)
	if err != nil {
		return nil, err
	}
	if held.exists {
		err = os.Chmod(fresh, held.mode)
	}
	var old string
	if err == nil {
		old, err = swapFolders(fresh, dir, workingName(workingStem(dir), workingOld))
	}
	if err != nil {
		_ = removeOwn(fresh, true)
		return nil, plainPathError(err)
	}
	syncFolder(filepath.Dir(dir))
	if old == "" {
		return nil, nil
	}
	// Everything in it is ours, but for what somebody put there or changed since
	// we looked: that moves over.
	if late, err := survey(old, nil); err == nil {
		for _, name := range late.foreign {
			name = strings.TrimSuffix(name, "/")
			to := filepath.Join(dir, filepath.FromSlash(name))
			if os.MkdirAll(filepath.Dir(to), 0o755) == nil {
				_ = os.Rename(filepath.Join(old, filepath.FromSlash(name)), keptName(to))
			}
		}
	}
	if err := removeOwn(old, false); err != nil {
		_, cause := PathAndCause(err)
		left := "it is not needed any more"
		if late, err := survey(old, nil); err != nil || len(late.foreign) > 0 {
			left = "see what else is in it before you delete it"
		}
		notes = append(notes, fmt.Sprintf("%s: the earlier report could not be removed (%v); %s", old, cause, left))
	}
	return notes, nil
}

// fillFolder writes the files into a folder that stays: first all of them to a
// working folder inside it, then each to its place.
func fillFolder(held holding, files []report.File, opt FolderOptions) (err error) {
	if _, err := held.clashes(files); err != nil {
		return err
	}
	fresh, err := stage(held.dir+string(filepath.Separator), files)
	if err != nil {
		return err
	}
	defer func() {
		_ = removeOwn(fresh, true)
		if err != nil {
			err = plainPathError(err)
		}
	}()
	return place(held.dir, fresh, files, opt)
}

// place puts the staged files into the folder. It looks at the folder anew: staging waits
// for the disk, and what came or was changed meanwhile is the user's.
func place(dir, fresh string, files []report.File, opt FolderOptions) error {
	held, err := survey(dir, opt.Inputs)
	if err != nil {
		return err
	}
	if err := held.refusal(opt.Force); err != nil {
		return err
	}
	clashes, err := held.clashes(files)
	if err != nil {
		return err
	}
	for _, path := range clashes {
		if err := os.Rename(path, keptName(path)); err != nil {
			return err
		}
	}
	// From here until the end the folder may hold files of both reports: the
	// list knows both.
	list := listOf(files)
	if err := held.writeList(fresh, list.and(held.list)); err != nil {
		return err
	}
	for _, f := range files {
		to := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		if err := os.Rename(filepath.Join(fresh, filepath.FromSlash(f.Name)), to); err != nil {
			return err
		}
	}
	var gone ownFiles
	for _, name := range held.own {
		if _, again := list[name]; !again {
			if gone == nil {
				gone = ownFiles{}
			}
			gone[name] = held.list[name]
		}
	}
	err = gone.remove(dir, false)
	return errors.Join(err, held.writeList(fresh, list))
}

// keptName is where a file that stands in the report's way is kept.
func keptName(path string) string {
	for {
		if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
			return path
		}
		path += ".kept"
	}
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

// plainPathError gives one of the system's path errors as one line: the path
// and what went wrong with it.
func plainPathError(err error) error {
	path, cause := PathAndCause(err)
	if path == "" {
		return err
	}
	return fmt.Errorf("%s: cannot write the report: %w", path, cause)
}

// PathAndCause takes one of the system's path errors apart, so that a message
// names the path once; of any other error the path is "".
func PathAndCause(err error) (path string, cause error) {
	var pe *fs.PathError
	var le *os.LinkError
	switch {
	case errors.As(err, &pe):
		return pe.Path, pe.Err
	case errors.As(err, &le):
		return le.New, le.Err
	}
	return "", err
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
