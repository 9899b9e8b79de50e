package analysis

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"

	"stillglow/analysis/spike"
)

// repeatedShare is the share of the power of what ripple, mains and spikes leave that
// comes back later in the record: cycles that alternate, or a second converter. It is
// the greatest normalised autocorrelation at one and two cycles, sample by sample, and
// at any lag from half a cycle to half the stretch, thinned. Noise correlates over so
// long a lag only where it lies low or is narrow. 0: no cycle is shown.
func repeatedShare(rec *record, sw switching, gate *spike.Gate) float64 {
	if !sw.shown {
		return 0
	}
	period := rec.tr.SampleRateHz / sw.Track.Hz
	group := max(min((gate.Len()-1)/repeatPoints+1, int(period/repeatInCycle)), 1)
	n := min(gate.Len(), repeatPoints*group)
	x, w := make([]float64, n), make([]float64, n)
	from := (gate.Len() - n) / 2
	gate.Fill(x, from)
	gate.Weights(w, from)
	power := weigh(x, w)
	if !(power > 0) {
		return 0
	}
	most := 0.0
	for _, cycles := range [...]float64{1, 2} {
		most = max(most, covariance(x, w, int(math.Round(cycles*period))))
	}
	x, w = thinned(x, group), thinned(w, group)
	all, weights := products(x), products(w)
	for lag := int(math.Ceil(period / 2 / float64(group))); lag < len(x)/2; lag++ {
		if weights[lag] > repeatSeen*weights[0] {
			most = max(most, all[lag]/weights[lag])
		}
	}
	return min(most/power, 1)
}

// weigh takes the weighted mean off x, applies the weights and gives the mean square
// where they are not 0.
func weigh(x, w []float64) (power float64) {
	weight := floats.Sum(w)
	if weight < leastSamples {
		return 0
	}
	mean := floats.Dot(w, x) / weight
	for i := range x {
		x[i] = w[i] * (x[i] - mean)
	}
	return floats.Dot(x, x) / weight
}

// covariance is the mean product of weighted samples so many apart, 0 where too few are.
func covariance(x, w []float64, lag int) float64 {
	n := max(len(x)-lag, 0)
	weight := floats.Dot(w[:n], w[len(w)-n:])
	if weight < leastSamples {
		return 0
	}
	return floats.Dot(x[:n], x[len(x)-n:]) / weight
}

// thinned are the means over groups of neighbours.
func thinned(x []float64, group int) []float64 {
	out := make([]float64, len(x)/group)
	for i := range out {
		out[i] = floats.Sum(x[i*group:(i+1)*group]) / float64(group)
	}
	return out
}

// products are the sums of products of samples by their distance, up to a common
// factor: the inverse transform of the power spectrum (Wiener and Khinchin), padded so
// that the end does not meet the start.
func products(x []float64) []float64 {
	length := 1
	for length < 2*len(x) {
		length *= 2
	}
	fft := fourier.NewFFT(length)
	padded := make([]float64, length)
	copy(padded, x)
	c := fft.Coefficients(nil, padded)
	for i, v := range c {
		c[i] = v * cmplx.Conj(v)
	}
	return fft.Sequence(padded, c)[:len(x)]
}
