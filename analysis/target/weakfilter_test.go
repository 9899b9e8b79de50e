package target

import (
	"context"
	"math"
	"math/rand"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
)

// thirdFolded is a record in high-resolution mode: noise of 100 nV/√Hz,
// 14 µV in the audio band, and what the mean leaves of a third harmonic at 390 kHz,
// folded to 10 kHz by 100 kS/s: sin(x)/x, x = π·390/100.
func thirdFolded(t *testing.T, rateHz, rms float64) *analysis.Measurement {
	t.Helper()
	r := rand.New(rand.NewSource(9))
	v := make([]float64, int(rateHz/2))
	x := math.Pi * 390e3 / rateHz
	for i := range v {
		v[i] = 100e-9*math.Sqrt(rateHz/2)*r.NormFloat64() + math.Sqrt2*rms*math.Sin(x)/x*math.Cos(2*x*float64(i))
	}
	tr := &capture.Trace{File: "slow.csv", Volts: v, SampleRateHz: rateHz, TrueRateHz: rateHz, Calibrated: true, Coupling: capture.CouplingAC,
		Span: capture.Span{LowHz: 8, HighHz: 0.4 * rateHz}, Levels: capture.Levels{Distinct: capture.MostLevels}}
	tr.Acquisition.Mode = capture.AcquisitionHighRes
	m, err := analysis.Measure(context.Background(), tr, analysis.Setup{LoadA: 0.6})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// A unit of 14 µV is not failed by 170 µV that the mean let through: it stays open,
// and is told at what rate to capture. Under the limit the same record passes, and at
// 500 kS/s a unit that is too noisy fails.
func TestWhatAMeanLeavesFailsNoUnit(t *testing.T) {
	const rms = 6.7e-3
	for _, c := range []struct {
		name    string
		rateHz  float64
		rms     float64
		limit   float64
		verdict Verdict
	}{
		{"over the limit", 100e3, rms, 100e-6, Open},
		{"under the limit", 100e3, rms, 200e-6, Pass},
		{"too noisy at 500 kS/s", 500e3, rms, 3e-6, Fail},
	} {
		m := thirdFolded(t, c.rateHz, c.rms)
		goal := Target{Name: "t", Limits: []Limit{limit(BandAudio, c.limit, "common practice, no source")}}
		e := Evaluate(Unit{Key: "A B 1", Brand: "A", HeaterA: 0.6, Captures: []*analysis.Measurement{m}}, goal)
		if e.Verdict != c.verdict {
			t.Errorf("%s: %s, want %s: %s; %+v", c.name, e.Verdict, c.verdict, e.Why, e.Margins[0])
		}
		if reason := e.Margins[0].Reason; c.verdict == Open && (!strings.Contains(reason, "at most") || !strings.Contains(reason, "500 kS/s")) {
			t.Errorf("%s: %s", c.name, reason)
		}
	}
}

// The third octaves of such a record are upper ones, too, and the mask on them.
func TestDensitiesBehindAMeanFailNoUnit(t *testing.T) {
	mask := maskLimit([]MaskPoint{{Hz: 1e3, VPerRtHz: 10e-9}, {Hz: 10e3, VPerRtHz: 10e-9}}, "common practice, no source")
	for _, l := range []Limit{limit(Density10k, 10e-9, "common practice, no source"), mask} {
		for _, c := range []struct {
			rateHz  float64
			verdict Verdict
		}{{100e3, Open}, {500e3, Fail}} {
			m := thirdFolded(t, c.rateHz, 0)
			e := Evaluate(Unit{Key: "A B 1", Brand: "A", HeaterA: 0.6, Captures: []*analysis.Measurement{m}}, Target{Name: "t", Limits: []Limit{l}})
			if e.Verdict != c.verdict {
				t.Errorf("%s at %g S/s: %s, want %s: %s", l.Criterion, c.rateHz, e.Verdict, c.verdict, e.Why)
			}
		}
	}
}
