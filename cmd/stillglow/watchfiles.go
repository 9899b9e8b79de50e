package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"time"

	"github.com/fsnotify/fsnotify"

	"stillglow/capture"
	"stillglow/capture/sheet"
)

// arrival is one file as it was last seen.
type arrival struct {
	size  int64
	mod   time.Time
	since time.Time // when size and mod were first seen
	tried bool      // opened since then
	known bool      // ranked before it changed
	err   error     // why it does not read
}

// notices tells of changes in the folder where the system can.
func (w *watcher) notices() (wake <-chan struct{}, stop func()) {
	ch := make(chan struct{}, 1)
	n, err := fsnotify.NewWatcher()
	if err != nil {
		return ch, func() {}
	}
	if err := n.Add(w.folder); err != nil {
		_ = n.Close()
		return ch, func() {}
	}
	go func() {
		for {
			select {
			case _, ok := <-n.Events:
				if !ok {
					return
				}
				select {
				case ch <- struct{}{}:
				default:
				}
			case _, ok := <-n.Errors:
				if !ok {
					return // the interval goes on looking
				}
			}
		}
	}()
	return ch, func() { _ = n.Close() }
}

// ready reports whether a file is written to its end: it has not changed for a
// while and it opens. note says what is waited for.
func (w *watcher) ready(ctx context.Context, c sheet.Capture, now time.Time) (ok bool, note string, err error) {
	info, serr := os.Stat(c.Path)
	if serr != nil {
		delete(w.files, c.Path)
		return false, "", nil
	}
	a := w.files[c.Path]
	if a == nil || a.size != info.Size() || !a.mod.Equal(info.ModTime()) {
		a = &arrival{size: info.Size(), mod: info.ModTime(), since: now, known: a != nil && (a.known || a.tried && a.err == nil)}
		if now.Sub(a.mod) >= w.settle {
			a.since = a.mod // it was whole before we came
		}
		w.files[c.Path] = a
	}
	if now.Sub(a.since) < w.settle {
		return false, c.File + " is being written", nil
	}
	if !a.tried {
		tr, oerr := capture.Open(ctx, c.Path, c.Options)
		if ctx.Err() != nil {
			return false, "", ctx.Err()
		}
		a.err = oerr
		if oerr == nil && now.Sub(a.since) < 5*w.settle && slices.ContainsFunc(tr.Cautions, func(k capture.Caution) bool { return k.Code == capture.CautionTruncated }) {
			return false, c.File + " ends inside a row, waiting for the rest", nil
		}
		a.tried = true
	}
	if a.err != nil {
		return false, errorLine(a.err), nil
	}
	return true, "", nil
}

func sheetBasis(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return "gone"
	}
	return fmt.Sprint(info.Size(), info.ModTime())
}
