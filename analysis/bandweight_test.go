package analysis

import (
	"math"
	"testing"

	"stillglow/capture"
)

// ringsAt is a record of 10,000 samples at 200 MS/s with a 5 MHz ring at each of the
// places, shares of the record, and the true rms of the rings.
func ringsAt(places ...float64) (volts []float64, rmsV float64) {
	volts = make([]float64, 10_000)
	sum := 0.0
	for _, p := range places {
		for i := range volts {
			if t := float64(i)/2e8 - p*50e-6; t >= 0 {
				volts[i] += 0.01 * math.Exp(-t/300e-9) * math.Sin(2*math.Pi*5e6*t)
			}
		}
	}
	for i := range volts {
		sum += volts[i] * volts[i]
		volts[i] += 2e-6 * float64(i%3)
	}
	return volts, math.Sqrt(sum / float64(len(volts)))
}

// A record of three cycles, whose band sum hangs on where the tapers happen to lie,
// has a ± that holds the truth; one of a hundred stays sharp.
func TestBandSumsOfAFewCycles(t *testing.T) {
	band := func(v []float64) (value, u float64) {
		tr := &capture.Trace{Volts: v, SampleRateHz: 2e8, TrueRateHz: 2e8, Calibrated: true, Coupling: capture.CouplingAC,
			BandwidthHz: 1e8, Span: capture.Span{LowHz: 8e4, HighHz: 8e7}, Levels: capture.Levels{Distinct: capture.MostLevels}}
		m, err := Measure(t.Context(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range m.Bands {
			if b.ID == "1m_20m" {
				return b.RMSV.Value, b.RMSV.U
			}
		}
		return 0, 0
	}
	for _, places := range [][]float64{{0.02, 0.35, 0.68}, {0.25, 0.58, 0.91}, {0.08, 0.85, 0.93}} {
		v, rms := ringsAt(places...)
		value, u := band(v)
		if math.Abs(value-rms) > u || u < 0.05*value {
			t.Errorf("rings at %v: %.4g ± %.2g V, truth %.4g", places, value, u, rms)
		}
	}
	var many []float64
	for k := range 100 {
		many = append(many, (float64(k)+0.3)/100)
	}
	v, rms := ringsAt(many...)
	if value, u := band(v); math.Abs(value-rms) > u || u > 0.05*value {
		t.Errorf("100 rings: %.4g ± %.2g V, truth %.4g", value, u, rms)
	}
}
