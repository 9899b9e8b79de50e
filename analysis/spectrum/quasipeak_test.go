package spectrum

import (
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// The detector against the tables of Recommendation ITU-R BS.468-4 (from
// memory): readings of single bursts of a 5 kHz tone, and of 5 ms bursts
// repeated, over that of the steady tone, with the limits allowed to a meter.
func TestQuasiPeakBursts(t *testing.T) {
	const rate = 96000.0
	meter := newQuasiPeakMeter(rate)
	read := func(gate func(s float64) bool) float64 {
		x := make([]float64, int(1.5*rate))
		for i := range x {
			if s := float64(i) / rate; gate(s) {
				x[i] = math.Sin(2 * math.Pi * 5000 * s)
			}
		}
		return meter.read(x)
	}
	steady := read(func(float64) bool { return true })
	for _, c := range []struct{ ms, low, want, high float64 }{
		{1, 0.135, 0.17, 0.214}, {2, 0.224, 0.266, 0.316}, {5, 0.34, 0.40, 0.46}, {10, 0.41, 0.48, 0.55},
		{20, 0.44, 0.52, 0.60}, {50, 0.50, 0.59, 0.68}, {100, 0.58, 0.68, 0.78}, {200, 0.68, 0.80, 0.92},
	} {
		got := read(func(s float64) bool { return s < c.ms/1000 }) / steady
		if got < c.low || got > c.high || math.Abs(got/c.want-1) > 0.05 {
			t.Errorf("burst of %g ms: %.3f, want %.3f (%.3f to %.3f)", c.ms, got, c.want, c.low, c.high)
		}
	}
	for _, c := range []struct{ perS, low, want, high float64 }{{2, 0.43, 0.48, 0.53}, {10, 0.72, 0.77, 0.82}, {100, 0.94, 0.97, 1.00}} {
		got := read(func(s float64) bool { return math.Mod(s, 1/c.perS) < 0.005 }) / steady
		if got < c.low || got > c.high {
			t.Errorf("%g bursts per second: %.3f, want %.3f", c.perS, got, c.want)
		}
	}
}

// A steady 1 kHz sine reads its rms; one at 6.3 kHz 12.2 dB more (the table).
func TestQuasiPeakSine(t *testing.T) {
	const rate = 192e3
	for _, c := range []struct{ hz, dB float64 }{{1000, 0}, {6300, 12.2}, {100, -19.8}} {
		x := Samples(reference.Tones(int(2*rate), rate, [3]float64{c.hz, 1e-3, 0}))
		m, _ := linesOf(t, x, rate)
		b := MeasureQuasiPeak(x, m, capture.Span{LowHz: 2, HighHz: 80e3}, 0)
		if got := 20 * math.Log10(b.RMSV.Value/1e-3); math.Abs(got-c.dB) > 0.2 {
			t.Errorf("%g Hz: %.2f dB, want %.1f", c.hz, got, c.dB)
		}
	}
	m, _ := linesOf(t, reference.WhiteNoise(1000, 1, 1), rate)
	if b := MeasureQuasiPeak(Samples(reference.WhiteNoise(1000, 1, 1)), m, capture.Span{LowHz: 2, HighHz: 80e3}, 0); b.RMSV.Known {
		t.Error("a reading from 5 ms")
	}
}
