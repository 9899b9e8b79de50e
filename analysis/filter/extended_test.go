package filter

import (
	"fmt"
	"math"
	"testing"
)

func straight(n int) []float64 {
	line := make([]float64, n)
	for i := range line {
		line[i] = 3 + 0.25*float64(i)
	}
	return line
}

// A straight line runs on beyond its ends with its slope, and further out as its mirror
// image (closed form).
func TestExtendedKeepsTheSlope(t *testing.T) {
	const n, meanV = 1000, 1
	line := straight(n)
	e := extended{line, meanV, 2*n + 2}
	for i, want := range map[int]float64{
		0: line[0], n - 1: line[n-1],
		-1: line[0] - 0.25, n: line[n-1] + 0.25,
		n + turnSamples: line[n-1-turnSamples], -3 - turnSamples: line[turnSamples],
		e.period: line[0], -e.period: line[0],
	} {
		if got := e.at(i); math.Abs(got-(want-meanV)) > 1e-12 {
			t.Errorf("at %d: %g, want %g", i, got, want-meanV)
		}
	}
}

// Any piece of the period is the same however it is asked for, of records so short that
// the turns about their ends meet too.
func TestExtendedInPieces(t *testing.T) {
	for _, n := range []int{2, 3, 5, 40, 64, 65, 130, 1000} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			e := extended{straight(n), 1, 2*n + 2 + n%3}
			for from := -2 * n; from < 3*e.period; from += 1 + n/3 {
				dst := make([]float64, n+7)
				e.fill(dst, from)
				for i, got := range dst {
					if want := e.at(from + i); got != want || math.IsNaN(got) {
						t.Fatalf("filled from %d, at %d: %g, want %g", from, i, got, want)
					}
				}
			}
		})
	}
}
