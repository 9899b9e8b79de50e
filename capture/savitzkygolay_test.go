package capture

import (
	"math"
	"testing"
)

// The weights of Savitzky and Golay (Analytical Chemistry 36, 1964, tables I and II, and
// scipy.signal.savgol_coeffs).
func TestSavitzkyGolayWeights(t *testing.T) {
	for _, c := range []struct {
		quartic bool
		norm    float64
		want    []float64 // from the middle on
	}{
		{false, 35, []float64{17, 12, -3}},
		{false, 21, []float64{7, 6, 3, -2}},
		{false, 429, []float64{89, 84, 69, 44, 9, -36}},
		{true, 231, []float64{131, 75, -30, 5}},
		{true, 429, []float64{179, 135, 30, -55, 15}},
	} {
		for j, want := range c.want {
			if got := savitzkyGolay(len(c.want)-1, j, c.quartic); math.Abs(got-want/c.norm) > 1e-12 {
				t.Errorf("%d samples, quartic %v, %d off the middle: %g, want %g", 2*len(c.want)-1, c.quartic, j, got, want/c.norm)
			}
		}
	}
}

// fitted gives a record smoothed by polynomials over 2m+1 samples, to a 32nd of a 2 mV
// step.
func fitted(x []float64, m int, quartic bool) []float64 {
	y := make([]float64, len(x)-2*m)
	for i := range y {
		for j := -m; j <= m; j++ {
			y[i] += savitzkyGolay(m, max(j, -j), quartic) * x[i+m+j]
		}
		y[i] = math.Round(y[i]*16e3) / 16e3
	}
	return y
}

// A record smoothed by Savitzky and Golay's filter ends at its corner, by scipy's freqz of
// savgol_coeffs (shares of the rate); peaks are doubted.
func TestSavitzkyGolaySmoothing(t *testing.T) {
	for _, n := range []int{4096, 16384 + 100} {
		for _, c := range []struct {
			m       int
			quartic bool
			corner  float64
		}{{3, false, 0.1600}, {5, false, 0.0986}, {7, false, 0.0717}, {10, false, 0.0509}, {15, false, 0.0344}, {5, true, 0.1617}, {7, true, 0.1157}, {10, true, 0.0816}} {
			if n < 16384 && c.m > 10 {
				continue // too few bins between its nulls
			}
			for seed := range uint64(3) {
				tr := &Trace{Volts: fitted(converter(n, seed), c.m, c.quartic), SampleRateHz: 1e8, TrueRateHz: 1e8, Span: Span{1e5, 4e7}}
				tr.findMovingMean(tr.findUpsampling())
				if a := tr.Acquisition; math.Abs(tr.Span.HighHz/1e8/c.corner-1) > 0.01 || a.CornerHz != tr.Span.HighHz || a.Mode != AcquisitionEnhanced {
					t.Errorf("%d samples, quartic %v, of %d: span to %g Hz, want %g; %+v", 2*c.m+1, c.quartic, n, tr.Span.HighHz, c.corner*1e8, a)
				}
				if len(tr.Cautions) != 1 || tr.Cautions[0].Code != CautionMovingMean {
					t.Errorf("%d samples, quartic %v, of %d: %v", 2*c.m+1, c.quartic, n, tr.Cautions)
				}
			}
		}
	}
}
