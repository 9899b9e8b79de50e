package analysis_test

import (
	"testing"

	"stillglow/analysis/figure"
	"stillglow/capture/synth"
)

// Peaks of a segment are lower bounds where another swings further, and the rest stands.
func TestOtherSegmentsBoundThePeaks(t *testing.T) {
	for _, times := range []float64{0, 1.6} {
		tr, _ := synth.Supply{Seed: 5, RateHz: 200e6, Samples: 40e3, ACCoupled: true, SwitchingHz: 120e3, RipplePPV: 20e-3, NoiseVPerRtHz: 60e-9, ADCBits: 8}.Trace("segment")
		tr.OtherSegmentsPP = times
		m := measured(t, tr)
		for name, f := range map[string]figure.Figure{"p-p": m.PPV, "20 MHz": m.PP20MHzV} {
			if !f.Known || f.LowerBound != (times > 0) {
				t.Errorf("others %g times as far: %s %+v", times, name, f)
			}
		}
		if !m.RipplePPV.Known || m.RipplePPV.LowerBound || m.ACRMSV.LowerBound {
			t.Errorf("others %g times as far: ripple %+v, rms %+v", times, m.RipplePPV, m.ACRMSV)
		}
	}
}
