package filter

import (
	"context"
	"fmt"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// searched looks for a filter for a computed supply of so much noise, from a capture
// whose file doesn't state the scope's mode.
func searched(t *testing.T, noiseVRHz float64) (Advice, *analysis.Measurement) {
	t.Helper()
	ctx := context.Background()
	s := synth.Supply{
		Seed: 5, DCV: 7.1, ACCoupled: true, SwitchingHz: 66.6e3, RipplePPV: 34e-3, Duty: 0.4,
		SpikeRiseV: 7e-3, SpikeFallV: -6e-3, SpikeWidthS: 40e-9, RingRiseHz: 18e6, RingFallHz: 17e6, RingQ: 4,
		NoiseVPerRtHz: noiseVRHz, RateHz: 125e6, Samples: 50000, ADCBits: 14,
	}
	tr, _ := s.Trace("synthetic")
	setup := analysis.Setup{LoadA: 0.94, HeaterA: 0.94}
	m, err := analysis.Measure(ctx, tr, setup)
	if err != nil {
		t.Fatal(err)
	}
	goal, err := target.Custom(map[string]float64{"ripple_pp_20mhz_v": 20e-3, "spike_peak_p95_v": 30e-3, "band_20k_1m_rms_v": 5e-3}, nil, [2]float64{6.6, 7.6}, nil)
	if err != nil {
		t.Fatal(err)
	}
	unit := target.Unit{Key: "Invented 1", HeaterA: 0.94, Captures: []*analysis.Measurement{m},
		Readings: []target.Reading{{LoadA: 0, V: 7.2}, {LoadA: 0.94, V: 7.1}}}
	a, err := Search(ctx, Input{Unit: unit, Target: goal, Traces: []*capture.Trace{tr}, Setups: []analysis.Setup{setup}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return a, m
}

// What is left behind a filter is quieter than a scope's input, and that is the
// filter's doing: it says nothing of the scope's mode. The dropper with one
// electrolytic across the heaters rescues a near miss on a scope of any noise, and
// the smallest coil does too.
func TestSearchOnScopesOfAnyNoise(t *testing.T) {
	for _, noise := range testrun.Some([]float64{7e-9, 60e-9}, 2) {
		a, m := searched(t, noise)
		if m.HasCaution(capture.CautionSmoothed) {
			t.Fatalf("%g V/√Hz: %v to begin with", noise, m.Cautions)
		}
		if !a.Found || a.Best.Method != FromSamples || a.Best.Circuit.Topology != RC || a.Best.Circuit.C1.F > 1000e-6 {
			t.Errorf("%g V/√Hz: %s %s", noise, parts(a), a.Why)
			continue
		}
		for _, r := range a.Others {
			if r.Circuit.Topology == LC && (r.Circuit.L.H > 1.1e-6 || r.Circuit.C1.F > 1000e-6) {
				t.Errorf("%g V/√Hz: more than the least LC does: %v", noise, r.Parts)
			}
		}
		for _, m := range a.Best.After.Margins {
			if !m.Covered {
				t.Errorf("%g V/√Hz: %s is open behind the filter: %s", noise, m.Limit.Name, m.Reason)
			}
		}
	}
}

// A capture that is too quiet by itself shows lower bounds only, ahead of a filter
// and behind it.
func TestSearchOnASmoothedCapture(t *testing.T) {
	a, m := searched(t, 1e-9)
	if !m.HasCaution(capture.CautionSmoothed) {
		t.Fatalf("%v, want the doubt about the scope's mode", m.Cautions)
	}
	if a.Found {
		t.Errorf("a filter is promised from lower bounds: %s", parts(a))
	}
}

func parts(a Advice) string {
	return fmt.Sprint(a.Found, " ", a.Best.Circuit.Topology, " ", a.Best.Parts)
}
