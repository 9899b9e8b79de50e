package capture

import (
	"errors"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// SineFit is the sine that lies closest to a record in the least-squares
// sense: offset + amplitude·cos(2π·frequency·t + phase), t from the first
// sample.
type SineFit struct {
	FrequencyHz float64 // above zero, below half the sample rate
	Amplitude   float64 // peak, in the record's unit, not negative
	PhaseRad    float64 // -π to π, of the cosine at the first sample
	Offset      float64 // in the record's unit
	ResidualRMS float64 // what the sine leaves, rms, in the record's unit
}

// Limits of the fit.
const (
	sineMaxRounds = 60
	sineMinCycles = 3
	sineMaxFFT    = 1 << 18
)

// FitSine fits a sine of unknown frequency to x, sampled at rateHz, by the
// four-parameter least-squares method of IEEE Std 1057 (from memory: linear
// least squares for cosine, sine and offset, with the frequency's derivative
// as a fourth column, repeated until the frequency stands still).
// guessHz is where to begin, 0 to take the strongest line of the spectrum.
// It fails on fewer than 64 samples, on less than three cycles, on a record
// that is constant or not finite, and where the frequency does not settle.
func FitSine(x []float64, rateHz, guessHz float64) (SineFit, error) {
	if len(x) < 64 {
		return SineFit{}, errors.New("fewer than 64 samples, too short for a sine fit")
	}
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return SineFit{}, errors.New("a sample that is not a finite number")
		}
	}
	n := len(x)
	w := 2 * math.Pi * guessHz / rateHz // radians per sample
	if guessHz <= 0 {
		w = strongestLine(x[:min(n, sineMaxFFT)])
	}
	w, a, b, c, err := sineRounds(x, w)
	if err != nil {
		return SineFit{}, err
	}
	if w*float64(n) < 2*math.Pi*sineMinCycles {
		return SineFit{}, errors.New("fewer than three cycles of the sine in the record")
	}
	f := SineFit{FrequencyHz: w * rateHz / (2 * math.Pi), Amplitude: math.Hypot(a, b), Offset: c}
	if f.Amplitude == 0 {
		return SineFit{}, errNoSine
	}
	// a·cos + b·sin = amplitude·cos(wt - atan2(b, a)), brought to sample 0.
	mid := float64(n-1) / 2
	f.PhaseRad = math.Remainder(-math.Atan2(b, a)-w*mid, 2*math.Pi)
	sum := 0.0
	for i, v := range x {
		s, q := math.Sincos(w * (float64(i) - mid))
		d := v - a*q - b*s - c
		sum += d * d
	}
	f.ResidualRMS = math.Sqrt(sum / float64(n))
	return f, nil
}

var errNoSine = errors.New("no sine stands out from the record")

// sineRounds improves the frequency w, in radians per sample, until it settles. A
// long record locks onto a frequency only from nearby: it begins with its middle
// and lets the part grow.
func sineRounds(x []float64, w float64) (_, a, b, c float64, err error) {
	if w <= 0 || w >= math.Pi {
		return 0, 0, 0, 0, errNoSine
	}
	n := len(x)
	mid := float64(n-1) / 2 // centred time keeps the frequency's column apart from the sine's
	settled := false
	for part := min(n, 4096); ; part = min(n, 4*part) {
		lo := (n - part) / 2
		settled = false
		for range sineMaxRounds {
			var dw float64
			var ok bool
			a, b, c, dw, ok = sineStep(x[lo:lo+part], float64(lo)-mid, w, a, b)
			w += dw
			if !ok || w <= 0 || w >= math.Pi {
				return 0, 0, 0, 0, errNoSine
			}
			if math.Abs(dw)*float64(part) < 1e-9 {
				settled = true
				break
			}
		}
		if part == n {
			break
		}
	}
	if !settled {
		return 0, 0, 0, 0, errors.New("the frequency of the sine does not settle")
	}
	return w, a, b, c, nil
}

// sineStep is one round: least squares for cosine a, sine b, offset c and the
// change of the frequency, given a and b of the round before.
func sineStep(x []float64, t0, w, a, b float64) (na, nb, nc, dw float64, ok bool) {
	var m [4][4]float64
	var y [4]float64
	first := a == 0 && b == 0
	k := 4
	if first {
		k = 3
	}
	scale := 2 / float64(len(x)) // the fourth column grows with time
	for i, v := range x {
		t := t0 + float64(i)
		s, q := math.Sincos(w * t)
		r := [4]float64{q, s, 1, t * scale * (b*q - a*s)}
		for j := range k {
			for l := range j + 1 {
				m[j][l] += r[j] * r[l]
			}
			y[j] += r[j] * v
		}
	}
	sym := mat.NewDense(k, k, nil)
	for j := range k {
		for l := range j + 1 {
			sym.Set(j, l, m[j][l])
			sym.Set(l, j, m[j][l])
		}
	}
	var out mat.VecDense
	if err := out.SolveVec(sym, mat.NewVecDense(k, y[:k])); err != nil {
		return 0, 0, 0, 0, false
	}
	na, nb, nc = out.AtVec(0), out.AtVec(1), out.AtVec(2)
	if first {
		dw = 1 // ask for another round
		_, _, _, dw, ok = sineStep(x, t0, w, na, nb)
		return na, nb, nc, dw, ok
	}
	return na, nb, nc, out.AtVec(3) * scale, true
}

// strongestLine gives the frequency of the strongest spectral line in radians
// per sample, refined by a parabola through the logarithms of a Hann-windowed
// spectrum.
func strongestLine(x []float64) float64 {
	n := 1
	for n*2 <= len(x) {
		n *= 2
	}
	mean := 0.0
	for _, v := range x[:n] {
		mean += v
	}
	mean /= float64(n)
	y := make([]float64, n)
	for i := range y {
		y[i] = (x[i] - mean) * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n)))
	}
	c := fourier.NewFFT(n).Coefficients(nil, y)
	best := 1
	for i := 2; i < len(c)-1; i++ {
		if cmplx.Abs(c[i]) > cmplx.Abs(c[best]) {
			best = i
		}
	}
	if cmplx.Abs(c[best]) == 0 {
		return 0
	}
	d := 0.0
	if best > 1 {
		l, m, r := math.Log(cmplx.Abs(c[best-1])+1e-300), math.Log(cmplx.Abs(c[best])), math.Log(cmplx.Abs(c[best+1])+1e-300)
		if q := l - 2*m + r; q < 0 {
			d = 0.5 * (l - r) / q
		}
	}
	return 2 * math.Pi * (float64(best) + d) / float64(n)
}
