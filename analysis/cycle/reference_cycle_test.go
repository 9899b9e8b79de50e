package cycle

import (
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
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
	r, ok := fitRing(y, 0, 1.0/400, new(ringWork))
	if !ok {
		t.Fatal("no ring fitted")
	}
	for i, w := range want {
		if s := float64(100+20*i) / 400; math.Abs(r.amplitude(s)/w-1) > 0.01 {
			t.Errorf("at %g s: %.5f, scipy %.5f", s, r.amplitude(s), w)
		}
	}
}
