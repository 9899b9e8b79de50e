package analysis

import (
	"context"
	"math"
	"slices"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// The spikes of the simulated flybacks against find_peaks (by prominence over a
// running median), their rings against the phase and envelope of hilbert, on the
// same files.
func TestFlybackAgainstScipyPeaksAndHilbert(t *testing.T) {
	compared := 0
	for name, c := range reference.Read(t).Captures {
		if c.SpikeCount == 0 {
			continue
		}
		compared++
		v := reference.Volts(t, name)
		m, err := Measure(context.Background(), &capture.Trace{File: name, Volts: v, SampleRateHz: c.RateHz, TrueRateHz: c.RateHz,
			Coupling: capture.CouplingDC, Calibrated: true, Span: capture.Span{LowHz: 4 * c.RateHz / float64(len(v)), HighHz: 0.4 * c.RateHz}}, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		// those of a tenth of the largest and more, as there; a simulation without
		// noise shows far smaller ones
		var peaks []float64
		for _, s := range m.Spikes.List {
			if math.Abs(s.PeakV) > 0.1*m.Spikes.PeakMaxV.Value {
				peaks = append(peaks, math.Abs(s.PeakV))
			}
		}
		// the record's ends may cut one
		if d := len(peaks) - c.SpikeCount; d < -1 || d > 1 {
			t.Errorf("%s: %d spikes, find_peaks %d", name, len(peaks), c.SpikeCount)
		}
		// against the local ripple here, against the running median there
		slices.Sort(peaks)
		within(t, name+" spike peak", figure.Known(capture.Quantile(peaks, 0.5)), c.SpikePeakV, 0.1)
		within(t, name+" ring", m.Spikes.RingHz, c.RingHz, 0.03)
		within(t, name+" Q", m.Spikes.RingQ, c.RingQ, 0.15)
	}
	if compared < 2 {
		t.Errorf("%d captures compared", compared)
	}
}
