package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"stillglow/cmd/stillglow/pipeline"
)

// writeJSON is how every command prints JSON for people and scripts alike.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// writeNewFile writes a file that must not exist: an error that is fs.ErrExist
// where it does. A file half written is taken away again.
func writeNewFile(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return cannotWrite(path, err)
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Close()); err != nil {
		_ = os.Remove(path)
		return cannotWrite(path, err)
	}
	return nil
}

// writeWhole puts a file in the place of another, whole or not at all.
func writeWhole(path string, data []byte) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".stillglow-*"+filepath.Ext(path))
	if err != nil {
		return cannotWrite(path, err)
	}
	_, err = tmp.Write(data)
	if err = errors.Join(err, tmp.Chmod(0o644), tmp.Close()); err == nil {
		err = os.Rename(tmp.Name(), path)
	}
	if err != nil {
		_ = os.Remove(tmp.Name())
		return cannotWrite(path, err)
	}
	return nil
}

// writePicture writes a plot that was asked for, never over a file unless told
// to, and never over one that is no picture.
func writePicture(path string, picture []byte, force bool) error {
	if force {
		if err := replaceable(path); err != nil {
			return err
		}
		return writeWhole(path, picture)
	}
	err := writeNewFile(path, picture)
	if errors.Is(err, fs.ErrExist) {
		return existingPicture(path)
	}
	return err
}

func existingPicture(path string) error {
	return fmt.Errorf("%s exists already, expected a new name; choose another or add --force", path)
}

// cannotWrite names the path once.
func cannotWrite(path string, err error) error {
	_, cause := pipeline.PathAndCause(err)
	return fmt.Errorf("%s: cannot be written: %w", path, cause)
}
