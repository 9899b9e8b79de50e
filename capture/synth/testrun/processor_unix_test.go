//go:build unix

package testrun

import (
	"testing"
	"time"
)

// Four times the work takes about four times the processor time, however long the
// machine takes over it; waiting takes none.
func TestProcessorS(t *testing.T) {
	sum := 0.0
	burn := func(n int) func() {
		return func() {
			for i := range n {
				sum += 1 / float64(i+1)
			}
		}
	}
	const once = 10_000_000
	one, four := ProcessorS(t, burn(once)), ProcessorS(t, burn(4*once))
	if !(four > 2*one && four < 8*one) {
		t.Errorf("once the work %.3f s, four times %.3f s (%g)", one, four, sum)
	}
	if idle := ProcessorS(t, func() { time.Sleep(10 * time.Millisecond) }); idle > one {
		t.Errorf("waiting takes %.3f s, work %.3f s", idle, one)
	}
}
