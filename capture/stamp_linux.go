package capture

import (
	"io/fs"
	"syscall"
	"time"
)

// changedAt is when the file or what the system knows of it was last changed, which
// no program can set back, as it can the time of a file's last writing.
func changedAt(st fs.FileInfo) time.Time {
	if s, ok := st.Sys().(*syscall.Stat_t); ok {
		return time.Unix(s.Ctim.Unix())
	}
	return st.ModTime()
}
