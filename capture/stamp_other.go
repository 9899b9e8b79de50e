//go:build !linux

package capture

import (
	"io/fs"
	"time"
)

// changedAt is when the file was last written.
func changedAt(st fs.FileInfo) time.Time { return st.ModTime() }
