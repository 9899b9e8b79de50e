package demobench

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Write makes the demo bench in dir, which must not exist or be an empty
// folder. It never writes over a file. told, when not nil, hears of every file
// written. An interrupted or failed run removes what it wrote.
func Write(ctx context.Context, dir string, told func(name string, bytes int64)) (err error) {
	entries, err := os.ReadDir(dir)
	made := errors.Is(err, fs.ErrNotExist)
	switch {
	case made:
	case err != nil:
		if info, serr := os.Stat(dir); serr == nil && !info.IsDir() {
			return fmt.Errorf("%s: a file of that name is there, expected a new or an empty folder", dir)
		}
		return err
	case len(entries) > 0:
		return fmt.Errorf("%s: the folder is not empty, expected a new or an empty folder; nothing was written", dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var written []string
	defer func() {
		if err == nil {
			return
		}
		for _, p := range written {
			_ = os.Remove(p) // only files made by this run
		}
		if made {
			_ = os.Remove(dir) // fails, rightly, when something else is in it
		}
	}()
	for _, f := range Files() {
		if err := ctx.Err(); err != nil {
			return err
		}
		path := filepath.Join(dir, f.Name)
		n, err := writeNew(path, f, &written)
		if err != nil {
			return fileError(path, err)
		}
		if told != nil {
			told(f.Name, n)
		}
	}
	return nil
}

// writeNew creates one file and fails if it is there already.
func writeNew(path string, f File, written *[]string) (n int64, err error) {
	w, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return 0, cause(err)
	}
	*written = append(*written, path)
	b := bufio.NewWriterSize(w, 1<<16)
	err = f.Write(b)
	if err == nil {
		err = b.Flush()
	}
	if info, serr := w.Stat(); serr == nil {
		n = info.Size()
	}
	if cerr := w.Close(); err == nil {
		err = cerr
	}
	return n, cause(err)
}

// cause is an error without the path that the caller puts before it.
func cause(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
