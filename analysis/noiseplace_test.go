package analysis_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// The noise of an input whose bandwidth nobody states is read where a 20 MHz switch takes
// less than a tenth: of the same record of 500 MS/s the level is the true 20 nV/√Hz
// whether or not such a pole was ahead. The truth is the noise put in.
func TestNoiseBelowAnUnstatedCorner(t *testing.T) {
	const rate, n, noise = 500e6, 100_000, 20e-9
	for _, corner := range []float64{0, 20e6} {
		r := rand.New(rand.NewPCG(21, 4))
		v, now := make([]float64, n), 0.0
		a := 1.0
		if corner > 0 {
			a = 1 - math.Exp(-2*math.Pi*corner/rate)
		}
		for i := range v {
			now += a * (noise*math.Sqrt(rate/2)*r.NormFloat64() - now)
			v[i] = math.Round(now/10e-6) * 10e-6
		}
		tr := &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
		m := measured(t, tr)
		d := m.Noise.DensityVPerRtHz
		if !d.Known || m.Noise.AtHz.Value > 8.1e6 || math.Abs(d.Value/noise-1) > 0.1 {
			t.Errorf("corner %g Hz: %+v at %g Hz", corner, d, m.Noise.AtHz.Value)
		}
	}
}
