package analysis

import (
	"context"
	"math"
	"sort"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// The running median is scipy.signal.medfilt's where both have all their places;
// scipy fills up with zeros beyond the ends, ours goes round the cycle.
func TestRunningMedianAgainstScipy(t *testing.T) {
	x := reference.PortableNoise(60, 3)
	want := reference.Read(t).Functions.Medfilt7
	if len(want) != len(x) {
		t.Fatalf("%d values, want %d", len(want), len(x))
	}
	got := runningMedian(x, 3)
	for i := 3; i < len(x)-3; i++ {
		if math.Abs(got[i]-want[i]) > 1e-12 {
			t.Errorf("place %d: %.12g, scipy %.12g", i, got[i], want[i])
		}
	}
}

// A damped cosine's envelope, exp(-3t): the fitted ring's amplitude against the
// magnitude of scipy.signal.hilbert in the middle of the record, where that has
// no ends to feel.
func TestRingAgainstScipyHilbert(t *testing.T) {
	want := reference.Read(t).Functions.HilbertEnvelope
	if len(want) != 10 {
		t.Fatalf("%d values", len(want))
	}
	y := make([]float64, 400)
	for i := range y {
		s := float64(i) / 400
		y[i] = math.Exp(-3*s) * math.Cos(2*math.Pi*25*s)
	}
	r, ok := fitRing(y, 0, 1.0/400)
	if !ok {
		t.Fatal("no ring fitted")
	}
	for i, w := range want {
		if s := float64(100+20*i) / 400; math.Abs(r.amplitude(s)/w-1) > 0.01 {
			t.Errorf("at %g s: %.5f, scipy %.5f", s, r.amplitude(s), w)
		}
	}
}

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
		sort.Float64s(peaks)
		within(t, name+" spike peak", figure.Known(quantileOf(peaks, 0.5)), c.SpikePeakV, 0.1)
		within(t, name+" ring", m.Spikes.RingHz, c.RingHz, 0.03)
		within(t, name+" Q", m.Spikes.RingQ, c.RingQ, 0.15)
	}
	if compared < 2 {
		t.Errorf("%d captures compared", compared)
	}
}
