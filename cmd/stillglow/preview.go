package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

// checkPreview refuses to write a plot over the capture, or over anything that
// is no picture; over a picture only with force.
func checkPreview(out, in string, force bool) error {
	st, err := os.Stat(out)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: %w", out, err)
	}
	if src, err := os.Stat(in); err == nil && os.SameFile(src, st) {
		return fmt.Errorf("%s: the capture itself, expected another file for --preview", out)
	}
	if err := replaceable(out); err != nil {
		return err
	}
	if !force {
		return existingPicture(out)
	}
	return nil
}

// replaceable refuses to replace what is there where it is no picture, also where that
// is forced.
func replaceable(out string) error {
	st, err := os.Stat(out)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: %w", out, err)
	}
	if !st.Mode().IsRegular() {
		return fmt.Errorf("%s: not a plain file, expected a new name for the picture", out)
	}
	f, err := os.Open(out)
	if err != nil {
		return fmt.Errorf("%s: %w", out, err)
	}
	defer f.Close()
	head := make([]byte, 5)
	n, _ := io.ReadFull(f, head)
	if s := string(head[:n]); n > 0 && !strings.HasPrefix(s, "\x89PNG") && s != "<?xml" {
		return fmt.Errorf("%s: exists and is not a picture, expected a new name for the picture", out)
	}
	return nil
}
