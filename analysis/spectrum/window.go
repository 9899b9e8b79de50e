package spectrum

import (
	"math"

	"github.com/mjibson/go-dsp/window"
)

// taper is a periodic window with its figures of merit (Harris 1978; Heinzel,
// Ruediger and Schilling 2002).
type taper struct {
	W      []float64
	CG     float64   // coherent gain: mean of W
	NENBW  float64   // normalised equivalent noise bandwidth, bins
	cosine []float64 // cosine-sum coefficients a0, a1, ..., without their alternating signs
}

// windowKind names the tapers used here.
type windowKind int

const (
	windowHann           windowKind = iota
	windowBlackmanHarris            // four terms, sidelobes at -92 dB
)

// blackmanHarris are the cosine coefficients of the 4-term window (Harris 1978).
var blackmanHarris = []float64{0.35875, 0.48829, 0.14128, 0.01168}

// newTaper makes the periodic window of n points, n > 0. The library's window
// is symmetric: n+1 points without the last one are the periodic form.
func newTaper(kind windowKind, n int) taper {
	var t taper
	switch kind {
	case windowBlackmanHarris:
		t.W = cosineSum(blackmanHarris, n)
		t.cosine = blackmanHarris
	default:
		t.W = window.Hann(n + 1)[:n]
		t.cosine = []float64{0.5, 0.5}
	}
	sum, sq := 0.0, 0.0
	for _, w := range t.W {
		sum += w
		sq += w * w
	}
	if sum == 0 { // n == 1: every taper starts at zero
		t.W[0], sum, sq = 1, 1, 1
	}
	t.CG = sum / float64(n)
	t.NENBW = float64(n) * sq / (sum * sum)
	return t
}

// cosineSum is the periodic window of four cosines, a0 - a1·cos x + a2·cos 2x - a3·cos 3x,
// over n points of one turn. The tapers of the search for lines are so long that halves
// are mirrored, and that cosines are made of those of a coarse and of a fine angle.
func cosineSum(a []float64, n int) []float64 {
	const fine = 256
	var sines, cosines [fine]float64
	angle := 2 * math.Pi / float64(n)
	for i := range min(fine, n/2+1) {
		sines[i], cosines[i] = math.Sincos(angle * float64(i))
	}
	w := make([]float64, n+1) // the first point comes again behind the last
	for from := 0; from <= n/2; from += fine {
		sin, cos := math.Sincos(angle * float64(from))
		for i := range min(fine, n/2+1-from) {
			c := cos*cosines[i] - sin*sines[i]
			double := 2*c*c - 1
			triple := c * (2*double - 1)
			v := a[0] - a[1]*c + a[2]*double - a[3]*triple
			w[from+i], w[n-from-i] = v, v
		}
	}
	return w[:n]
}

// response is the taper's spectrum d bins from its centre, relative to the
// centre, for a long window. It is real (the linear phase is left out) and
// valid for cosine sums only.
//
// A cosine sum's transform is a sum of sinc kernels shifted by m bins, all of one
// sign once the delay of half a window is taken out.
func (t taper) response(d float64) float64 {
	kernel := func(x float64) float64 {
		if math.Abs(x) < 1e-9 {
			return 1
		}
		return math.Sin(math.Pi*x) / (math.Pi * x)
	}
	r := t.cosine[0] * kernel(d)
	for m := 1; m < len(t.cosine); m++ {
		r += t.cosine[m] / 2 * (kernel(d-float64(m)) + kernel(d+float64(m)))
	}
	return r / t.cosine[0]
}

// beside is response(1-d)/response(d), which grows with d from -0.1 to 0.7.
//
// Sines of angles a half turn apart are equal but for their sign, so that the sum of
// kernels is sin(πd)/πd times a0 + Σ (-1)^m·am·d²/(d²-m²); the zero that it shares with
// the kernel at d = 1 is divided out.
func (t taper) beside(d float64) float64 {
	own, other, e := t.cosine[0], t.cosine[0]*d, 1-d
	for m := 1; m < len(t.cosine); m++ {
		a, at := t.cosine[m], float64(m)
		if m%2 == 1 {
			a = -a
		}
		own += a * d * d / (d*d - at*at)
		if m == 1 {
			other -= a * e * e / (1 + e) // d over e² - 1 is -1/(1+e)
		} else {
			other += a * d * e * e / (e*e - at*at)
		}
	}
	return other / (e * own)
}
