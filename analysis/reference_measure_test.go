package analysis

import (
	"context"
	"math"
	"strings"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// Converters simulated by ngspice (netlists and figures in testdata/reference,
// computed from the same samples by numpy and scipy, or from the netlist).
func TestConvertersMeasured(t *testing.T) {
	for name, c := range reference.Read(t).Captures {
		v := reference.Volts(t, name)
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

// ngspice converters: the switching frequency is the netlist's within 0.1 %, the
// fundamental's rms numpy's within 0.5 %.
func TestConvertersSwitchingLine(t *testing.T) {
	for name, c := range reference.Read(t).Captures {
		v := reference.Volts(t, name)
		if len(v) != c.Samples {
			t.Fatalf("%s: %d samples, want %d", name, len(v), c.Samples)
		}
		m, err := spectrum.Of(context.Background(), spectrum.Samples(v), c.RateHz, spectrum.Options{Keep: true})
		if err != nil {
			t.Fatal(err)
		}
		lines, err := spectrum.FindLines(context.Background(), spectrum.Samples(v), c.RateHz, m, spectrum.LineOptions{})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, l := range lines {
			if math.Abs(l.FrequencyHz/c.NetlistHz-1) < 1e-3 && math.Abs(l.RMSV/c.FundamentalRMS-1) < 0.005 {
				found = true
				t.Logf("%s: %.1f ppm from the netlist, numpy's fit %.1f ppm", name, 1e6*(l.FrequencyHz/c.NetlistHz-1), 1e6*(c.SwitchingHz/c.NetlistHz-1))
			}
		}
		if !found {
			t.Errorf("%s: the switching line is not among the %d lines: %+v", name, len(lines), lines[:min(len(lines), 4)])
		}
	}
}
