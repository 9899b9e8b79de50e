package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// noise makes n samples of Gaussian noise whose one-sided density is
// white*sqrt(1 + corner/f) V/sqrt(Hz), behind the instrument's one-pole when
// bandwidthHz > 0. White noise of density e sampled at fs has the standard
// deviation e*sqrt(fs/2). Shaping is done on the spectrum, so the densities
// hold exactly up to half the rate.
func noise(r *rand.Rand, n int, rateHz, white, cornerHz, bandwidthHz, cutHz float64) []float64 {
	sigma := white * math.Sqrt(rateHz/2)
	if cornerHz <= 0 && bandwidthHz <= 0 && cutHz <= 0 {
		out := make([]float64, n)
		for i := range out {
			out[i] = sigma * r.NormFloat64()
		}
		return out
	}
	size := 1
	for size < n {
		size *= 2
	}
	x := make([]float64, size)
	for i := range x {
		x[i] = sigma * r.NormFloat64()
	}
	fft := fourier.NewFFT(size)
	c := fft.Coefficients(nil, x)
	c[0] = 0
	for k := 1; k < len(c); k++ {
		f := float64(k) * rateHz / float64(size)
		p := 1 + cornerHz/f
		if bandwidthHz > 0 {
			p /= 1 + (f/bandwidthHz)*(f/bandwidthHz)
		}
		g := math.Sqrt(p) / float64(size)
		if cutHz > 0 {
			g *= steep(f / cutHz)
		}
		c[k] *= complex(g, 0)
	}
	return fft.Sequence(x, c)[:n]
}

// steep is the anti-alias filter's magnitude at x times its cut-off: flat to
// 1, nothing above 1.22, a raised cosine between.
func steep(x float64) float64 {
	const stop = 1.22
	switch {
	case x <= 1:
		return 1
	case x >= stop:
		return 0
	}
	return 0.5 + 0.5*math.Cos(math.Pi*(x-1)/(stop-1))
}

// randomRMS is the exact rms of that noise: the integral of its density.
func randomRMS(rateHz, durationS, white, cornerHz, bandwidthHz, cutHz float64) float64 {
	hi := rateHz / 2
	if cutHz > 0 {
		hi = math.Min(hi, 1.11*cutHz)
	}
	lo := 1 / durationS
	b := bandwidthHz
	var p float64
	switch {
	case b <= 0:
		p = hi + cornerHz*math.Log(hi/lo)
	default:
		// integral of (1+c/f)/(1+(f/b)^2)
		p = b*math.Atan(hi/b) + cornerHz*0.5*math.Log((hi*hi/(hi*hi+b*b))/(lo*lo/(lo*lo+b*b)))
	}
	return white * math.Sqrt(p)
}
