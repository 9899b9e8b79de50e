package pipeline

import (
	"errors"
	"io/fs"
	"os"
)

// swapByTwoRenames serves systems that can't exchange two folders. A run that
// dies between the two leaves both whole under their working names, and the
// next run's sweep puts the old one back.
func swapByTwoRenames(fresh, dir, aside string) (old string, err error) {
	err = os.Rename(dir, aside)
	if errors.Is(err, fs.ErrNotExist) {
		return "", os.Rename(fresh, dir)
	}
	if err != nil {
		return "", err
	}
	if err := os.Rename(fresh, dir); err != nil {
		return "", errors.Join(err, os.Rename(aside, dir))
	}
	return aside, nil
}
