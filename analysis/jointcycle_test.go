package analysis

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// softRing is a triangle of ripple with rings that start softly, not as a damped sine
// does, in noise. Frequencies in Hz, the rest but Q in V.
type softRing struct {
	rateHz  float64
	samples int
	hz      float64 // of the switching
	rippleV float64 // peak-to-peak
	ringHz  float64
	q       float64
	peakV   float64
	noiseV  float64 // rms
}

func (c softRing) trace() *capture.Trace {
	r := rand.New(rand.NewPCG(5, 6))
	const duty = 0.4
	pulse := func(s float64) float64 {
		return (1 - math.Exp(-6*c.ringHz*s)) * math.Exp(-math.Pi*c.ringHz/c.q*s) * math.Cos(2*math.Pi*c.ringHz*s)
	}
	top := 0.0
	for s := 0.0; s < 2/c.ringHz; s += 0.002 / c.ringHz {
		top = max(top, math.Abs(pulse(s)))
	}
	v := make([]float64, c.samples)
	for i := range v {
		x := math.Mod(float64(i)/c.rateHz*c.hz+0.3, 1)
		v[i] = c.rippleV * (0.5 - (x-duty)/(1-duty))
		if x < duty {
			v[i] = c.rippleV * (x/duty - 0.5)
		}
		v[i] += c.peakV/top*(pulse(x/c.hz)-0.8*pulse(math.Mod(x-duty+1, 1)/c.hz)) + c.noiseV*r.NormFloat64()
	}
	return &capture.Trace{Volts: v, SampleRateHz: c.rateHz, Span: capture.Span{LowHz: 1e3, HighHz: 0.4 * c.rateHz}, Calibrated: true}
}

func TestRippleUnderASoftRing(t *testing.T) {
	for name, c := range map[string]struct {
		of    softRing
		fills bool    // the ring fills the cycle, and a caution says so
		limit float64 // on the ripple's error, as a share
	}{
		"dies in time":          {softRing{rateHz: 100e6, samples: 200e3, hz: 65e3, rippleV: 6.5e-3, ringHz: 2.3e6, q: 7.5, peakV: 70e-3, noiseV: 3e-3}, false, 0.02},
		"reaches the next edge": {softRing{rateHz: 50e6, samples: 300e3, hz: 134e3, rippleV: 5e-3, ringHz: 1.2e6, q: 9.7, peakV: 97e-3, noiseV: 1e-3}, true, 0.02},
		"few samples":           {softRing{rateHz: 20e6, samples: 50e3, hz: 100e3, rippleV: 2e-3, ringHz: 1.1e6, q: 9.6, peakV: 76e-3, noiseV: 0.1e-3}, true, 0.03},
		"fast":                  {softRing{rateHz: 100e6, samples: 200e3, hz: 350e3, rippleV: 50e-3, ringHz: 2.8e6, q: 6.6, peakV: 164e-3, noiseV: 5e-3}, true, 0.02},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m, err := Measure(context.Background(), c.of.trace(), Setup{})
			if err != nil {
				t.Fatal(err)
			}
			if e := m.RipplePPV.Value/c.of.rippleV - 1; math.Abs(e) > c.limit {
				t.Errorf("ripple %.4g V, want %.4g (%+.1f %%)", m.RipplePPV.Value, c.of.rippleV, 100*e)
			}
			if e := m.Spikes.PerS.Value/(2*c.of.hz) - 1; math.Abs(e) > 0.01 {
				t.Errorf("%g spikes a second, want %g", m.Spikes.PerS.Value, 2*c.of.hz)
			}
			if said := m.HasCaution(capture.CautionRingFills); said != c.fills {
				t.Errorf("caution of the ring %v, want %v", said, c.fills)
			}
		})
	}
}

// A record of few cycles still tells its frequency to what its noise allows.
func TestFewCyclesFrequency(t *testing.T) {
	for _, c := range []softRing{
		{rateHz: 250e6, samples: 100e3, hz: 43.4426e3, rippleV: 26e-3, ringHz: 17.8e6, q: 2.9, peakV: 295e-3, noiseV: 24e-3},
		{rateHz: 250e6, samples: 60e3, hz: 48.213e3, rippleV: 18e-3, ringHz: 1.7e6, q: 8, peakV: 38e-3, noiseV: 3e-3},
		{rateHz: 100e6, samples: 60e3, hz: 77.01e3, rippleV: 12e-3, ringHz: 1.2e6, q: 8, peakV: 212e-3, noiseV: 17e-3},
	} {
		t.Run(fmt.Sprintf("%.0f cycles", float64(c.samples)*c.hz/c.rateHz), func(t *testing.T) {
			t.Parallel()
			m, err := Measure(context.Background(), c.trace(), Setup{})
			if err != nil {
				t.Fatal(err)
			}
			off := m.SwitchingHz.Value - c.hz
			if math.Abs(off) > 30e-6*c.hz || math.Abs(off) > 2*m.SwitchingHz.U {
				t.Errorf("%g Hz: %+.1f ppm, stated %.1f", c.hz, 1e6*off/c.hz, 1e6*m.SwitchingHz.U/c.hz)
			}
		})
	}
}
