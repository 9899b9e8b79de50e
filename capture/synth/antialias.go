package synth

import "math"

const (
	decimation = 8    // internal rate over the record's
	pad        = 48   // samples ahead of and behind the record for the filter
	cutShare   = 0.45 // of the rate
)

// decimate low-passes the finely averaged waveform with a Kaiser-windowed sinc
// (cut-off half the rate less a little, stop band about 80 dB) and keeps every
// decimation-th value.
func decimate(out, fine []float64) {
	const half = 40 * decimation
	taps := make([]float64, 2*half+1)
	const fc = 0.5 * (cutShare + 0.55) / decimation // cycles per fine sample
	var sum float64
	for k := -half; k <= half; k++ {
		x := 2 * fc * float64(k)
		h := 1.0
		if k != 0 {
			h = math.Sin(math.Pi*x) / (math.Pi * x)
		}
		h *= kaiser(float64(k)/half, 7.86)
		taps[k+half] = h
		sum += h
	}
	for i := range out {
		// a fine value is the mean over its interval, so its middle lies half a
		// step late; half a fine step is left as a delay of the instrument.
		at := (i + pad) * decimation
		var v float64
		for k, h := range taps {
			v += h * fine[at+k-half]
		}
		out[i] = v / sum
	}
}

// kaiser is the Kaiser window at x in -1..1.
func kaiser(x, beta float64) float64 {
	if math.Abs(x) > 1 {
		return 0
	}
	return besselI0(beta*math.Sqrt(1-x*x)) / besselI0(beta)
}

// besselI0 by its power series.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= (x / 2 / k) * (x / 2 / k)
		sum += term
	}
	return sum
}
