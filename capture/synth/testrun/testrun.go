package testrun

import (
	"os"
	"runtime"
	"testing"
	"time"
)

// Full reports whether the long lists of the tests run whole, as .ci/run asks by
// STILLGLOW_FULL.
func Full() bool { return os.Getenv("STILLGLOW_FULL") != "" }

// Short gives whole where the long lists run, and otherwise part.
func Short(whole, part int) int {
	if Full() {
		return whole
	}
	return part
}

// Some gives the whole list where the long lists run, and otherwise one of every n,
// from the first on; n is 1 or more.
func Some[T any](list []T, n int) []T {
	if Full() {
		return list
	}
	var out []T
	for i := 0; i < len(list); i += n {
		out = append(out, list[i])
	}
	return out
}

// countedBytes is what Main counts as in use.
const countedBytes = 64 << 20

// Main runs a package's tests and ends the program. It counts memory as in use from
// the start, as the tool itself does: the collector would run at every few megabytes
// else. It takes none, since nothing is written to it.
func Main(m *testing.M) {
	inUse := make([]byte, countedBytes)
	code := m.Run()
	runtime.KeepAlive(inUse)
	os.Exit(code)
}

// toTell is what Ends leaves a test to say what it waited for.
const toTell = 10 * time.Second

// Ends fires shortly before go test's own -timeout would end the run, so that a test
// that waits in vain can say for what; never where there is no -timeout. No test has
// another limit: how long a loaded machine takes is no fault of the tool.
func Ends(t *testing.T) <-chan time.Time {
	end, limited := t.Deadline()
	if !limited {
		return nil
	}
	return time.After(time.Until(end) - toTell)
}
