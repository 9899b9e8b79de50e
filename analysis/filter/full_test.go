package filter

import (
	"os"
	"runtime"
	"testing"
)

// TestMain counts memory as in use from the start, as the tool itself does: the
// collector would run at every few megabytes else. It takes none, since nothing is
// written to it.
func TestMain(m *testing.M) {
	inUse := make([]byte, 64<<20)
	code := m.Run()
	runtime.KeepAlive(inUse)
	os.Exit(code)
}

// fullTests reports whether the long lists of the tests run whole, as .ci/run asks.
func fullTests() bool { return os.Getenv("STILLGLOW_FULL") != "" }

// short gives whole where the long lists run, and otherwise part.
func short(whole, part int) int {
	if fullTests() {
		return whole
	}
	return part
}
