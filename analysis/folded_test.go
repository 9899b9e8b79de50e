package analysis

import (
	"math"
	"testing"
)

// Values of IEC 60063's E6 series and what lies between them.
func TestNearestE6(t *testing.T) {
	for _, c := range [][2]float64{{15.9e-9, 15e-9}, {1e-9, 1e-9}, {9.9e-9, 10e-9}, {1.9e-6, 2.2e-6}, {159e-12, 150e-12}, {8.3e-9, 10e-9}} {
		if got := nearestE6(c[0]); math.Abs(got/c[1]-1) > 1e-9 {
			t.Errorf("nearest to %g F: %g, want %g", c[0], got, c[1])
		}
	}
}
