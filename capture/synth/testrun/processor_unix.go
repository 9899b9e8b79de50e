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

// FourTimes is how much of what is worked on, named by unit, and of four times as much:
// work that took measures by ProcessorS may take ten times as long at most.
func FourTimes(t *testing.T, n int, unit string, took func(n int) float64) {
	t.Helper()
	less, more := took(n), took(4*n)
	t.Logf("%d %s %.3f s, %d %s %.3f s", n, unit, less, 4*n, unit, more)
	if more > 10*less+0.1 {
		t.Errorf("%d %s take %.2f s, four times as many %.2f s", n, unit, less, more)
	}
}
