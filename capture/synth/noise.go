package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// spectrum is the density of one noise as the record holds it.
type spectrum struct {
	white, cornerHz float64    // one-sided V/sqrt(Hz), and where the 1/f part equals it
	poles           [2]float64 // one-pole low-passes in hertz, 0: none
	cutHz           float64    // the anti-alias filter, 0: none
}

// power is the density squared at f.
func (p spectrum) power(f float64) float64 {
	d := p.white * p.white * (1 + p.cornerHz/f)
	for _, b := range p.poles {
		if b > 0 {
			d /= 1 + (f/b)*(f/b)
		}
	}
	if p.cutHz > 0 {
		g := steep(f / p.cutHz)
		d *= g * g
	}
	return d
}

// noise makes n samples of Gaussian noise of that density. White noise of
// density e sampled at fs has the standard deviation e*sqrt(fs/2). Shaping is
// done on the spectrum, so the densities hold exactly up to half the rate.
func (p spectrum) noise(r *rand.Rand, n int, rateHz float64) []float64 {
	size := n
	if p.cornerHz > 0 || p.poles != [2]float64{} || p.cutHz > 0 {
		for size = 1; size < n; size *= 2 {
		}
	}
	x := make([]float64, size)
	for i := range x {
		x[i] = math.Sqrt(rateHz/2) * r.NormFloat64()
	}
	if size == n && p.cornerHz <= 0 && p.poles == [2]float64{} && p.cutHz <= 0 {
		for i := range x {
			x[i] *= p.white
		}
		return x
	}
	fft := fourier.NewFFT(size)
	c := fft.Coefficients(nil, x)
	c[0] = 0
	for k := 1; k < len(c); k++ {
		c[k] *= complex(math.Sqrt(p.power(float64(k)*rateHz/float64(size)))/float64(size), 0)
	}
	return fft.Sequence(x, c)[:n]
}

// rms is the root of the density's integral from one period in the record to
// half the rate, by the trapezoid rule in log frequency.
func (p spectrum) rms(rateHz, durationS float64) float64 {
	if p.white <= 0 {
		return 0
	}
	const steps = 20000
	lo, hi := math.Log(1/durationS), math.Log(rateHz/2)
	var sum float64
	for i := range steps + 1 {
		f := math.Exp(lo + (hi-lo)*float64(i)/steps)
		w := 1.0
		if i == 0 || i == steps {
			w = 0.5
		}
		sum += w * p.power(f) * f
	}
	return math.Sqrt(sum * (hi - lo) / steps)
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

// noises are the supply's own noise and the instrument's.
func (s Supply) noises() (own, instrument spectrum) {
	cut := 0.0
	if s.AntiAliased {
		cut = cutShare * s.RateHz
	}
	own = spectrum{white: s.NoiseVPerRtHz, cornerHz: s.CornerHz, poles: [2]float64{s.BandwidthHz, s.NoiseBandwidthHz}, cutHz: cut}
	instrument = spectrum{white: s.InstrumentVPerRtHz, poles: [2]float64{s.BandwidthHz}, cutHz: cut}
	return own, instrument
}
