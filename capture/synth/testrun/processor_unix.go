//go:build unix

package testrun

import (
	"math"
	"syscall"
	"testing"
)

// ProcessorS is the processor time in s that one call of work takes, the least of
// three: of all threads of the program, so that nothing else may run beside it.
func ProcessorS(t *testing.T, work func()) float64 {
	t.Helper()
	used := func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			t.Fatal(err)
		}
		return float64(u.Utime.Sec+u.Stime.Sec) + 1e-6*float64(u.Utime.Usec+u.Stime.Usec)
	}
	least := math.Inf(1)
	for range 3 {
		before := used()
		work()
		least = math.Min(least, used()-before)
	}
	return least
}
