package analysis_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// smoothedTrace is a triangle of 180 kHz in white noise of so many V/√Hz, as 200 MS/s
// take it, through a shape, on steps in V.
func smoothedTrace(noise, step float64, shape func([]float64) []float64) *capture.Trace {
	const n, rate = 100_000, 200e6
	r := rand.New(rand.NewPCG(9, 2))
	v := make([]float64, n)
	for i := range v {
		phase := math.Mod(float64(i)*180e3/rate, 1)
		v[i] = 5e-3*math.Min(phase/0.3, (1-phase)/0.7) + noise*math.Sqrt(rate/2)*r.NormFloat64()
	}
	v = shape(v)
	for i := range v {
		v[i] = math.Round(v[i]/step) * step
	}
	return &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC, StepV: step,
		Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
}

// gaussian is a mean over neighbours, 3 dB down at 0.1325 of the rate over sigma samples.
func gaussian(sigma float64) func([]float64) []float64 {
	return func(x []float64) []float64 {
		n, reach := len(x), int(5*sigma)
		y := make([]float64, n)
		sum := 0.0
		for d := -reach; d <= reach; d++ {
			w := math.Exp(-float64(d*d) / (2 * sigma * sigma))
			sum += w
			for i := range y {
				y[i] += w * x[(i+d+n)%n]
			}
		}
		for i := range y {
			y[i] /= sum
		}
		return y
	}
}

// poles is a low-pass of so many poles at a frequency, as inputs have them.
func poles(number int, hz float64) func([]float64) []float64 {
	return func(x []float64) []float64 {
		y, a := append([]float64(nil), x...), 1-math.Exp(-2*math.Pi*hz/200e6)
		for range number {
			now := 0.0
			for i := range y {
				now += a * (y[i] - now)
				y[i] = now
			}
		}
		return y
	}
}

// Noise that falls faster than an input makes it, or that ends at what the converter's
// steps make by themselves, was smoothed: peaks are lower bounds, and the ripple of a
// clock far below stands. What an input's poles leave, over its own 15 nV/√Hz or
// on coarse steps, is not doubted. The truth is the filter of each record.
func TestSmoothedNoise(t *testing.T) {
	plain := func(x []float64) []float64 { return x }
	for name, c := range map[string]struct {
		noise, step float64
		shape       func([]float64) []float64
		smoothed    bool
	}{
		"150 nV, Gaussian of 8 MHz":               {150e-9, 25e-6, gaussian(3.3), true},
		"150 nV, Gaussian of 20 MHz":              {150e-9, 25e-6, gaussian(1.3), true},
		"40 nV, Gaussian, steps of 200 µV":        {40e-9, 200e-6, gaussian(3.3), true},
		"15 nV, as taken":                         {15e-9, 25e-6, plain, false},
		"15 nV on steps of 200 µV":                {15e-9, 200e-6, plain, false},
		"150 nV, one pole of 20 MHz":              {150e-9, 25e-6, poles(1, 20e6), false},
		"150 nV, two poles of 8 MHz":              {150e-9, 100e-6, poles(2, 8e6), false},
		"noise under steps too coarse to tell it": {15e-9, 2e-3, gaussian(3.3), false},
	} {
		t.Run(name, func(t *testing.T) {
			m := measured(t, smoothedTrace(c.noise, c.step, c.shape))
			if said := cautioned(m, capture.CautionSmoothed); said != c.smoothed || m.PPV.LowerBound != c.smoothed {
				t.Errorf("p-p %+v, cautions %v", m.PPV, m.Cautions)
			}
			if !m.RipplePPV.Known || m.RipplePPV.LowerBound {
				t.Errorf("ripple %+v", m.RipplePPV)
			}
		})
	}
}
