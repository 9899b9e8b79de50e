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

// Short and long lists, with both zeros, infinities and values that repeat.
func TestAscendingIsWhatSortingGives(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 9))
	for name, v := range map[string]func() float64{
		"spread": r.NormFloat64,
		"wide":   func() float64 { return math.Ldexp(r.NormFloat64(), r.IntN(600)-300) },
		"codes":  func() float64 { return 0.0004 * math.Round(30*r.NormFloat64()) },
		"odd":    func() float64 { return draw(r, 0, math.Copysign(0, -1), math.Inf(1), math.Inf(-1), 5e-324, -5e-324) },
		"alike":  func() float64 { return 7 },
	} {
		for _, n := range []int{0, 1, 100, 1<<12 - 1, 1 << 12, 50_001} {
			x := make([]float64, n)
			for i := range x {
				x[i] = v()
			}
			want := slices.Sorted(slices.Values(x))
			if Ascending(x); !slices.Equal(x, want) {
				t.Errorf("%s of %d is out of order", name, n)
			}
		}
	}
}

// By hand: the median of an even number is the mean of the middle two, and quantiles
// lie straight between members (numpy.quantile([1, 2, 4, 8], [0, 0.5, 0.9, 1]) gives
// 1, 3, 6.8 and 8).
func TestMedianAndQuantile(t *testing.T) {
	for _, c := range []struct {
		x    []float64
		want float64
	}{{[]float64{3}, 3}, {[]float64{4, 1}, 2.5}, {[]float64{9, 1, 5}, 5}, {[]float64{8, 1, 4, 2}, 3}} {
		if got := Median(c.x); got != c.want {
			t.Errorf("median %g, want %g", got, c.want)
		}
	}
	for q, want := range map[float64]float64{0: 1, 0.5: 3, 0.9: 6.8, 1: 8} {
		if got := Quantile([]float64{1, 2, 4, 8}, q); got < want-1e-12 || got > want+1e-12 {
			t.Errorf("quantile %g is %g, want %g", q, got, want)
		}
	}
	if got := Quantile(nil, 0.5); got != 0 {
		t.Errorf("quantile of nothing is %g", got)
	}
}
