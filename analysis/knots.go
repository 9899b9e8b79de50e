package analysis

import "math"

// knotsOver is by how much, in volts, the rms of the converter's own points lies over
// that of the whole record, 0 where the exporter put none between them or did so
// along a band-limited curve. Points on straight lines lie under the crests that they
// join: their power is lower, and the record's rms with it.
func knotsOver(volts []float64, every int, mean, rms float64) float64 {
	if every < 2 {
		return 0
	}
	sums, counts := make([]float64, every), make([]float64, every) // by which point is the first
	k := 0
	for _, v := range volts {
		sums[k] += (v - mean) * (v - mean)
		counts[k]++
		if k++; k == every {
			k = 0
		}
	}
	most := rms
	for k, n := range counts {
		if n > 0 {
			most = max(most, math.Sqrt(sums[k]/n))
		}
	}
	return most - rms
}

// pointsEach is how many points the exporter gave for each of the converter's, 1 where
// it added none.
func (r *record) pointsEach() int {
	if !(r.tr.TrueRateHz > 0) {
		return 1
	}
	return max(int(math.Round(r.tr.SampleRateHz/r.tr.TrueRateHz)), 1)
}
