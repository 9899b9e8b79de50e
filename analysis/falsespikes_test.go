package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// At most one false spike in millions of samples of noise alone, over the whole
// measurement: plain Gaussian noise, and through converters so coarse that most
// samples share a few codes. No switching frequency either.
func TestNoFalseSpikesInNoise(t *testing.T) {
	const rate, sigma = 100e6, 1e-3
	whole := 10_000_000
	if !testrun.Full() {
		whole = 600_000
	}
	for _, c := range []struct {
		name    string
		steps   []float64 // the noise's deviation in converter steps, 0: no converter; one record each
		samples int
	}{
		{"plain", []float64{0}, whole},
		{"coarse steps", []float64{1, 0.5, 0.31, 0.3, 0.27}, whole / 5},
	} {
		r := rand.New(rand.NewPCG(77, uint64(c.samples)))
		x := make([]float64, c.samples)
		found, switching := 0, 0
		for _, steps := range c.steps {
			step := 0.0
			if steps > 0 {
				step = sigma / steps
			}
			level := 0.1 * step * r.Float64() // near a code, where fewest samples leave it
			for i := range x {
				x[i] = level + sigma*r.NormFloat64()
				if step > 0 {
					x[i] = step * math.Round(x[i]/step)
				}
			}
			m, err := Measure(context.Background(), &capture.Trace{Volts: x, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true,
				Coupling: capture.CouplingAC, BandwidthHz: 40e6, StepV: step,
				Span: capture.Span{LowHz: 4 * rate / float64(len(x)), HighHz: 40e6}}, Setup{})
			if err != nil {
				t.Fatal(err)
			}
			if !m.Spikes.PerS.Known {
				t.Fatalf("%s: spikes were not looked for: %s", c.name, m.Spikes.PerS.Missing)
			}
			found += m.Spikes.Count
			if m.SwitchingHz.Known {
				switching++
			}
		}
		t.Logf("%s: %d false spikes in %d samples", c.name, found, whole)
		if found > 1 || switching > 0 {
			t.Errorf("%s: %d false spikes and %d switching frequencies in %d samples", c.name, found, switching, whole)
		}
	}
}

// Nor where the noise rises towards low frequencies.
func TestNoFalseSpikesIn1fNoise(t *testing.T) {
	n := 700_000
	if !testrun.Full() {
		n = 150_000
	}
	found := 0
	for seed, bits := range []int{0, 8, 12} {
		s := synth.Supply{Seed: uint64(seed + 1), RateHz: 100e6, Samples: n, NoiseVPerRtHz: 200e-9, ADCBits: bits, CornerHz: 1e3}
		if bits == 8 {
			s.ADCFullScaleV = 0.6 // a step of about the noise
		}
		m, _ := measureSupply(t, s, Setup{})
		found += m.Spikes.Count
	}
	if found > 1 {
		t.Errorf("%d false spikes in %d samples", found, 3*n)
	}
}
