package analysis

import (
	"context"
	"math"
	"sort"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// The running median is scipy.signal.medfilt's where both have all their places;
// scipy fills up with zeros beyond the ends, ours goes round the cycle.
func TestRunningMedianAgainstScipy(t *testing.T) {
	x := portableNoise(60, 3)
	want := readReference(t).Functions.Medfilt7
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

// The floor under the lines against welch's density through scipy's medfilt, in
// third octaves: within 0.6 dB, the scatter of two medians over some thirty bins.
func TestFloorAgainstScipyMedfilt(t *testing.T) {
	ref := readReference(t).Spectra
	x := sliceSource(referenceRecord(ref.Samples, ref.RateHz))
	m, lines := linesOf(t, x, ref.RateHz)
	nf, err := measureNoiseFloor(context.Background(), nil, x, ref.RateHz, noiseOptions{Plain: &m, Lines: lines,
		Span: capture.Span{LowHz: 4 * ref.RateHz / float64(ref.Samples), HighHz: 0.4 * ref.RateHz}})
	if err != nil {
		t.Fatal(err)
	}
	if len(ref.Medfilt) < 10 {
		t.Fatalf("%d third octaves in the reference", len(ref.Medfilt))
	}
	for _, r := range ref.Medfilt {
		got, ok := nf.at(r[0])
		if !ok {
			t.Errorf("no third octave at %g Hz", r[0])
			continue
		}
		if d := dB(got * got / (r[1] * r[1])); math.Abs(d) > 0.6 {
			t.Errorf("%.0f Hz: %.2f dB from scipy", r[0], d)
		}
	}
}

// Halving the rate against scipy.signal.decimate: a slow cosine passes, one above
// the new half rate does not. Our outputs are centred on input 27 + 2k, so the
// series begins a sample earlier and output k is scipy's 13 + k.
func TestHalvingAgainstScipyDecimate(t *testing.T) {
	want := readReference(t).Functions.DecimateMiddle
	if len(want) != 10 {
		t.Fatalf("%d values", len(want))
	}
	x := make([]float64, 2000)
	for i := range x {
		n := float64(i - 1)
		x[i] = math.Cos(2*math.Pi*0.01*n) + 0.3*math.Cos(2*math.Pi*0.31*n)
	}
	got := newHalver().push(nil, x)
	for i, w := range want {
		k := 400 + 20*i - (halfBandReach-1)/2
		// scipy's 41 taps let 0.0023 pass of what lies above, and ripple as much
		if math.Abs(got[k]-w) > 5e-3 {
			t.Errorf("output %d: %.5f, scipy %.5f", 400+20*i, got[k], w)
		}
	}
}

// The multirate spectrum, stages of halved rates, against welch behind three of
// scipy's decimations, up to where both filters are flat.
func TestSpectrumAgainstScipyDecimate(t *testing.T) {
	ref := readReference(t).Spectra
	x := referenceRecord(ref.Samples, ref.RateHz)
	m, err := spectrumOf(context.Background(), sliceSource(x), ref.RateHz, spectrumOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if len(ref.Decim) < 20 {
		t.Fatalf("%d sixth octaves in the reference", len(ref.Decim))
	}
	for _, r := range ref.Decim {
		tol := 0.2 + 4.34*1.2/math.Sqrt((r[1]-r[0])*float64(ref.Samples)/ref.RateHz)
		if d := dB(m.power(r[0], r[1]) / (r[1] - r[0]) / r[2]); math.Abs(d) > tol {
			t.Errorf("%.0f to %.0f Hz: %.2f dB from scipy, allowed %.2f", r[0], r[1], d, tol)
		}
	}
}

// A damped cosine's envelope, exp(-3t): the fitted ring's amplitude against the
// magnitude of scipy.signal.hilbert in the middle of the record, where that has
// no ends to feel.
func TestRingAgainstScipyHilbert(t *testing.T) {
	want := readReference(t).Functions.HilbertEnvelope
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
	for name, c := range readReference(t).Captures {
		if c.SpikeCount == 0 {
			continue
		}
		compared++
		v := referenceVolts(t, name)
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
