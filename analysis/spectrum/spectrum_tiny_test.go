package spectrum

import (
	"context"
	"math"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// Every length from nothing to 200 samples, of noise, of a constant and of a
// full-scale square wave: no panic, and no figure that is not a number.
func TestFrequencyDomainTinyLengths(t *testing.T) {
	square := make([]float64, 200)
	for i := range square {
		square[i] = 1e3 * float64(i/2%2)
	}
	for n := 0; n <= 200; n++ {
		for name, x := range map[string]Samples{"noise": reference.WhiteNoise(n, 1, 7), "constant": make([]float64, n), "square": square[:n]} {
			m, err := Of(context.Background(), x, 1000, Options{Keep: true})
			if err != nil {
				t.Fatal(err)
			}
			lines, err := FindLines(context.Background(), x, 1000, m, LineOptions{})
			if err != nil {
				t.Fatal(err)
			}
			mains := MeasureMains(x, m, lines, 50, 0)
			lines, comb := NameLines(lines, 50, Clock{Hz: 123})
			MarkInstrument(lines, 0, &Baseline{Lines: lines}, gain)
			span := capture.Span{LowHz: 10, HighHz: 400}
			figures := []figure.Figure{figure.Known(comb.BeatHz), mains.LineRMS, mains.CombPPV, mains.CombRMS}
			for _, b := range MeasureBands(m, lines, span, gain) {
				figures = append(figures, b.RMSV, b.RMSNoLinesV)
			}
			figures = append(figures, MeasureQuasiPeak(x, m, capture.Span{LowHz: 1, HighHz: 20e3}, 0).RMSV)
			for _, l := range lines {
				figures = append(figures, figure.Known(l.FrequencyHz), figure.Known(l.RMSV), figure.Known(l.PhaseRad))
			}
			for i, f := range figures {
				if v := f.Value + f.U; math.IsNaN(v) || math.IsInf(v, 0) || (!f.Known && f.Missing == "") {
					t.Errorf("%s of %d: figure %d is %+v", name, n, i, f)
				}
			}
		}
	}
}

// A cancelled context stops the work with its error.
func TestSpectrumCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	x := Samples(reference.WhiteNoise(100000, 1, 1))
	if _, err := Of(ctx, x, 1e6, Options{}); err == nil {
		t.Error("no error from spectrumOf")
	}
	if _, err := FindLines(ctx, x, 1e6, Multirate{Stages: []Stage{{RateHz: 1e6}}}, LineOptions{}); err == nil {
		t.Error("no error from findLines")
	}
}
