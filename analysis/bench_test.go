package analysis

import (
	"context"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis/spectrum"
	"stillglow/capture/synth"
)

// benchSupply is five million samples of a supply with everything on it.
func benchSupply() synth.Supply {
	s := plainSupply()
	s.Samples, s.RateHz, s.BandwidthHz = 5e6, 100e6, 40e6
	s.MainsHz, s.MainsPPV = 50, 5e-3
	return s
}

func BenchmarkMeasure(b *testing.B) {
	tr, _ := benchSupply().Trace("bench")
	b.SetBytes(int64(len(tr.Volts)))
	b.ReportAllocs()
	b.ResetTimer()
	for range b.N {
		if _, err := Measure(context.Background(), tr, Setup{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkReferenceFFT is the yardstick: gonum's transform of as many samples,
// in one piece.
func BenchmarkReferenceFFT(b *testing.B) {
	tr, _ := benchSupply().Trace("bench")
	n := spectrum.SmoothLen(len(tr.Volts))
	fft := fourier.NewFFT(n)
	out := make([]complex128, n/2+1)
	b.SetBytes(int64(n))
	b.ResetTimer()
	for range b.N {
		fft.Coefficients(out, tr.Volts[:n])
	}
}
