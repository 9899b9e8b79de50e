package synth

import "math"

const (
	stage      = 8             // each of two decimations
	decimation = stage * stage // internal rate over the record's
	pad        = 64            // samples ahead of and behind the record for the filter
	cutShare   = 0.45          // of the rate
)

// decimate takes the finely averaged waveform down to the record's rate in two
// stages. The first has a wide transition, since the pass band ends at a
// sixteenth of its output rate; the second is flat to 0.45 of the rate and 80 dB
// down at 0.55.
func decimate(out, fine []float64) {
	mid := make([]float64, len(fine)/stage)
	thin(mid, fine, 0, lowPassTaps(5*stage, 0.5/stage))
	thin(out, mid, pad*stage, lowPassTaps(40*stage, 0.5*(cutShare+0.55)/stage))
}

// lowPassTaps is a Kaiser-windowed sinc of 2*half+1 taps with its cut-off at fc
// of the input rate, about 80 dB down in the stop band, gain 1 at DC.
func lowPassTaps(half int, fc float64) []float64 {
	taps := make([]float64, 2*half+1)
	var sum float64
	for k := -half; k <= half; k++ {
		x := 2 * fc * float64(k)
		h := 1.0
		if k != 0 {
			h = math.Sin(math.Pi*x) / (math.Pi * x)
		}
		h *= kaiser(float64(k)/float64(half), 7.86)
		taps[k+half] = h
		sum += h
	}
	for i := range taps {
		taps[i] /= sum
	}
	return taps
}

// thin keeps every stage-th value of the filtered input from offset on. Four values
// are summed side by side, each in the order of its taps.
func thin(out, in []float64, offset int, taps []float64) {
	half := len(taps) / 2
	i := 0
	for ; i+4 <= len(out); i += 4 {
		at := offset + i*stage - half
		end := at + 3*stage + len(taps)
		if at < 0 || end > len(in) {
			for k := range 4 {
				out[i+k] = weighted(in, at+k*stage, taps)
			}
			continue
		}
		w := in[at:end]
		w0, w1, w2, w3 := w[:len(taps)], w[stage:][:len(taps)], w[2*stage:][:len(taps)], w[3*stage:][:len(taps)]
		var v0, v1, v2, v3 float64
		for k, h := range taps {
			v0 += h * w0[k]
			v1 += h * w1[k]
			v2 += h * w2[k]
			v3 += h * w3[k]
		}
		out[i], out[i+1], out[i+2], out[i+3] = v0, v1, v2, v3
	}
	for ; i < len(out); i++ {
		out[i] = weighted(in, offset+i*stage-half, taps)
	}
}

// weighted sums the input from at on by the taps; beyond its ends it is zero.
func weighted(in []float64, at int, taps []float64) float64 {
	var v float64
	for k, h := range taps {
		if j := at + k; j >= 0 && j < len(in) {
			v += h * in[j]
		}
	}
	return v
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
