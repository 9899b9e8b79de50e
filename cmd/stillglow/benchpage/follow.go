package benchpage

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"stillglow/capture"
)

// settle is how long a file that another program writes must stand still before
// it counts as written.
const settle = 2 * time.Second

// follower takes the files that arrive in a folder into the captures folder, each
// once it has stopped growing and reads to its end. The files themselves are left
// where they are.
type follower struct {
	b *bench

	mu    sync.Mutex
	root  *os.Root // nil: no folder is followed
	shown string
	files map[string]*arrivingFile
	notes []string
}

// arrivingFile is one file as it was last seen.
type arrivingFile struct {
	size  int64
	mod   time.Time
	since time.Time
	done  bool
}

// set follows a folder from now on, "" none. Files that are in it already are
// taken too.
func (f *follower) set(root *os.Root, shown string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.root != nil {
		_ = f.root.Close()
	}
	f.root, f.shown, f.files, f.notes = root, shown, map[string]*arrivingFile{}, nil
}

// state tells what is followed and what is waited for.
func (f *follower) state() (shown string, notes []string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.shown, append([]string(nil), f.notes...)
}

// look takes what is whole.
func (f *follower) look(ctx context.Context) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.root == nil {
		return
	}
	entries, err := fs.ReadDir(f.root.FS(), ".")
	if err != nil {
		f.note([]string{fmt.Sprintf("%s: cannot be looked into: %v", f.shown, err)})
		return
	}
	var notes, taken []string
	for _, e := range entries {
		name := e.Name()
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || !looksLikeCapture(name) || info.Size() == 0 {
			continue
		}
		a := f.files[name]
		if a == nil || a.size != info.Size() || !a.mod.Equal(info.ModTime()) {
			a = &arrivingFile{size: info.Size(), mod: info.ModTime(), since: time.Now()}
			if old := info.ModTime(); time.Since(old) > settle {
				a.since = old // it was whole before we came
			}
			f.files[name] = a
		}
		if a.done {
			continue
		}
		if time.Since(a.since) < settle {
			notes = append(notes, name+" is being written")
			continue
		}
		file, note := f.copy(ctx, name, a)
		if note != "" {
			notes = append(notes, note)
		}
		if file != "" {
			taken = append(taken, file)
		}
	}
	f.note(notes)
	if len(taken) > 0 {
		if err := f.b.arrived(taken); err != nil {
			f.note(append(notes, err.Error()))
		}
	}
}

func (f *follower) note(notes []string) {
	if strings.Join(notes, "\n") != strings.Join(f.notes, "\n") {
		f.notes = notes
		f.b.hub.changed("bring")
	}
}

// copy keeps one file, unless it ends inside a row: then the rest is waited for.
func (f *follower) copy(ctx context.Context, name string, a *arrivingFile) (file, note string) {
	r, err := f.root.Open(name)
	if err != nil {
		return "", name + ": " + err.Error()
	}
	defer r.Close()
	if time.Since(a.since) < 5*settle {
		if tr, err := capture.Read(ctx, r, name, capture.Options{Channel: "1"}); err == nil {
			for _, c := range tr.Cautions {
				if c.Code == capture.CautionTruncated {
					return "", name + " ends inside a row, waiting for the rest"
				}
			}
		}
		if _, err := r.Seek(0, 0); err != nil {
			return "", name + ": " + err.Error()
		}
	}
	got, err := f.b.store.put(name, r)
	if err != nil {
		return "", err.Error()
	}
	a.done = true
	return path.Join(capturesDir, got.Name), ""
}

// looksLikeCapture goes by the name's ending, so that a scope's settings and
// screenshots beside its waveforms are left alone.
func looksLikeCapture(name string) bool {
	if strings.HasPrefix(name, ".") {
		return false
	}
	switch strings.ToLower(filepath.Ext(strings.TrimSuffix(strings.ToLower(name), ".gz"))) {
	case ".csv", ".txt", ".tsv", ".dat", ".wav":
		return true
	}
	return false
}
