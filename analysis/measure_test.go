package analysis

import (
	"context"
	"math"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/capture"
	"stillglow/capture/synth"
)

func measureSupply(t *testing.T, s synth.Supply, setup Setup) (*Measurement, synth.Truth) {
	t.Helper()
	tr, truth := s.Trace("synthetic")
	m, err := Measure(context.Background(), tr, setup)
	if err != nil {
		t.Fatal(err)
	}
	return m, truth
}

// within fails unless the figure is known and within a fraction of want.
func within(t *testing.T, name string, f figure.Figure, want, fraction float64) {
	t.Helper()
	if !f.Known {
		t.Errorf("%s not measured: %s", name, f.Missing)
		return
	}
	if math.Abs(f.Value-want) > fraction*math.Abs(want) {
		t.Errorf("%s = %g, want %g within %g %%", name, f.Value, want, 100*fraction)
	}
}

// plainSupply switches at a fixed frequency with clear spikes at both edges.
func plainSupply() synth.Supply {
	return synth.Supply{
		Seed: 7, RateHz: 100e6, Samples: 200e3, DCV: 7.2, ACCoupled: true,
		SwitchingHz: 98.7e3, RipplePPV: 20e-3, Duty: 0.42, ESRStepV: 4e-3,
		SpikeRiseV: 60e-3, SpikeFallV: -45e-3, SpikeWidthS: 80e-9, RingRiseHz: 9e6, RingFallHz: 7.5e6, RingQ: 7,
		NoiseVPerRtHz: 60e-9, ADCBits: 12, BandwidthHz: 40e6,
	}
}

func TestMeasurePlainSupply(t *testing.T) {
	s := plainSupply()
	s.Samples = 400e3
	m, truth := measureSupply(t, s, Setup{})
	within(t, "switching", m.SwitchingHz, truth.SwitchingHz, 50e-6)
	within(t, "ripple", m.RipplePPV, truth.RipplePPV, 0.02)
	within(t, "rising spike", m.Spikes.RisingPeakMedianV, truth.RisingPeakV, 0.05)
	within(t, "falling spike", m.Spikes.FallingPeakMedianV, truth.FallingPeak, 0.05)
	within(t, "ring", m.Spikes.RingHz, truth.RingHz, 0.03)
	within(t, "Q", m.Spikes.RingQ, truth.RingQ, 0.15)
	if m.Spikes.Count != truth.SpikeCount {
		t.Errorf("%d spikes, want %d", m.Spikes.Count, truth.SpikeCount)
	}
	// 4 ms hold few periods of 2 to 20 kHz, and the ± says so
	d := m.Noise.DensityVPerRtHz
	if db := 20 * math.Log10(d.Value/truth.NoiseVPerRtHz); math.Abs(d.Value-truth.NoiseVPerRtHz) > d.U || math.Abs(db) > 1.5 || d.U > 0.4*d.Value {
		t.Errorf("noise off by %.2f dB, ± %.2g", db, d.U/d.Value)
	}
	p, r, whole := m.PeriodicRMSV.Value, m.RandomRMSV.Value, m.ACRMSV.Value
	if math.Abs(p*p+r*r-whole*whole) > 0.01*whole*whole {
		t.Errorf("periodic %g and random %g do not add up to %g", p, r, whole)
	}
}

func TestMeasureOddTraces(t *testing.T) {
	ramp := func(n int, f func(i int) float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = f(i)
		}
		return v
	}
	for n := 1; n < 300; n += 1 + n/7 {
		for name, f := range map[string]func(i int) float64{
			"zero":     func(int) float64 { return 0 },
			"constant": func(int) float64 { return 12.5 },
			"step":     func(i int) float64 { return float64(i / (n/2 + 1)) },
			"sine":     func(i int) float64 { return 1e6 + math.Sin(float64(i)) },
			"spike":    func(i int) float64 { return math.Exp(-math.Pow(float64(i-n/2), 2)) },
			"comb":     func(i int) float64 { return float64(i % 3) },
			"tiny":     func(i int) float64 { return 1e-12 * float64(i%2) },
		} {
			tr := &capture.Trace{Volts: ramp(n, f), SampleRateHz: 10e6, TrueRateHz: 10e6,
				Span: capture.Span{LowHz: 4 * 10e6 / float64(n), HighHz: 4e6}}
			m, err := Measure(context.Background(), tr, Setup{})
			if err != nil {
				t.Fatalf("%s of %d samples: %v", name, n, err)
			}
			checkFinite(t, m)
		}
	}
	if _, err := Measure(context.Background(), &capture.Trace{SampleRateHz: 1}, Setup{}); err == nil {
		t.Error("an empty trace was measured")
	}
	if _, err := Measure(context.Background(), &capture.Trace{SampleRateHz: 1, Volts: []float64{1, math.NaN()}}, Setup{}); err == nil {
		t.Error("a trace with NaN was measured")
	}
}
