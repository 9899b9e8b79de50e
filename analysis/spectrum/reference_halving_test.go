package spectrum

import (
	"context"
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// The floor under the lines against welch's density through scipy's medfilt, in
// third octaves: within 0.6 dB, the scatter of two medians over some thirty bins.
func TestFloorAgainstScipyMedfilt(t *testing.T) {
	ref := reference.Read(t).Spectra
	x := Samples(referenceRecord(ref.Samples, ref.RateHz))
	m, lines := linesOf(t, x, ref.RateHz)
	nf := MeasureNoiseFloor(&m, &m, NoiseOptions{Lines: lines,
		Span: capture.Span{LowHz: 4 * ref.RateHz / float64(ref.Samples), HighHz: 0.4 * ref.RateHz}})
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
// the new half rate does not. Our outputs are centred on input 23 + 2k, so the
// series begins a sample earlier and output k is scipy's 11 + k.
func TestHalvingAgainstScipyDecimate(t *testing.T) {
	want := reference.Read(t).Functions.DecimateMiddle
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
	ref := reference.Read(t).Spectra
	x := referenceRecord(ref.Samples, ref.RateHz)
	m, err := Of(context.Background(), Samples(x), ref.RateHz, Options{})
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
