package analysis

import (
	"math"
	"testing"

	"stillglow/capture"
)

// Straight lines between a converter's points hold less power than the points: a sine
// of so few points a period loses a tenth of its rms, and the ± holds what it was.
// Points along the curve itself cost nothing.
func TestLinesBetweenPointsLosePower(t *testing.T) {
	const every, perPeriod, rms = 5, 5.3, 1e-3
	for _, straight := range []bool{true, false} {
		v := make([]float64, 20_000)
		at := func(x float64) float64 { return math.Sqrt2 * rms * math.Sin(2*math.Pi*x/perPeriod) }
		for i := range v {
			x := float64(i) / every
			if k := math.Floor(x); straight {
				v[i] = at(k) + (x-k)*(at(k+1)-at(k))
			} else {
				v[i] = at(x)
			}
		}
		tr := &capture.Trace{Volts: v, SampleRateHz: 2e8, TrueRateHz: 4e7, Calibrated: true, Coupling: capture.CouplingAC,
			BandwidthHz: 1e8, Span: capture.Span{LowHz: 4e4, HighHz: 1.6e7}, Levels: capture.Levels{Distinct: capture.MostLevels}}
		m, err := Measure(t.Context(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		for name, f := range map[string][2]float64{"rms": {m.ACRMSV.Value, m.ACRMSV.U}, "periodic": {m.PeriodicRMSV.Value, m.PeriodicRMSV.U}} {
			off := math.Abs(f[0] - rms)
			if off > f[1] || straight != (f[1] > 0.05*rms) {
				t.Errorf("straight %t, %s: %.4g ± %.2g V of %.4g", straight, name, f[0], f[1], rms)
			}
		}
	}
}
