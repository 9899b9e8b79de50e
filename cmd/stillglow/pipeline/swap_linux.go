package pipeline

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// swapFolders puts fresh in the place of dir in one step and gives where the
// old folder now is, "" when there was none.
func swapFolders(fresh, dir, aside string) (old string, err error) {
	err = unix.Renameat2(unix.AT_FDCWD, fresh, unix.AT_FDCWD, dir, unix.RENAME_EXCHANGE)
	switch {
	case err == nil:
		return fresh, nil
	case errors.Is(err, fs.ErrNotExist):
		return "", os.Rename(fresh, dir)
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOSYS):
		return swapByTwoRenames(fresh, dir, aside) // a file system without exchange
	}
	return "", &os.LinkError{Op: "swap", Old: fresh, New: dir, Err: err}
}
