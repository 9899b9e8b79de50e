//go:build !unix

package pipeline

import "os"

// processAlive reports whether a process of that number runs now.
func processAlive(pid int) bool {
	p, err := os.FindProcess(pid)
	if err != nil {
		return false
	}
	_ = p.Release()
	return true
}
