//go:build unix

package pipeline

import (
	"errors"
	"syscall"
)

// processAlive reports whether a process of that number runs now.
func processAlive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
