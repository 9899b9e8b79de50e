package target

import (
	"math"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// A band sum far above what the baseline shows in its band stays decided however
// near the instrument's floor the noise elsewhere lies; one that the baseline
// explains does not. By hand: 20 nV/√Hz over 20 Hz to 20 kHz is 2.83 µV rms.
func TestNearInstrumentFloorIsBoundedByTheBand(t *testing.T) {
	m := &analysis.Measurement{}
	for hz := 1.0; hz < 100e3; hz *= 1.01 {
		m.Spectrum.FrequencyHz = append(m.Spectrum.FrequencyHz, hz)
		m.Spectrum.BaselineVPerRtHz = append(m.Spectrum.BaselineVPerRtHz, 20e-9)
	}
	c, ok := lookup(BandAudio)
	if !ok {
		t.Fatal("no such criterion")
	}
	floor := 20e-9 * math.Sqrt(20e3-20)
	for _, k := range []float64{1.5, 3, 100} {
		_, up := marginShift(capture.CautionBaselineNear, c, m, figure.Known(k*floor))
		want := 20 * math.Log10(k/math.Sqrt(k*k-1))
		if math.Abs(up-want) > 0.05*want+1e-3 {
			t.Errorf("%g times the floor: the margin may rise by %.3f dB, want %.3f", k, up, want)
		}
	}
	if _, up := marginShift(capture.CautionBaselineNear, c, m, figure.Known(0.9*floor)); up != unboundedDB {
		t.Errorf("under the floor: %g, want no bound", up)
	}
}
