package benchpage

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
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
	now   *following // nil: no folder is followed
	notes []string
}

// following is one folder from when it was named until another is.
type following struct {
	root  *os.Root
	shown string
	local bool // inside the bench folder, so that a later run may take it up again
	files map[string]*arrivingFile
}

// arrivingFile is one file as it was last seen.
type arrivingFile struct {
	size  int64
	mod   time.Time
	since time.Time
	done  bool
}

// set follows a folder from now on, nil none; local tells that it is inside the
// bench's own. Files that are in it already are taken too.
func (f *follower) set(root *os.Root, shown string, local bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.now != nil {
		_ = f.now.root.Close() // a file that is being taken stays open
	}
	f.now, f.notes = nil, nil
	if root != nil {
		f.now = &following{root, shown, local, map[string]*arrivingFile{}}
	}
}

// state tells what is followed and what is waited for.
func (f *follower) state() (shown string, notes []string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.now == nil {
		return "", nil
	}
	return f.now.shown, slices.Clone(f.notes)
}

// inside is the followed folder where it is inside the bench's own, else "".
func (f *follower) inside() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.now == nil || !f.now.local {
		return ""
	}
	return f.now.shown
}

// run takes what becomes whole until ctx ends. A large file keeps nobody waiting
// but the files after it.
func (f *follower) run(ctx context.Context) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		f.mu.Lock()
		now := f.now
		f.mu.Unlock()
		if now != nil {
			f.poll(ctx, now)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// look takes the files of a folder that are whole.
func (f *follower) poll(ctx context.Context, now *following) {
	entries, err := fs.ReadDir(now.root.FS(), ".")
	if err != nil {
		f.note(now, []string{fmt.Sprintf("%s: can't be read: %v", now.shown, err)})
		return
	}
	var notes, taken []string
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || !looksLikeCapture(e.Name()) || info.Size() == 0 {
			continue
		}
		a := now.seen(info)
		switch {
		case a.done:
		case time.Since(a.since) < settle:
			notes = append(notes, e.Name()+" is being written")
		default:
			file, note := f.copy(ctx, now.root, e.Name(), a)
			if note != "" {
				notes = append(notes, note)
			}
			if file != "" {
				taken = append(taken, file)
			}
		}
	}
	if len(taken) > 0 {
		if err := f.b.arrived(taken); err != nil {
			notes = append(notes, err.Error())
		}
	}
	f.note(now, notes)
}

// seen notes a file's state, and since when it has stood still.
func (now *following) seen(info fs.FileInfo) *arrivingFile {
	a := now.files[info.Name()]
	if a == nil || a.size != info.Size() || !a.mod.Equal(info.ModTime()) {
		a = &arrivingFile{size: info.Size(), mod: info.ModTime(), since: time.Now()}
		if old := info.ModTime(); time.Since(old) > settle {
			a.since = old // it was whole before we came
		}
		now.files[info.Name()] = a
	}
	return a
}

func (f *follower) note(now *following, notes []string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.now == now && !slices.Equal(notes, f.notes) {
		f.notes = notes
		f.b.hub.changed("bring")
	}
}

// copy keeps one file, unless it ends inside a row: then the rest is waited for.
func (f *follower) copy(ctx context.Context, root *os.Root, name string, a *arrivingFile) (file, note string) {
	r, err := root.Open(name)
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
