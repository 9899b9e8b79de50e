package spectrum

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis/internal/reference"
)

// Powers and filtered blocks of packed samples against gonum's transform of the
// samples as they are.
func TestPackedAgainstPlainTransform(t *testing.T) {
	for n := fastLeast; n <= fastMost; n *= 2 {
		x, r := reference.WhiteNoise(n, 1, uint64(n)), reference.WhiteNoise(n+2, 1, 7)
		fft := fourier.NewFFT(n)
		want := fft.Coefficients(nil, x)

		p := newPacked(n)
		power := make([]float64, n/2+1)
		p.addPowers(power, x, 0, slices.Repeat([]float64{1}, n))
		for k, c := range want {
			if w := real(c)*real(c) + imag(c)*imag(c); math.Abs(power[k]-w) > 1e-12*float64(n) {
				t.Fatalf("%d samples, term %d: power %g, want %g", n, k, power[k], w)
			}
		}

		response := make([]complex128, n/2+1)
		for k := range response {
			response[k] = complex(r[2*k], r[2*k+1])
			h := response[k]
			if k == 0 || k == n/2 {
				h = complex(real(h), 0)
			}
			want[k] *= h
		}
		y := append([]float64(nil), x...)
		NewFilter(response).Run(y, y, 0)
		for i, v := range fft.Sequence(nil, want) {
			if v /= float64(n); math.Abs(y[i]-v) > 1e-12 {
				t.Fatalf("%d samples, number %d: filtered %g, want %g", n, i, y[i], v)
			}
		}
	}
}

func BenchmarkFilter(b *testing.B) {
	const n = 512
	x, h := reference.WhiteNoise(n, 1, 1), make([]complex128, n/2+1)
	for k := range h {
		h[k] = 1 / complex(1, float64(k)/500)
	}
	f := NewFilter(h)
	for b.Loop() {
		f.Run(x, x, 0)
	}
}
