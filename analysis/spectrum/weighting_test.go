package spectrum

import (
	"math"
	"math/cmplx"
	"testing"
)

// The nominal table of IEC 61672-1 as a public secondary page prints it, at the
// exact frequencies 10^(n/10).
func TestAWeightingTable(t *testing.T) {
	want := []float64{-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3}
	if len(want) != 34 {
		t.Fatal("34 rows")
	}
	for i, w := range want {
		f := math.Pow(10, float64(i+10)/10)
		if got := 20 * math.Log10(AWeight(f)); math.Abs(got-w) > 0.051 {
			t.Errorf("%.1f Hz: %.3f dB, table %.1f", f, got, w)
		}
	}
}

// The table of Recommendation ITU-R BS.468-4 as a public program prints it.
func Test468Table(t *testing.T) {
	for f, w := range map[float64]float64{
		31.5: -29.9, 63: -23.9, 100: -19.8, 200: -13.8, 400: -7.8, 800: -1.9, 1000: 0,
		2000: 5.6, 3150: 9.0, 4000: 10.5, 5000: 11.7, 6300: 12.2, 7100: 12.0, 8000: 11.4,
		9000: 10.1, 10000: 8.1, 12500: 0, 14000: -5.3, 16000: -11.7, 20000: -22.2, 31500: -42.7,
	} {
		if got := 20 * math.Log10(cmplx.Abs(response468(f))); math.Abs(got-w) > 0.05 {
			t.Errorf("%g Hz: %.3f dB, table %.1f", f, got, w)
		}
	}
}
