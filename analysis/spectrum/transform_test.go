package spectrum

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"github.com/mjibson/go-dsp/fft"
	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis/internal/reference"
	"stillglow/capture/synth/testrun"
)

// Every length that a record's blocks may have, against gonum's transform and
// go-dsp's, neither of which knows the fast one.
func TestTransformAgainstOtherLibraries(t *testing.T) {
	lengths := []int{2, 3, 8, 30, 63, 64, 65, 96, 128, 250, 256, 512, 1000, 1024, 2048, 4050, 4096, 8192, 16384, 32768, 9600, 61440, 128 * 135, maxLineFFT}
	if testrun.Full() {
		lengths = append(lengths, 65536, 128000, 124416, 122880, 128*1215)
	}
	for _, n := range lengths {
		x := reference.WhiteNoise(n, 1, uint64(n))
		got := make([]complex128, n/2+1)
		tr := NewTransform(n)
		tr.Coefficients(got, x)
		sum, power := newPowers(n), make([]float64, n/2+1)
		flat, raised := slices.Repeat([]float64{2}, n), make([]float64, n) // a taper and an offset that undo each other's
		for i, v := range x {
			raised[i] = v/2 + 3
		}
		sum.add(power, raised, 3, flat)
		want := fourier.NewFFT(n).Coefficients(nil, x)
		second := fft.FFTReal(x)
		scale := math.Sqrt(float64(n))
		for k := range got {
			near := 1e-13 * scale * math.Log2(float64(n)+1)
			if cmplx.Abs(got[k]-want[k]) > near {
				t.Fatalf("%d samples, term %d: %v, gonum has %v", n, k, got[k], want[k])
			}
			if c := sum.term(k); cmplx.Abs(c-want[k]) > near {
				t.Fatalf("%d samples, term %d of a piece: %v, gonum has %v", n, k, c, want[k])
			}
			if p := cmplx.Abs(want[k]) * cmplx.Abs(want[k]); math.Abs(power[k]-p) > near*scale {
				t.Fatalf("%d samples, term %d: power %g, want %g", n, k, power[k], p)
			}
			if cmplx.Abs(got[k]-second[k]) > 1e-10*scale {
				t.Fatalf("%d samples, term %d: %v, go-dsp has %v", n, k, got[k], second[k])
			}
		}
		back := make([]float64, n)
		tr.Sequence(back, got)
		for i := range back {
			if math.Abs(back[i]-x[i]) > 1e-13*math.Log2(float64(n)+1) {
				t.Fatalf("%d samples: number %d came back as %v, was %v", n, i, back[i], x[i])
			}
		}
	}
}

// FastLen gives lengths that can be transformed fast, and cuts off little.
func TestFastLen(t *testing.T) {
	for n := 1; n < 1<<19; n += 1 + n/50 {
		got := FastLen(n)
		if got > n || SmoothLen(got) != got || float64(got) < 0.97*float64(SmoothLen(n)) {
			t.Errorf("of %d samples %d are transformed; %d have no prime factor over 5", n, got, SmoothLen(n))
		}
		if over := FastLenOver(n); over != 0 && (over < n || SmoothLen(over) != over || float64(n) < 0.97*float64(over)) {
			t.Errorf("not under %d samples %d are transformed", n, over)
		}
	}
	for n, want := range map[int]int{100: 100, 125_000: 128 * 960, 62_500: 128 * 480, 1 << 18: 1 << 18} {
		if got := FastLen(n); got != want {
			t.Errorf("of %d samples %d are transformed, want %d", n, got, want)
		}
	}
}

func BenchmarkTransform(b *testing.B) {
	const n = 4096
	x, c := reference.WhiteNoise(n, 1, 1), make([]complex128, n/2+1)
	tr, ref := NewTransform(n), fourier.NewFFT(n)
	b.Run(fmt.Sprintf("fast/%d", n), func(b *testing.B) {
		for b.Loop() {
			tr.Coefficients(c, x)
		}
	})
	b.Run(fmt.Sprintf("gonum/%d", n), func(b *testing.B) {
		for b.Loop() {
			ref.Coefficients(c, x)
		}
	})
}
