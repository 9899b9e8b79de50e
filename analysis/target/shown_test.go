package target

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// A figure read off a screen proves a fail where even its lower end is over the
// limit, and never a pass.
func TestShownFailsOrLeavesOpen(t *testing.T) {
	goal := Target{Name: "t", Limits: []Limit{limit(RipplePP, 20e-3, "test")}}
	for _, c := range []struct {
		name    string
		shown   Shown
		verdict Verdict
		why     string
	}{
		{"far over", Shown{Criterion: RipplePP, Value: 60e-3, UFrac: 0.3, BandLimited: true, By: "scope screen"}, Fail, "at least 6.4 dB over"},
		{"over, the ± reaches inside", Shown{Criterion: RipplePP, Value: 25e-3, UFrac: 0.3, BandLimited: true}, Open, "17.5 mV, inside the limit of 20 mV"},
		{"inside", Shown{Criterion: RipplePP, Value: 2e-3, UFrac: 0.3, BandLimited: true}, Open, "never shows that a unit passes"},
		{"full bandwidth", Shown{Criterion: RipplePP, Value: 60e-3, UFrac: 0.3}, Open, "band_limited = true"},
		{"at twice the load", Shown{Criterion: RipplePP, Value: 60e-3, UFrac: 0.3, BandLimited: true, LoadA: 1.2}, Open, "more than the heaters' 0.6 A"},
		{"at half the load", Shown{Criterion: RipplePP, Value: 60e-3, UFrac: 0.3, BandLimited: true, LoadA: 0.3}, Fail, ""},
		{"on another criterion", Shown{Criterion: SpikePeak, Value: 60e-3, UFrac: 0.3}, Open, "no capture"},
	} {
		e := Evaluate(Unit{Key: "u", HeaterA: 0.6, Shown: []Shown{c.shown}}, goal)
		if said := e.Why + "|" + e.Margins[0].Reason; e.Verdict != c.verdict || !strings.Contains(said, c.why) {
			t.Errorf("%s: %s, %q, want %s and %q", c.name, e.Verdict, said, c.verdict, c.why)
		}
	}
}

// Captures decide where there are any; a reading that proves the contrary of a pass
// makes the unit one to take again.
func TestShownBesideCaptures(t *testing.T) {
	goal := Target{Name: "t", Limits: []Limit{limit(RipplePP, 20e-3, "test")}}
	m := fast("a.csv")
	m.PP20MHzV = figure.Figure{Value: 10e-3, Known: true, U: 1e-3}
	over := Shown{Criterion: RipplePP, Value: 60e-3, UFrac: 0.3, BandLimited: true, By: "scope screen"}
	e := Evaluate(Unit{HeaterA: 0.6, Captures: []*analysis.Measurement{m}, Shown: []Shown{over}}, goal)
	if e.Verdict != Retake || !strings.Contains(e.Why, "a.csv gives 10 mV, but scope screen, 60 mV ± 30 %") {
		t.Errorf("%s: %s", e.Verdict, e.Why)
	}
	over.Value = 12e-3
	if e := Evaluate(Unit{HeaterA: 0.6, Captures: []*analysis.Measurement{m}, Shown: []Shown{over}}, goal); e.Verdict != Pass {
		t.Errorf("a reading inside: %s, %s", e.Verdict, e.Why)
	}
	// A record that shows a part of the span, and a reading that proves more.
	m.PP20MHzV.LowerBound = true
	over.Value = 60e-3
	if e := Evaluate(Unit{HeaterA: 0.6, Captures: []*analysis.Measurement{m}, Shown: []Shown{over}}, goal); e.Verdict != Fail {
		t.Errorf("a lower bound inside and a reading over: %s, %s", e.Verdict, e.Why)
	}
}

// What was read stands with the unit in words, whatever it decides.
func TestShownInWords(t *testing.T) {
	goal := Target{Name: "t", Limits: []Limit{limit(RipplePP, 20e-3, "test"), limit(CommonPP, 0.35, "test")}}
	unit := Unit{Key: "u", HeaterA: 0.6, Shown: []Shown{
		{Criterion: RipplePP, Value: 11e-3, UFrac: 0.3, BandLimited: true, By: "scope's screen"},
		{Criterion: CommonPP, Value: 0.2, UFrac: 0.3, By: "scope's screen"},
		{Criterion: SpikePeak, Value: 60e-3, UFrac: 0.3},
	}}
	e := Evaluate(unit, goal)
	want := []string{"11 mV ± 30 % (scope's screen): leaves it open", "200 mV ± 30 % (scope's screen): leaves it open", "(a reading by eye): the target has no such limit"}
	got := e.ShownWords()
	for i := range want {
		if len(got) != len(want) || !strings.Contains(got[i], want[i]) {
			t.Fatalf("%q, want %q", got, want)
		}
	}
	// 20 over 11 is 5.2 dB, 350 over 200 is 4.9 dB: the worse of the two.
	if db, ok := e.ShownDB(); !ok || db < 4.85 || db > 4.87 {
		t.Errorf("%.3f dB, %v, want 4.86", db, ok)
	}
	m := fast("a.csv")
	m.PP20MHzV = figure.Figure{Value: 10e-3, Known: true, U: 1e-3}
	unit.Captures = []*analysis.Measurement{m}
	e = Evaluate(unit, goal)
	if got := e.ShownWords(); !strings.Contains(got[0], "the captures decide") {
		t.Errorf("%q", got[0])
	}
	if _, ok := (&Evaluation{}).ShownDB(); ok {
		t.Error("nothing was read, yet it has a margin")
	}
}
