package analysis

import (
	"context"
	"math"
	"strings"
	"testing"

	"stillglow/capture"
)

// Converters simulated by ngspice (netlists and figures in testdata/reference,
// computed from the same samples by numpy and scipy, or from the netlist).
func TestConvertersMeasured(t *testing.T) {
	for name, c := range readReference(t).Captures {
		v := referenceVolts(t, name)
		tr := &capture.Trace{File: name, Volts: v, SampleRateHz: c.RateHz, TrueRateHz: c.RateHz, Coupling: capture.CouplingDC,
			Calibrated: true, Span: capture.Span{LowHz: 4 * c.RateHz / float64(len(v)), HighHz: 0.4 * c.RateHz}}
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		checkFinite(t, m)
		within(t, name+" DC", m.DCV, c.DCV, 1e-5)
		within(t, name+" rms", m.ACRMSV, c.ACRMSV, 1e-4)
		within(t, name+" switching", m.SwitchingHz, c.NetlistHz, 1e-3)
		within(t, name+" fundamental", m.SwitchingFundamentalRMSV, c.FundamentalRMS, 0.01)
		if !strings.HasPrefix(name, "flyback") {
			// numpy's folded cycle, and the closed form where the ripple is a buck's
			within(t, name+" ripple against numpy", m.RipplePPV, c.CyclePPV, 0.02)
			if c.ClosedFormPPV > 0 {
				within(t, name+" ripple against the closed form", m.RipplePPV, c.ClosedFormPPV, 0.05)
			}
			continue
		}
		// the leakage ring: the netlist's parasitics
		within(t, name+" ring", m.Spikes.RingHz, c.NetlistRingHz, 0.03)
		within(t, name+" Q", m.Spikes.RingQ, c.NetlistRingQ, 0.15)
		if m.RipplePPV.Known && math.Abs(m.RipplePPV.Value) > c.PPV {
			t.Errorf("%s: ripple without spikes %g V, more than the whole %g V", name, m.RipplePPV.Value, c.PPV)
		}
	}
}
