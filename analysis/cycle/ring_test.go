package cycle

import (
	"math"
	"testing"
)

// Log decrement, closed form (check: zeta 0.1 is Q 5, delta 0.631484, fd/f0
// 0.994987; public articles on the logarithmic decrement).
func TestRingClosedForm(t *testing.T) {
	for _, zeta := range []float64{0.02, 0.05, 0.1, 0.2} {
		q := 1 / (2 * zeta)
		const f0 = 8e6
		fd := f0 * math.Sqrt(1-zeta*zeta)
		alpha := 2 * math.Pi * f0 * zeta
		y := make([]float64, 400)
		for i := range y {
			x := float64(i) * 2.5e-9
			y[i] = 0.1*math.Exp(-alpha*x)*math.Sin(2*math.Pi*fd*x+0.4) + 0.02 - 3e4*x
		}
		r, ok := fitRing(y, 0, 2.5e-9, new(ringWork))
		if !ok || math.Abs(r.Hz/fd-1) > 1e-3 || math.Abs(r.Q()/q-1) > 0.01 {
			t.Errorf("zeta %g: %v, %g Hz Q %g; want %g Hz Q %g", zeta, ok, r.Hz, r.Q(), fd, q)
		}
	}
	r := Ring{Hz: 1, alpha: 0.631484}
	if math.Abs(r.Q()-5) > 1e-4 {
		t.Errorf("delta 0.631484 gives Q %g, want 5", r.Q())
	}
}
