package capture

import (
	"unsafe"

	"golang.org/x/sys/unix"
)

// largePage is the size that x86-64, and arm64 with pages of 4 kB, have besides the small
// ones; where it is another the system takes what fits.
const largePage = 2 << 20

// inLargePages asks the system to keep the room of x in large pages, of which a record
// takes twenty where it would take ten thousand small ones: each costs a fault when it is
// first written to, and a place in the processor's own table each time it is gone through.
// What isn't written to takes no memory either way. A system that declines changes nothing.
func inLargePages(x []float64) {
	room := cap(x) * 8
	if room < 2*largePage {
		return // no whole one might lie in it
	}
	first := unsafe.Pointer(unsafe.SliceData(x))
	skip := int(-uintptr(first) % largePage)
	whole := (room - skip) / largePage * largePage
	_ = unix.Madvise(unsafe.Slice((*byte)(first), room)[skip:skip+whole], unix.MADV_HUGEPAGE)
}
