package analysis_test

import (
	"context"
	"math/rand/v2"
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
)

// A converter that skips cycles at random repeats little of what it does: the fold
// of its clock is a lower bound of the ripple, and a caution says so.
func TestSkippedCyclesAreNoFullRipple(t *testing.T) {
	const n, rateHz, clockHz, liftV = 50000, 10e6, 140e3, 0.01
	r := rand.New(rand.NewPCG(3, 9))
	tr := &capture.Trace{File: "computed", Volts: make([]float64, n), SampleRateHz: rateHz, Calibrated: true,
		Span: capture.Span{LowHz: 1e3, HighHz: 0.4 * rateHz}, Coupling: capture.CouplingAC}
	level, last := 0.0, -1
	for i := range tr.Volts {
		at := float64(i) * clockHz / rateHz
		if k := int(at); k > last {
			last = k
			if level < 0.3*liftV*r.NormFloat64() {
				level += liftV
			}
		}
		level -= 0.35 * liftV * clockHz / rateHz
		tr.Volts[i] = level + 1e-5*r.NormFloat64()
	}
	m, err := analysis.Measure(context.Background(), tr, analysis.Setup{})
	if err != nil {
		t.Fatal(err)
	}
	if !m.RipplePPV.Known {
		t.Fatalf("not measured , so this tests nothing: choose another seed")
	}
	said := false
	for _, c := range m.Cautions {
		said = said || c.Code == capture.CautionCycleExplains
	}
	if !said || !m.RipplePPV.LowerBound || !m.RippleRMSV.LowerBound || !m.SwitchingFundamentalRMSV.LowerBound {
		t.Errorf("pulses lift by %g V; ripple %g V, lower bound %v, caution %v", liftV, m.RipplePPV.Value, m.RipplePPV.LowerBound, said)
	}
}
