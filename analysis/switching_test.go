package analysis

import (
	"maps"
	"math"
	"slices"
	"testing"

	"stillglow/analysis/cycle"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// trapSupply is what the switching search must not be fooled on.
func trapSupply() synth.Supply {
	return synth.Supply{
		Seed: 11, RateHz: 50e6, Samples: 150e3, ACCoupled: true,
		SwitchingHz: 97.3e3, RipplePPV: 20e-3, Duty: 0.4, ESRStepV: 3e-3,
		SpikeRiseV: 50e-3, SpikeFallV: -40e-3, SpikeWidthS: 100e-9, RingRiseHz: 5e6, RingFallHz: 4e6, RingQ: 6,
		SpikeJitterFrac: 0.02, NoiseVPerRtHz: 100e-9, ADCBits: 10, BandwidthHz: 20e6,
	}
}

func TestSwitchingNotFooled(t *testing.T) {
	cases := map[string]func(*synth.Supply){
		"spikes only": func(s *synth.Supply) { s.RipplePPV, s.ESRStepV = 0, 0 },
		"ripple buried under ringing": func(s *synth.Supply) {
			s.RipplePPV, s.ESRStepV, s.RingQ, s.SpikeRiseV, s.SpikeFallV = 1e-3, 0, 14, 0.4, -0.3
		},
		"even harmonics strong": func(s *synth.Supply) {
			s.RipplePPV, s.ESRStepV, s.Duty, s.SpikeFallV, s.RingFallHz = 1e-3, 0, 0.5, 49e-3, 5e6
		},
		"spikes that alias": func(s *synth.Supply) {
			s.RateHz, s.BandwidthHz, s.SwitchingHz, s.MainsHz, s.MainsPPV = 2e6, 800e3, 65.13e3, 50, 50e-3
		},
		"lowest of the trade":  func(s *synth.Supply) { s.SwitchingHz = 20.9e3 },
		"highest of the trade": func(s *synth.Supply) { s.SwitchingHz = 493e3; s.SpikeWidthS, s.RingQ = 40e-9, 3 },
		"ten cycles":           func(s *synth.Supply) { s.Samples = 5200 },
	}
	for _, name := range testrun.Some(slices.Sorted(maps.Keys(cases)), 3) {
		change := cases[name]
		s := trapSupply()
		s.Samples = 300e3
		change(&s)
		m, truth := measureSupply(t, s, Setup{})
		if !m.SwitchingHz.Known || math.Abs(m.SwitchingHz.Value/truth.SwitchingHz-1) > 50e-6 {
			t.Errorf("%s: %+v, want %g Hz", name, m.SwitchingHz, truth.SwitchingHz)
		}
		if m.Kind != cycle.Fixed {
			t.Errorf("%s: kind %q", name, m.Kind)
		}
	}
}

func TestDitheredSupply(t *testing.T) {
	for _, d := range testrun.Some([][2]float64{{0.02, 3000}, {0.05, 400}, {0.04, 5000}}, 3) {
		s := trapSupply()
		s.DitherFrac, s.DitherRateHz = d[0], d[1]
		m, truth := measureSupply(t, s, Setup{})
		if m.Kind != cycle.Dithered {
			t.Errorf("dither of %g at %g Hz: kind %q", d[0], d[1], m.Kind)
		}
		within(t, "switching", m.SwitchingHz, truth.SwitchingHz, 0.01)
		within(t, "spread", m.SwitchingSpreadHz, 2*d[0]*truth.SwitchingHz, 0.15)
		within(t, "ripple", m.RipplePPV, truth.RipplePPV, 0.03)
		within(t, "rising spike", m.Spikes.RisingPeakMedianV, truth.RisingPeakV, 0.05)
		within(t, "ring", m.Spikes.RingHz, truth.RingHz, 0.03)
		if m.Spikes.Count != truth.SpikeCount {
			t.Errorf("%d spikes, want %d", m.Spikes.Count, truth.SpikeCount)
		}
		if !m.HasCaution("dithered") {
			t.Error("no caution")
		}
	}
}

func TestBurstingSupply(t *testing.T) {
	// packets inside and above the audio band, and one record of a few packets
	// whose rate's multiples fall into the range searched
	type packets struct {
		hz, duty, switching float64
		samples             int
	}
	for _, b := range testrun.Some([]packets{{2000, 0.3, 97.3e3, 600e3}, {900, 0.15, 140e3, 600e3}, {6200, 0.35, 140e3, 60e3}}, 2) {
		s := trapSupply()
		s.BurstHz, s.BurstDuty, s.SwitchingHz, s.Samples = b.hz, b.duty, b.switching, b.samples
		m, truth := measureSupply(t, s, Setup{})
		if m.Kind != cycle.Bursting {
			t.Errorf("packets at %g Hz: kind %q at %g Hz", b.hz, m.Kind, m.SwitchingHz.Value)
			continue
		}
		within(t, "switching", m.SwitchingHz, truth.SwitchingHz, 2e-3)
		within(t, "packets", m.BurstHz, b.hz, 0.01)
		within(t, "ripple", m.RipplePPV, truth.RipplePPV, 0.03)
		within(t, "rising spike", m.Spikes.RisingPeakMedianV, truth.RisingPeakV, 0.05)
		if d := math.Abs(float64(m.Spikes.Count - truth.SpikeCount)); d > 2 {
			t.Errorf("packets at %g Hz: %d spikes, want %d", b.hz, m.Spikes.Count, truth.SpikeCount)
		}
		if !m.HasCaution("bursting") {
			t.Error("no caution")
		}
	}
}

// A record too slow for the trade's range must not turn an alias into a figure.
func TestSlowRecordGivesNoSwitching(t *testing.T) {
	for _, hz := range []float64{33.017e3, 97.337e3, 151.023e3, 265.011e3} {
		s := trapSupply()
		s.SwitchingHz, s.MainsHz, s.MainsPPV = hz, 50, 5e-3
		s.RateHz, s.Samples, s.BandwidthHz = 200e3, 40e3, 0
		m, truth := measureSupply(t, s, Setup{})
		if m.SwitchingHz.Known || m.RipplePPV.Known || m.PP20MHzV.Known || m.Spikes.PeakMedianV.Known {
			t.Errorf("switching at %g Hz in a record of 200 kS/s: %+v %+v", hz, m.SwitchingHz, m.RipplePPV)
		}
		if !m.HasCaution("alias_suspected") {
			t.Errorf("switching at %g Hz: no caution of an alias", hz)
		}
		within(t, "2 x mains", m.MainsLineRMS, truth.MainsLineRMSV, 0.02)
	}
}

func TestNoiseAloneHasNoSwitching(t *testing.T) {
	for seed := range uint64(12) {
		s := synth.Supply{Seed: seed, RateHz: []float64{2e6, 10e6, 125e6, 1e9}[seed%4],
			Samples: []int{50e3, 100e3, 20e3}[seed%3], NoiseVPerRtHz: 100e-9, CornerHz: []float64{0, 20e3}[seed%2]}
		m, _ := measureSupply(t, s, Setup{})
		if m.SwitchingHz.Known || m.Spikes.Count > 0 {
			t.Errorf("seed %d: %g Hz, %d spikes in noise", seed, m.SwitchingHz.Value, m.Spikes.Count)
		}
	}
}
