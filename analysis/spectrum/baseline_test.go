package spectrum

import (
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// A unit's own line on a weaker spur keeps the rest, whatever the phase between
// them, within the uncertainty given; on average over phases it is right.
func TestOwnLineOnAWeakerSpur(t *testing.T) {
	const rate, n, hz, own, spur = 1e6, 1 << 15, 123456.7, 3e-3, 1e-3
	sum, outside, phases := 0.0, 0, 24
	for k := range phases {
		x := reference.Tones(n, rate, [3]float64{hz, own, 0}, [3]float64{hz, spur, 2 * math.Pi * float64(k) / float64(phases)})
		b := reference.Tones(n, rate, [3]float64{hz, spur, 1})
		for i, e := range reference.WhiteNoise(n, 1e-4, uint64(k)) {
			x[i] += e
			b[len(b)-1-i] += e
		}
		_, base := linesOf(t, b, rate)
		m, lines := linesOf(t, x, rate)
		MarkInstrument(lines, 0, &Baseline{Lines: base}, gain)
		l := lineAt(lines, hz, 1)
		if l == nil || l.Comb == CombInstrument || math.Abs(l.InstrumentRMSV/spur-1) > 0.01 {
			t.Fatalf("phase %d: %+v", k, l)
		}
		sum += l.RMSV * l.RMSV
		if math.Abs(l.RMSV-own) > l.NoiseURMSV {
			outside++
		}
		for _, band := range MeasureBands(m, lines, capture.Span{LowHz: 10, HighHz: 1e6}, gain) {
			if band.ID == "20k_1m" && math.Abs(band.RMSV.Value-own) > math.Sqrt(band.RMSV.U*band.RMSV.U-gain*gain*band.RMSV.Value*band.RMSV.Value) {
				t.Errorf("phase %d: band %g ± %g V, want %g", k, band.RMSV.Value, band.RMSV.U, own)
			}
		}
	}
	if outside > 1 {
		t.Errorf("%d of %d phases outside the uncertainty", outside, phases)
	}
	if mean := math.Sqrt(sum / float64(phases)); math.Abs(mean/own-1) > 0.005 {
		t.Errorf("%g V on average over phases, want %g", mean, own)
	}
}

// The amplitude's uncertainty covers what noise does to it.
func TestLineUncertainty(t *testing.T) {
	const rate, n, hz, rms = 1e6, 1 << 14, 123456.7, 1e-3
	outside := 0
	for k := range 60 {
		x := reference.Tones(n, rate, [3]float64{hz, rms, float64(k)})
		for i, e := range reference.WhiteNoise(n, 5e-3, 100+uint64(k)) {
			x[i] += e
		}
		_, lines := linesOf(t, x, rate)
		l := lineAt(lines, hz, 100)
		if l == nil {
			t.Fatalf("draw %d: no line", k)
		}
		if l.NoiseURMSV > 0.5*rms {
			t.Fatalf("draw %d: ± %g", k, l.NoiseURMSV)
		}
		if math.Abs(l.RMSV-rms) > l.NoiseURMSV {
			outside++
		}
	}
	if outside > 7 {
		t.Errorf("%d of 60 outside the uncertainty of k = 2", outside)
	}
}
