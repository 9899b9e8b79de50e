//go:build unix

package pipeline

import "syscall"

func makeFIFO(path string) bool { return syscall.Mkfifo(path, 0o644) == nil }
