package analysis

import (
	"math"
	"testing"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// A cycle whose fundamental is lost in the noise while its second harmonic stands
// repeats at a part of the clock's frequency: both are lower bounds.
func TestFundamentalLostInNoise(t *testing.T) {
	for _, c := range []struct {
		first, second float64
		bound         bool
	}{{0.1e-6, 20e-6, true}, {20e-6, 5e-6, false}} {
		f := &cycle.Fold{Bins: 256, Mean: make([]float64, 256), Count: make([]float64, 256), VarianceV2: make([]float64, 256), SigmaV: 1e-4, Cycles: 100}
		for i := range f.Mean {
			x := 2 * math.Pi * (float64(i) + 0.5) / 256
			f.Mean[i] = c.first*math.Sin(x) + c.second*math.Sin(2*x)
		}
		sw := switching{shown: true, Finding: cycle.Finding{
			Track: &cycle.Track{Kind: cycle.Fixed, Hz: 34e3, SigmaHz: 1}, Fold: f, Explained: 1,
			Model: &cycle.Model{Bins: 256, PeriodS: 1 / 34e3, Smooth: f.Mean, PPV: 2 * c.second, RMSV: c.second, BinSigmaV: 5e-6},
		}}
		rec := &record{tr: &capture.Trace{SampleRateHz: 1e7, Span: capture.Span{HighHz: 4e6}}, setup: Setup{GainFraction: 0.03}}
		r := rippleFigures(rec, sw, spectrum.Combs{}, figure.Known(1e-4), 0)
		if r.hz.LowerBound != c.bound || r.fundamentalRMSV.LowerBound != c.bound {
			t.Errorf("fundamental of %g V: %+v, %+v", c.first, r.hz, r.fundamentalRMSV)
		}
	}
}
