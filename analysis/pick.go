package analysis

import (
	"math"

	"stillglow/analysis/spike"
)

// evenPick keeps at most limit members, evenly spread.
func evenPick(list []spike.Event, limit int) []spike.Event {
	if len(list) <= limit {
		return list
	}
	out := make([]spike.Event, limit)
	for i := range out {
		out[i] = list[i*len(list)/limit]
	}
	return out
}

// histogramOf counts sorted values in even steps.
func histogramOf(sorted []float64, steps int) Histogram {
	if len(sorted) == 0 {
		return Histogram{}
	}
	lo, hi := sorted[0], sorted[len(sorted)-1]
	if hi == lo {
		hi = lo + max(math.Abs(lo)*leastBin, leastBinV)
	}
	h := Histogram{Edges: make([]float64, steps+1), Counts: make([]int, steps)}
	for i := range h.Edges {
		h.Edges[i] = lo + (hi-lo)*float64(i)/float64(steps)
	}
	for _, v := range sorted {
		h.Counts[min(int((v-lo)/(hi-lo)*float64(steps)), steps-1)]++
	}
	return h
}
