package spectrum

import (
	"math"
	"testing"
)

// Figures of merit of periodic windows computed with scipy 1.10 (closed form:
// CG = a0, NENBW = 1 + sum ak²/(2 a0²)); Harris 1978 and Heinzel, Ruediger and
// Schilling 2002 give 1.50 and 2.00 bins, scalloping 1.42 and 0.83 dB (from
// memory).
func TestTaperFigures(t *testing.T) {
	for _, c := range []struct {
		kind               windowKind
		cg, nenbw, scallop float64
	}{{windowHann, 0.5, 1.5, -1.4236}, {windowBlackmanHarris, 0.35875, 2.004353, -0.8256}} {
		w := newTaper(c.kind, 4096)
		if math.Abs(w.CG-c.cg) > 1e-9 || math.Abs(w.NENBW-c.nenbw) > 1e-6 {
			t.Errorf("window %d: CG %.9f, NENBW %.6f; want %g, %g", c.kind, w.CG, w.NENBW, c.cg, c.nenbw)
		}
		if got := 20 * math.Log10(w.response(0.5)); math.Abs(got-c.scallop) > 1e-3 {
			t.Errorf("window %d: scalloping %.4f dB, want %.4f", c.kind, got, c.scallop)
		}
		// the closed form against the transform itself
		for _, d := range []float64{0.13, 0.5, 1.7, 3.2} {
			re, im := 0.0, 0.0
			for i, v := range w.W {
				s, co := math.Sincos(2 * math.Pi * d * float64(i) / float64(len(w.W)))
				re, im = re+v*co, im+v*s
			}
			want := math.Hypot(re, im) / (w.CG * float64(len(w.W)))
			if got := math.Abs(w.response(d)); math.Abs(got-want) > 1e-6 {
				t.Errorf("window %d at %g bins: %.8f, want %.8f", c.kind, d, got, want)
			}
		}
	}
	// the ratio of two neighbouring bins, the limit at 0 among them, and that it grows
	for _, kind := range []windowKind{windowHann, windowBlackmanHarris} {
		w, last := newTaper(kind, 64), 0.0
		for d := -0.1; d < 0.7; d += 0.01 {
			want := w.response(1-d) / w.response(d)
			if got := w.beside(d); math.Abs(got-want) > 1e-8 || got <= last {
				t.Errorf("window %d at %g bins: ratio %.12f, want %.12f, more than %g", kind, d, got, want, last)
			}
			last = w.beside(d)
		}
		if got, want := w.beside(0), w.response(1); math.Abs(got-want) > 1e-12 {
			t.Errorf("window %d: ratio %g at a bin's centre, want %g", kind, got, want)
		}
	}
	for n := 1; n <= 200; n++ {
		if w := newTaper(windowHann, n); len(w.W) != n || !(w.CG > 0) {
			t.Errorf("length %d: %d points, gain %g", n, len(w.W), w.CG)
		}
	}
}
