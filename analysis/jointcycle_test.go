package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// ringingTrace is a triangle of ripple with rings that start softly, not as a
// damped sine does.
func ringingTrace(rateHz, hz, ringHz, q, rippleV, peakV, noiseV float64, n int) *capture.Trace {
	r := rand.New(rand.NewPCG(5, 6))
	const duty = 0.4
	pulse := func(s float64) float64 {
		return (1 - math.Exp(-6*ringHz*s)) * math.Exp(-math.Pi*ringHz/q*s) * math.Cos(2*math.Pi*ringHz*s)
	}
	top := 0.0
	for s := 0.0; s < 2/ringHz; s += 0.002 / ringHz {
		top = max(top, math.Abs(pulse(s)))
	}
	v := make([]float64, n)
	for i := range v {
		x := math.Mod(float64(i)/rateHz*hz+0.3, 1)
		v[i] = rippleV * (0.5 - (x-duty)/(1-duty))
		if x < duty {
			v[i] = rippleV * (x/duty - 0.5)
		}
		v[i] += peakV/top*(pulse(x/hz)-0.8*pulse(math.Mod(x-duty+1, 1)/hz)) + noiseV*r.NormFloat64()
	}
	return &capture.Trace{Volts: v, SampleRateHz: rateHz, Span: capture.Span{LowHz: 1e3, HighHz: 0.4 * rateHz}, Calibrated: true}
}

func TestRippleUnderASoftRing(t *testing.T) {
	for _, c := range []struct {
		name                                      string
		rate, hz, ring, q, ripple, peak, noise, n float64
		fills                                     bool
		limit                                     float64
	}{
		{"dies in time", 100e6, 65e3, 2.3e6, 7.5, 6.5e-3, 70e-3, 3e-3, 200e3, false, 0.02},
		{"reaches the next edge", 50e6, 134e3, 1.2e6, 9.7, 5e-3, 97e-3, 1e-3, 300e3, true, 0.02},
		{"few samples", 20e6, 100e3, 1.1e6, 9.6, 2e-3, 76e-3, 0.1e-3, 50e3, true, 0.03},
		{"fast", 100e6, 350e3, 2.8e6, 6.6, 50e-3, 164e-3, 5e-3, 200e3, true, 0.02},
	} {
		tr := ringingTrace(c.rate, c.hz, c.ring, c.q, c.ripple, c.peak, c.noise, int(c.n))
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		if e := m.RipplePPV.Value/c.ripple - 1; math.Abs(e) > c.limit {
			t.Errorf("%s: ripple %.4g, want %.4g (%+.1f %%)", c.name, m.RipplePPV.Value, c.ripple, 100*e)
		}
		if e := m.Spikes.PerS.Value/(2*c.hz) - 1; math.Abs(e) > 0.01 {
			t.Errorf("%s: %g spikes a second, want %g", c.name, m.Spikes.PerS.Value, 2*c.hz)
		}
		said := false
		for _, k := range m.Cautions {
			said = said || k.Code == capture.CautionRingFills
		}
		if said != c.fills {
			t.Errorf("%s: caution of the ring %v, want %v", c.name, said, c.fills)
		}
	}
}

// A record of few cycles still tells its frequency to what its noise allows.
func TestFewCyclesFrequency(t *testing.T) {
	for _, c := range []struct{ rate, hz, ring, q, ripple, peak, noise, n float64 }{
		{250e6, 43.4426e3, 17.8e6, 2.9, 26e-3, 295e-3, 24e-3, 100e3},
		{250e6, 48.213e3, 1.7e6, 8, 18e-3, 38e-3, 3e-3, 60e3},
		{100e6, 77.01e3, 1.2e6, 8, 12e-3, 212e-3, 17e-3, 60e3},
	} {
		m, err := Measure(context.Background(), ringingTrace(c.rate, c.hz, c.ring, c.q, c.ripple, c.peak, c.noise, int(c.n)), Setup{})
		if err != nil {
			t.Fatal(err)
		}
		off := m.SwitchingHz.Value - c.hz
		if math.Abs(off) > 30e-6*c.hz || math.Abs(off) > 2*m.SwitchingHz.U {
			t.Errorf("%g Hz over %.0f cycles: %+.1f ppm, stated %.1f", c.hz, c.n*c.hz/c.rate, 1e6*off/c.hz, 1e6*m.SwitchingHz.U/c.hz)
		}
	}
}
