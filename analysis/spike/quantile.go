package spike

// Quantile reads a sorted list, straight between its members; 0 when empty.
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
