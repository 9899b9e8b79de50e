package capture

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// What sorting gives, at every index of short lists and some of long ones, with
// values that repeat as a converter's do.
func TestRankedIsWhatSortingGives(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	draw := map[string]func(i, n int) float64{
		"spread":   func(int, int) float64 { return r.NormFloat64() },
		"codes":    func(int, int) float64 { return math.Round(3 * r.NormFloat64()) },
		"rising":   func(i, _ int) float64 { return float64(i) },
		"falling":  func(i, _ int) float64 { return -float64(i) },
		"alike":    func(int, int) float64 { return 1 },
		"organ":    func(i, n int) float64 { return float64(min(i, n-i)) },
		"infinite": func(i, _ int) float64 { return math.Inf(i%3 - 1) },
	}
	for name, v := range draw {
		for _, n := range []int{1, 2, 3, 5, 12, 13, 14, 40, 101, 2000} {
			x := make([]float64, n)
			for i := range x {
				x[i] = v(i, n)
			}
			sorted := slices.Sorted(slices.Values(x))
			for k := 0; k < n; k += 1 + n/200 {
				y := slices.Clone(x)
				if got := Ranked(y, k); got != sorted[k] {
					t.Fatalf("%s of %d: member %d is %g, want %g", name, n, k, got, sorted[k])
				}
				for i, got := range y {
					if i < k && got > y[k] || i > k && got < y[k] {
						t.Fatalf("%s of %d: %g at %d beside member %d, %g", name, n, got, i, k, y[k])
					}
				}
				slices.Sort(y)
				if !slices.Equal(y, sorted) {
					t.Fatalf("%s of %d: members were lost", name, n)
				}
			}
		}
	}
}
