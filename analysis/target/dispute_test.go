package target

import (
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
)

// A unit 17 dB over a rule-of-thumb limit that lies far under the valve's own noise
// is called in question, and not where the limit is the sheet's own, where the sum
// leaves some of the band out, or where the broken limit is none of audio.
func TestDisputeOfLimitAndSum(t *testing.T) {
	tg, err := Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	across := oneMode("across.csv", capture.Differential, 5e-3, 20e-6, 7.1e-3) // mains ripple 17 dB over
	u := Unit{RatedV: 7, HeaterA: 0.9, Readings: []Reading{{0.9, 7}}, Captures: []*analysis.Measurement{across}}
	stage := Stage{CathodeOhm: 1500, Valve: "12AX7"}
	e, h := Evaluate(u, tg), Hear(stage, across)
	d, ok := h.Dispute(&e)
	if !ok || d.Believed != BelieveSum || d.Limit.Criterion != MainsLine || d.LimitDB > -16.9 || d.UnderDB < disputeDB {
		t.Errorf("%v %+v, heard %+v", ok, d, h.UnderDB)
	}
	own, err := Custom(map[string]float64{"mains_line_rms_v": 1e-3}, nil, [2]float64{}, &tg)
	if err != nil {
		t.Fatal(err)
	}
	if e := Evaluate(u, own); true {
		if _, ok := h.Dispute(&e); ok {
			t.Error("the sheet's own limit is called in question")
		}
	}
	part := *across
	part.Span.LowHz = 200
	if h := Hear(stage, &part); true {
		if _, ok := h.Dispute(&e); ok {
			t.Error("called in question by half a band")
		}
	}
	fast := oneMode("across.csv", capture.Differential, 50e-3, 20e-6, 0.1e-3)
	u.Captures = []*analysis.Measurement{fast}
	if e, h := Evaluate(u, tg), Hear(stage, fast); true {
		if _, ok := h.Dispute(&e); ok {
			t.Error("ripple beyond audio is called in question")
		}
	}
}

// A unit inside all limits in audio that is heard over the valve's own noise.
func TestDisputeOfQuietLimits(t *testing.T) {
	tg, err := Named("driver-stage")
	if err != nil {
		t.Fatal(err)
	}
	across := oneMode("across.csv", capture.Differential, 5e-3, 0.9e-3, 1e-3)
	u := Unit{RatedV: 7, HeaterA: 0.9, Readings: []Reading{{0.9, 7}}, Captures: []*analysis.Measurement{across}}
	e := Evaluate(u, tg)
	h := Hear(Stage{CathodeOhm: 10e3, HeaterCathodeOhm: 20e3}, across) // leaking
	if d, ok := h.Dispute(&e); !ok || d.Believed != BelieveEar || d.UnderDB >= 0 {
		t.Errorf("%v %+v, %+v", ok, d, h.UnderDB)
	}
}
