package sheet

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"stillglow/capture"
)

// keptSteps is how many earlier versions of a sheet are kept.
const keptSteps = 50

// File is a bench sheet on the disk that is edited step by step, by a program and
// by the user's own editor alike. Every write is whole or not at all, and the
// version before it is kept in a folder beside the sheet, so that it can be
// undone, also by a later run. It may be used from several goroutines.
type File struct {
	path  string // links followed
	shown string // as given, for messages
	blank []byte // the text of a sheet that isn't there yet

	mu   sync.Mutex
	last []byte // as last read or written here; nil before the first look

	row   string    // of changes that make one step, see ChangeInRow
	rowAt time.Time // when the last of it was written
}

// ErrNothing tells that there is no step to undo or to do again.
var ErrNothing = errors.New("nothing to undo")

// OpenFile looks at the sheet at path; blank is its text while there is no such
// file, which is made by the first change.
func OpenFile(path string, blank []byte) (*File, error) {
	f := &File{path: path, shown: path, blank: blank}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		f.path = real
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	_, _, err := f.readLocked()
	return f, err
}

// Path is the sheet's path as given.
func (f *File) Path() string { return f.shown }

// Missing reports whether there is no file at the sheet's path.
func (f *File) Missing() bool {
	_, err := os.Stat(f.path)
	return errors.Is(err, fs.ErrNotExist)
}

// Read gives the sheet's text as it stands on the disk. changed tells that
// somebody else wrote it since the last look; the text before is then kept.
func (f *File) Read() (data []byte, changed bool, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.readLocked()
}

// readLocked is Read with the lock held.
func (f *File) readLocked() (data []byte, changed bool, err error) {
	data, err = f.present()
	// An editor may empty the file before it writes: wait for what stands still.
	for tries := 0; err == nil && f.last != nil && !bytes.Equal(data, f.last); tries++ {
		time.Sleep(stillFor)
		was := data
		if data, err = f.present(); bytes.Equal(data, was) && (len(data) > 0 || tries >= emptyTries) {
			break
		}
	}
	if err != nil {
		return nil, false, err
	}
	if f.last != nil && !bytes.Equal(data, f.last) {
		changed, f.row = true, ""
		if err := f.keep(stepsBack, f.last); err != nil {
			return nil, true, err
		}
		f.forget(stepsForward)
	}
	f.last = data
	return bytes.Clone(data), changed, nil
}

// How long a text that an editor wrote must stand still to be taken, and how many
// times so long an empty one.
const (
	stillFor   = 30 * time.Millisecond
	emptyTries = 10
)

// present is the sheet's text on the disk, or that of a new one.
func (f *File) present() ([]byte, error) {
	data, err := readBounded(f.path)
	if errors.Is(err, fs.ErrNotExist) {
		return bytes.Clone(f.blank), nil
	}
	return data, err
}

// Change edits the sheet. Where the edit fails, or leaves what is no sheet, the
// file stays as it was and the error says why. An edit that changes nothing
// writes nothing.
func (f *File) Change(edit func(*Text) error) error { return f.change("", edit) }

// rowPause ends a row of changes.
const rowPause = 5 * time.Second

// ChangeInRow is Change for what comes in a row, such as files that arrive
// together: changes of one name with no more than a few seconds between them are
// undone as one.
func (f *File) ChangeInRow(name string, edit func(*Text) error) error { return f.change(name, edit) }

func (f *File) change(row string, edit func(*Text) error) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	for range writtenTries {
		if err := f.changeOnce(row, edit); !errors.Is(err, errWritten) {
			return err
		}
	}
	return &capture.ParseError{Path: f.shown, Found: "a sheet that another program writes again and again", Expected: "one that stands still for a moment", Fix: "do it again"}
}

// errWritten tells that somebody wrote the sheet while a change was made to it, which is
// then made anew; writtenTries is how many times.
var errWritten = errors.New("written meanwhile")

const writtenTries = 5

// changeOnce is change with the lock held, on the sheet as it is now.
func (f *File) changeOnce(row string, edit func(*Text) error) error {
	data, byHand, err := f.readLocked()
	if err != nil {
		return err
	}
	t, err := NewText(data, f.shown)
	if err != nil {
		return err
	}
	if err := edit(t); err != nil {
		return err
	}
	after := t.Bytes()
	if bytes.Equal(after, data) {
		return nil
	}
	if err := t.Check(f.shown); err != nil {
		return err
	}
	// The version before and the text are written to the disk side by side; the text
	// goes into its place once the version before is in its own.
	staged := make(chan staging, 1)
	go func() { staged <- stage(f.path, after, f.mode()) }()
	if byHand || row == "" || row != f.row || time.Since(f.rowAt) > rowPause {
		err = f.keep(stepsBack, data)
	}
	s := <-staged
	if now, rerr := f.present(); err == nil && (rerr != nil || !bytes.Equal(now, data)) {
		err = cmp.Or(rerr, errWritten)
	}
	if err != nil {
		s.drop()
		return err
	}
	f.forget(stepsForward)
	if err = s.place(); err == nil {
		f.last = bytes.Clone(after)
	}
	f.row, f.rowAt = row, time.Now()
	return err
}

// Undo puts the version before the last change back; Redo takes that back.
func (f *File) Undo() error { return f.step(stepsBack, stepsForward) }

// Redo does again what Undo took back.
func (f *File) Redo() error { return f.step(stepsForward, stepsBack) }

// Steps is how many changes can be undone and done again.
func (f *File) Steps() (back, forward int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.versions(stepsBack)), len(f.versions(stepsForward))
}

// step goes to the newest version of one row and keeps the present one in the
// other.
func (f *File) step(from, to string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.row = ""
	data, _, err := f.readLocked()
	if err != nil {
		return err
	}
	for {
		names := f.versions(from)
		if len(names) == 0 {
			return ErrNothing
		}
		name := filepath.Join(f.folder(from), names[len(names)-1])
		version, err := readBounded(name)
		if err != nil {
			return err
		}
		if bytes.Equal(version, data) { // kept for a write that a kill forestalled
			if err := os.Remove(name); err != nil {
				return writeError(name, err)
			}
			continue
		}
		if err := f.keep(to, data); err != nil {
			return err
		}
		if err := f.write(version); err != nil {
			return err
		}
		if err := os.Remove(name); err != nil {
			return writeError(name, err)
		}
		return nil
	}
}

// Rows of earlier versions, folders of their own.
const (
	stepsBack    = "undo"
	stepsForward = "redo"
)

// Folder is where what belongs to the sheet and not into it is kept beside it. It
// is made by the first change.
func (f *File) Folder() string {
	return filepath.Join(filepath.Dir(f.path), "."+filepath.Base(f.path)+".stillglow")
}

// folder is where a row of versions is kept.
func (f *File) folder(row string) string { return filepath.Join(f.Folder(), row) }

// versions lists the kept versions of a row, oldest first.
func (f *File) versions(row string) []string {
	entries, err := os.ReadDir(f.folder(row))
	if err != nil {
		return nil
	}
	var names []string
	for _, e := range entries {
		if _, ok := versionNumber(e.Name()); ok && e.Type().IsRegular() {
			names = append(names, e.Name())
		}
	}
	slices.Sort(names)
	return names
}

const versionEnding = ".toml"

func versionNumber(name string) (int, bool) {
	n, err := strconv.Atoi(strings.TrimSuffix(name, versionEnding))
	return n, err == nil && len(name) == 8+len(versionEnding) && strings.HasSuffix(name, versionEnding)
}

// keep adds a version to a row and drops the oldest beyond keptSteps.
func (f *File) keep(row string, data []byte) error {
	dir := f.folder(row)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return writeError(dir, err)
	}
	names := f.versions(row)
	n := 0
	if len(names) > 0 {
		newest := names[len(names)-1]
		if same, err := readBounded(filepath.Join(dir, newest)); err == nil && bytes.Equal(same, data) {
			return nil
		}
		n, _ = versionNumber(newest)
	}
	if err := writeSynced(filepath.Join(dir, fmt.Sprintf("%08d%s", n+1, versionEnding)), data, 0o644); err != nil {
		return err
	}
	for len(names) >= keptSteps {
		_ = os.Remove(filepath.Join(dir, names[0]))
		names = names[1:]
	}
	return nil
}

// forget empties a row.
func (f *File) forget(row string) {
	for _, name := range f.versions(row) {
		_ = os.Remove(filepath.Join(f.folder(row), name))
	}
}

// write puts a text in the sheet's place.
func (f *File) write(data []byte) error {
	if err := writeSynced(f.path, data, f.mode()); err != nil {
		return err
	}
	f.last = bytes.Clone(data)
	return nil
}

// mode is the sheet's, or that of a new one.
func (f *File) mode() fs.FileMode {
	if info, err := os.Stat(f.path); err == nil {
		return info.Mode().Perm()
	}
	return 0o644
}

// writeSynced puts a file in its place, whole or not at all, and waits until it
// is on the disk.
func writeSynced(path string, data []byte, mode fs.FileMode) error {
	return stage(path, data, mode).place()
}

// staging is a file's new text on the disk, beside the file.
type staging struct {
	path, tmp string
	err       error
}

// stage writes a text beside the file that it is to replace, and waits until it is on
// the disk.
func stage(path string, data []byte, mode fs.FileMode) staging {
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".writing-*")
	if err != nil {
		return staging{path: path, err: err}
	}
	_, err = tmp.Write(data)
	return staging{path, tmp.Name(), errors.Join(err, tmp.Chmod(mode), tmp.Sync(), tmp.Close())}
}

// place puts a staged text in its file's place.
func (s staging) place() error {
	err := s.err
	if err == nil {
		err = os.Rename(s.tmp, s.path)
	}
	if err != nil {
		s.drop()
		return writeError(s.path, err)
	}
	if d, err := os.Open(filepath.Dir(s.path)); err == nil { // so that the rename lasts through a power cut
		_ = d.Sync()
		_ = d.Close()
	}
	return nil
}

// drop takes a staged text away again.
func (s staging) drop() {
	if s.tmp != "" {
		_ = os.Remove(s.tmp)
	}
}

func writeError(path string, err error) error {
	e := &capture.ParseError{Path: path, Found: "cannot be written", Err: err, Fix: "check the folder's permissions and the space on the disk"}
	var pe *fs.PathError
	var le *os.LinkError
	switch {
	case errors.As(err, &pe):
		e.Found += ": " + pe.Err.Error()
	case errors.As(err, &le):
		e.Found += ": " + le.Err.Error()
	}
	return e
}
