package capture

import "sort"

// quickSelect gives the k-th smallest of x, which it reorders.
func quickSelect(x []float64, k int) float64 {
	sort.Float64s(x)
	return x[k]
}

func (t *Trace) findUpsampling() {}
