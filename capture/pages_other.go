//go:build !linux

package capture

// inLargePages does nothing where the system has no way to ask for large pages.
func inLargePages([]float64) {}
