package capture

// Ranked is the member of x that lies at index k when x is in ascending order, what
// sorting it and reading x[k] would give at a fraction of the time; x is reordered,
// with nothing above its new x[k] before it and nothing below after it. It panics
// where k is no index of x; x must hold no NaN. Quickselect with the median of three
// as the pivot (Hoare 1961).
func Ranked(x []float64, k int) float64 {
	_ = x[k]
	lo, hi := 0, len(x)-1
	for hi-lo > rankedSorts {
		mid := lo + (hi-lo)/2
		if x[mid] < x[lo] {
			x[mid], x[lo] = x[lo], x[mid]
		}
		if x[hi] < x[lo] {
			x[hi], x[lo] = x[lo], x[hi]
		}
		if x[hi] < x[mid] {
			x[hi], x[mid] = x[mid], x[hi]
		}
		pivot := x[mid]
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	for i := lo + 1; i <= hi; i++ {
		v := x[i]
		j := i
		for ; j > lo && x[j-1] > v; j-- {
			x[j] = x[j-1]
		}
		x[j] = v
	}
	return x[k]
}

// rankedSorts is the length from which a stretch is sorted as it is.
const rankedSorts = 12
