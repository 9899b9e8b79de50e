package capture

import (
	"math"
	"math/rand/v2"
	"testing"
)

// smoothed gives the means over k neighbouring samples, to a 32nd of a 2 mV step.
func smoothed(x []float64, k int) []float64 {
	y := make([]float64, len(x)-k+1)
	for i := range y {
		for _, v := range x[i : i+k] {
			y[i] += v / float64(k)
		}
		y[i] = math.Round(y[i]*16e3) / 16e3
	}
	return y
}

// A mean over k samples has its first null at rate/k and is 3 dB down at 0.443 of that
// (Smith, The Scientist and Engineer's Guide to Digital Signal Processing, eq. 15-2,
// from memory). The span ends there, peaks are doubted and the file's way of folding
// is not touched; a record that nobody smoothed is left alone.
func TestMovingMean(t *testing.T) {
	for _, n := range []int{2500, 16384} {
		for _, k := range []int{3, 4, 5, 8, 10, 13} {
			for seed := range uint64(4) {
				tr := &Trace{Volts: smoothed(converter(n, seed), k), SampleRateHz: 1e8, TrueRateHz: 1e8, Span: Span{1e5, 4e7}}
				tr.findMovingMean(tr.findUpsampling())
				corner := 0.443e8 / float64(k)
				if a := tr.Acquisition; math.Abs(tr.Span.HighHz/corner-1) > 1e-6 || a.CornerHz != tr.Span.HighHz || a.Mode != AcquisitionEnhanced {
					t.Errorf("mean of %d, %d samples: span to %g Hz, want %g; %+v", k, n, tr.Span.HighHz, corner, a)
				}
				if len(tr.Cautions) != 1 || tr.Cautions[0].Code != CautionMovingMean || tr.BandwidthHz != 0 {
					t.Errorf("mean of %d, %d samples: %v, bandwidth %g", k, n, tr.Cautions, tr.BandwidthHz)
				}
			}
		}
		r := rand.New(rand.NewPCG(5, 5))
		pole, pulses := converter(n, 9), converter(n, 10)
		for i := range n {
			if i > 0 {
				pole[i] = pole[i-1] + 0.2*(pole[i]-pole[i-1])
			}
			pulses[i] += 0.05 * float64((i%97)/90) // 7 samples long
		}
		white := make([]float64, n)
		for i := range white {
			white[i] = math.Round(r.NormFloat64()*3) * 1e-3
		}
		steep := append([]float64(nil), white...) // four poles at a fifteenth of the rate, 12 bits
		for range 4 {
			for i := range n - 1 {
				steep[i+1] = steep[i] + 0.35*(steep[i+1]-steep[i])
			}
		}
		for i := range steep {
			steep[i] = math.Round(steep[i]*1e6) * 1e-6
		}
		for name, x := range map[string][]float64{"plain": converter(n, 8), "one pole": pole, "four poles": steep, "pulses": pulses, "white": white, "quiet": quiet(n),
			"square wave": shape(n, func(p int) float64 { return float64(p / 25) }), "constant": make([]float64, n), "mean of 2": smoothed(white, 2)} {
			tr := &Trace{Volts: x, SampleRateHz: 1e8, TrueRateHz: 1e8, Span: Span{1e5, 4e7}}
			tr.findMovingMean(tr.findUpsampling())
			if tr.Span.HighHz != 4e7 || len(tr.Cautions) != 0 {
				t.Errorf("%s, %d samples: %v", name, n, tr.Cautions)
			}
		}
	}
	// Above the corner of scopes' inputs it is a bandwidth like theirs, and stated
	// modes keep their names.
	x := smoothed(converter(8192, 3), 3)
	for _, c := range []struct {
		rateHz float64
		mode   AcquisitionMode
		said   int
	}{{1e8, AcquisitionUnknown, 1}, {5e8, AcquisitionUnknown, 0}, {1e8, AcquisitionHighRes, 0}, {1e8, AcquisitionAverage, 0}} {
		tr := &Trace{Volts: x, SampleRateHz: c.rateHz, TrueRateHz: c.rateHz, Span: Span{1e5, 0.4 * c.rateHz}, Acquisition: Acquisition{Mode: c.mode}}
		tr.findMovingMean(tr.findUpsampling())
		if len(tr.Cautions) != c.said || (c.mode != AcquisitionUnknown && tr.Acquisition.Mode != c.mode) {
			t.Errorf("%g S/s, %q: %v", c.rateHz, c.mode, tr.Cautions)
		}
	}
}
