package capture

import (
	"math"
	"slices"
)

// Ranked is the member of x that lies at index k when x is in ascending order, what
// sorting it and reading x[k] would give at a fraction of the time; x is reordered,
// with nothing above its new x[k] before it and nothing below after it. It panics
// where k is no index of x; x must hold no NaN. Quickselect with the median of three
// as the pivot (Hoare 1961), which parts x without a branch on its values (Lomuto's
// way): in noise a processor would guess every second one wrong.
func Ranked(x []float64, k int) float64 {
	_ = x[k]
	lo, hi := 0, len(x)
	for hi-lo > rankedSorts {
		a, b, c := x[lo], x[lo+(hi-lo)/2], x[hi-1]
		pivot := max(min(a, b), min(max(a, b), c))
		part := x[lo:hi]
		below := 0
		for i, v := range part {
			part[i], part[below] = part[below], v
			var one int // added as a number: no branch
			if v < pivot {
				one = 1
			}
			below += one
		}
		if k < lo+below {
			hi = lo + below
			continue
		}
		// of equal ones there may be many, and none is below the pivot
		part = part[below:]
		same := 0
		for i, v := range part {
			part[i], part[same] = part[same], v
			var one int
			if v <= pivot {
				one = 1
			}
			same += one
		}
		if lo += below; k < lo+same {
			return pivot
		}
		lo += same
	}
	for i := lo + 1; i < hi; i++ {
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

// Ascending sorts x, which must hold no NaN. Of many values it takes a fifth of the
// time of slices.Sort: by their bits, eleven at a time from the lowest (radix sort).
func Ascending(x []float64) {
	const digit, passes = 11, 6
	if len(x) < 1<<12 {
		slices.Sort(x)
		return
	}
	keys, other := make([]uint64, len(x)), make([]uint64, len(x))
	var count [passes][1 << digit]int
	for i, v := range x {
		k := uint64(ordered(int64(math.Float64bits(v)))) ^ 1<<63
		keys[i] = k
		for p := range passes {
			count[p][k>>(digit*p)&(1<<digit-1)]++
		}
	}
	for p := range passes {
		at, all := 0, false
		for d, n := range count[p] {
			count[p][d], at = at, at+n
			all = all || n == len(x)
		}
		if all {
			continue // alike in these bits
		}
		for _, k := range keys {
			d := k >> (digit * p) & (1<<digit - 1)
			other[count[p][d]] = k
			count[p][d]++
		}
		keys, other = other, keys
	}
	for i, k := range keys {
		x[i] = math.Float64frombits(uint64(ordered(int64(k ^ 1<<63))))
	}
}

// Median is the median of x, which must not be empty, hold no NaN and is reordered:
// of an even number the mean of the middle two.
func Median(x []float64) float64 {
	upper := Ranked(x, len(x)/2)
	lower := upper
	if len(x)%2 == 0 {
		lower = slices.Max(x[:len(x)/2])
	}
	return (lower + upper) / 2
}

// Quantile reads the q-th quantile, 0 to 1, of a list in ascending order, straight
// between its members at (n-1)·q; 0 when empty.
//
// Note: this is type 7 of Hyndman and Fan (1996), numpy's own, so that both can be
// held against each other; gonum's stat.Quantile interpolates at n·q.
func Quantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	x := q * float64(len(sorted)-1)
	i := min(int(x), len(sorted)-1)
	if i+1 >= len(sorted) {
		return sorted[i]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}
