package spectrum

import (
	algofft "github.com/MeKo-Christian/algo-fft"
	"gonum.org/v1/gonum/dsp/fourier"
)

// Transform is the discrete Fourier transform of real sequences of one length,
// with its work space; not for use by two goroutines at once.
//
// Powers of two, which the blocks of a long record have, go to the library that is
// about three times as fast, longer ones in pieces, any other length to gonum's.
type Transform struct {
	n       int
	fast    *algofft.PlanRealT[float64, complex128]
	long    *fourStep
	general *fourier.FFT
}

// NewTransform prepares for sequences of n samples, n > 0.
func NewTransform(n int) *Transform {
	t := &Transform{n: n}
	if packs(n) { // shorter ones take no time; for longer ones the preparation does
		if plan, err := algofft.NewPlanReal64(n); err == nil {
			t.fast = plan
			return t
		}
	}
	if fourSteps(n) {
		t.long = newFourStep(n)
		return t
	}
	t.general = fourier.NewFFT(n)
	return t
}

// Len is the sequences' length.
func (t *Transform) Len() int { return t.n }

// Coefficients puts the terms 0 to n/2 of x into dst of n/2+1 elements, not
// scaled. It panics where a length is another one.
func (t *Transform) Coefficients(dst []complex128, x []float64) {
	switch {
	case t.fast != nil:
		must(t.fast.Forward(dst, x))
	case t.long != nil:
		t.long.coefficients(dst, x)
	default:
		t.general.Coefficients(dst, x)
	}
}

// Sequence puts into dst the n samples whose coefficients are c, so that it
// undoes Coefficients; the first and, for even n, the last one count as real. c
// is changed. It panics where a length is another one.
func (t *Transform) Sequence(dst []float64, c []complex128) {
	c[0] = complex(real(c[0]), 0)
	if t.n%2 == 0 {
		c[t.n/2] = complex(real(c[t.n/2]), 0)
	}
	switch {
	case t.fast != nil:
		must(t.fast.Inverse(dst, c))
	case t.long != nil:
		t.long.sequence(dst, c)
	default:
		t.general.Sequence(dst, c)
		for i := range dst {
			dst[i] /= float64(t.n)
		}
	}
}
