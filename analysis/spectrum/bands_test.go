package spectrum

import (
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// gain is the relative gain uncertainty (k = 2) of the instrument in these tests.
const gain = 0.03

// White noise of density e has e sqrt(bandwidth) volts in a band; a tone adds
// in power.
func TestBands(t *testing.T) {
	const rate, n, e = 50e6, 1 << 20, 1e-7
	x := reference.Tones(n, rate, [3]float64{1e5, 3e-4, 0}, [3]float64{3e6, 1e-3, 1})
	for i, v := range reference.WhiteNoise(n, e*math.Sqrt(rate/2), 31) {
		x[i] += v
	}
	m, lines := linesOf(t, x, rate)
	got := map[string]Band{}
	for _, b := range MeasureBands(m, lines, capture.Span{LowHz: 4 * rate / n, HighHz: 20e6}, 0) {
		got[b.ID] = b
	}
	noise1 := e * math.Sqrt(0.98e6)
	noise20 := e * math.Sqrt(19e6)
	for _, c := range []struct {
		id          string
		rms, noLine float64
	}{{"20k_1m", math.Hypot(noise1, 3e-4), noise1}, {"1m_20m", math.Hypot(noise20, 1e-3), noise20}} {
		b := got[c.id]
		if math.Abs(b.RMSV.Value/c.rms-1) > 0.01 || math.Abs(b.RMSNoLinesV.Value/c.noLine-1) > 0.01 {
			t.Errorf("%s: %.5g and %.5g V, want %.5g and %.5g", c.id, b.RMSV.Value, b.RMSNoLinesV.Value, c.rms, c.noLine)
		}
		if b.RMSV.U > 0.01*b.RMSV.Value || math.Abs(b.RMSV.Value-c.rms) > 1.5*b.RMSV.U {
			t.Errorf("%s: %.5g ± %.2g V, want %.5g", c.id, b.RMSV.Value, b.RMSV.U, c.rms)
		}
	}
	for _, id := range []string{"audio", "audio_a", "above_20m"} { // 21 ms hold no 20 Hz
		if b := got[id]; b.RMSV.Known || b.RMSV.Missing == "" {
			t.Errorf("%s: %+v", id, b.RMSV)
		}
	}
}

// White noise through weighting A: the integral of the closed form from 20 Hz to
// 20 kHz, here by Simpson's rule on a fine grid.
func TestBandAWeighted(t *testing.T) {
	const rate, n, e = 96e3, 1 << 20, 1e-6
	x := Samples(reference.WhiteNoise(n, e*math.Sqrt(rate/2), 32))
	m, lines := linesOf(t, x, rate)
	sum, steps := 0.0, 200000
	h := (20e3 - 20) / float64(steps)
	for i := 0; i <= steps; i++ {
		w := 2.0 + 2*float64(i%2)
		if i == 0 || i == steps {
			w = 1
		}
		g := AWeight(20 + h*float64(i))
		sum += w * g * g
	}
	want := e * math.Sqrt(sum*h/3)
	for _, b := range MeasureBands(m, lines, capture.Span{LowHz: 1, HighHz: 0.4 * rate}, gain) {
		if b.ID == "audio_a" && math.Abs(b.RMSV.Value/want-1) > 0.01 {
			t.Errorf("%.5g V, want %.5g", b.RMSV.Value, want)
		}
		if b.ID == "audio" && math.Abs(b.RMSV.Value/(e*math.Sqrt(20e3-20))-1) > 0.01 {
			t.Errorf("flat: %.5g V", b.RMSV.Value)
		}
	}
}

// A spur that the baseline shows too is not charged to the unit.
func TestInstrumentSpur(t *testing.T) {
	const rate, n, e = 4e6, 1 << 20, 1e-7
	capture1 := func(seed uint64, ts ...[3]float64) (Multirate, []Line) {
		x := reference.Tones(n, rate, ts...)
		for i, v := range reference.WhiteNoise(n, e*math.Sqrt(rate/2), seed) {
			x[i] += v
		}
		return linesOf(t, x, rate)
	}
	_, base := capture1(1, [3]float64{333e3, 1e-3, 0})
	m, lines := capture1(2, [3]float64{333e3, 1.03e-3, 2}, [3]float64{100e3, 5e-4, 1})
	MarkInstrument(lines, 0, &Baseline{Lines: base}, gain)
	if l := lineAt(lines, 333e3, 1); l == nil || l.Comb != CombInstrument {
		t.Errorf("%+v", l)
	}
	want := math.Hypot(5e-4, e*math.Sqrt(0.98e6))
	for _, b := range MeasureBands(m, lines, capture.Span{LowHz: 20, HighHz: 1.6e6}, gain) {
		if b.ID == "20k_1m" && math.Abs(b.RMSV.Value/want-1) > 0.01 {
			t.Errorf("%.4g V, want %.4g without the spur", b.RMSV.Value, want)
		}
	}
}
