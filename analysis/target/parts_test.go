package target

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// slowRecord is one of 1,200 points at 10 MS/s: it shows 33 kHz to 4 MHz, the smooth
// ripple and its line, and none of the criteria whole.
func slowRecord(file string, ripplePP, lineRMS float64) *analysis.Measurement {
	m := fast(file)
	m.SampleRateHz, m.DurationS = 10e6, 120e-6
	m.Span = capture.Span{LowHz: 33.3e3, HighHz: 4e6}
	m.PP20MHzV = figure.NotMeasured("the capture shows nothing above 4 MHz")
	m.Bands = nil
	m.SwitchingHz = figure.Known(65e3)
	m.RipplePPV = figure.Figure{Value: ripplePP, Known: true, U: 0.05 * ripplePP}
	m.SwitchingFundamentalRMSV = figure.Figure{Value: lineRMS, Known: true, U: 0.05 * lineRMS}
	return m
}

// What is over a limit in a part of the span is over it: one record of 1,200 points
// fails a unit, and several together do by the worst of them. Inside they leave it
// open.
func TestPartsProveAFail(t *testing.T) {
	goal := Target{Name: "t", Limits: []Limit{limit(RipplePP, 20e-3, "test"), limit(BandRF1, 5e-3, "test")}}
	for _, c := range []struct {
		name    string
		records []*analysis.Measurement
		verdict Verdict
		why     string
	}{
		{"ripple over", []*analysis.Measurement{slowRecord("a.csv", 100e-3, 1e-3)}, Fail, "ripple p-p (20 MHz) at least 13.5 dB over"},
		{"line over", []*analysis.Measurement{slowRecord("a.csv", 10e-3, 20e-3)}, Fail, "20 kHz to 1 MHz rms at least 11.6 dB over"},
		{"inside", []*analysis.Measurement{slowRecord("a.csv", 10e-3, 1e-3)}, Open, "nothing that the target limits was measured"},
		{"only its ± is over", []*analysis.Measurement{slowRecord("a.csv", 20.5e-3, 1e-3)}, Open, "nothing that the target limits was measured"},
		{"one of three over", []*analysis.Measurement{slowRecord("a.csv", 10e-3, 1e-3), slowRecord("b.csv", 100e-3, 1e-3), slowRecord("c.csv", 30e-3, 1e-3)}, Fail, "at least 13.5 dB over"},
	} {
		e := Evaluate(Unit{Key: "u", HeaterA: 0.6, Captures: c.records}, goal)
		if e.Verdict != c.verdict || !strings.Contains(e.Why, c.why) {
			t.Errorf("%s: %s, %q, want %s and %q", c.name, e.Verdict, e.Why, c.verdict, c.why)
		}
	}
}

// Behind a 20 MHz limit no sample lies outside what the criterion counts, whether a
// cycle is found in so short a record or not; without one what lies above 20 MHz may
// be in it.
func TestShortRecordBehindALimit(t *testing.T) {
	for _, mode := range []capture.Mode{capture.Differential, capture.Common} {
		id := RipplePP
		if mode == capture.Common {
			id = CommonPP
		}
		goal := Target{Name: "t", Limits: []Limit{limit(id, 20e-3, "test")}}
		for _, c := range []struct {
			limited bool
			ppV     float64
			verdict Verdict
		}{{true, 60e-3, Fail}, {false, 60e-3, Open}, {true, 10e-3, Open}, {true, 20.5e-3, Open}} {
			m := slowRecord("a.csv", 1e-3, 1e-3)
			m.Mode, m.Within20MHz = mode, c.limited
			m.RipplePPV, m.SwitchingHz = figure.NotMeasured("no switching line stands out"), figure.NotMeasured("no switching line stands out")
			m.PPV = figure.Figure{Value: c.ppV, U: 0.03 * c.ppV, Known: true}
			if e := Evaluate(Unit{Key: "u", HeaterA: 0.6, Captures: []*analysis.Measurement{m}}, goal); e.Verdict != c.verdict {
				t.Errorf("%s, limited %v, %g V: %s, %q, want %s", id, c.limited, c.ppV, e.Verdict, e.Why, c.verdict)
			}
		}
	}
}
