package target

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// codesOf are an evaluation's cautions by code, with their texts.
func codesOf(e Evaluation) map[string]string {
	out := map[string]string{}
	for _, k := range e.Cautions {
		out[k.Code] = k.Text
	}
	return out
}

// The better record is chosen, not the one with the wider span.
func TestWideSpanIsNoMerit(t *testing.T) {
	goal := Target{Limits: []Limit{limit(MainsLine, 1e-3, "the test's")}}
	u := quiet()
	short := slow("wide.csv")
	short.DurationS, short.SampleRateHz, short.Span = 0.1, 2e6, capture.Span{LowHz: 40, HighHz: 800e3}
	short.MainsLineRMS = figure.Figure{Known: true, Value: 0.25e-3, U: 60e-6}
	u.Captures[0].MainsLineRMS.U = 10e-6
	u.Captures = append([]*analysis.Measurement{short}, u.Captures...)
	if m := marginOf(t, Evaluate(u, goal), MainsLine); m.From != "slow.csv" {
		t.Errorf("taken from %s", m.From)
	}
}

func TestCapturesThatDisagree(t *testing.T) {
	for _, c := range []struct {
		name string
		mv   []float64
		want string // named as doubtful; "-": no caution; "": a caution that names none
	}{
		{"one of three high", []float64{4.92, 8.75, 4.91}, "r1.csv is the doubtful one"},
		{"one of three low", []float64{4.92, 2.1, 4.91}, "r1.csv is the doubtful one"},
		{"two", []float64{4.92, 8.75}, ""},
		{"alike", []float64{4.92, 5.0, 4.91}, "-"},
	} {
		u := quiet()
		u.Captures = u.Captures[:1]
		for i, v := range c.mv {
			m := fast("r" + string(rune('0'+i)) + ".csv")
			m.PP20MHzV = figure.Figure{Known: true, Value: 1e-3 * v, U: 0.1e-3}
			u.Captures = append(u.Captures, m)
		}
		text, raised := codesOf(Evaluate(u, line(t)))[CautionDisagree]
		if raised == (c.want == "-") || raised && !strings.Contains(text, c.want) || c.want == "" && strings.Contains(text, "doubtful") {
			t.Errorf("%s: %q", c.name, text)
		}
		if raised && !strings.Contains(text, "8.75 mV") && !strings.Contains(text, "2.1 mV") {
			t.Errorf("%s: the values are not told: %q", c.name, text)
		}
	}
}

func TestSwitchingFrequenciesThatDisagree(t *testing.T) {
	u := quiet()
	u.Captures = u.Captures[:1]
	for i, khz := range []float64{149, 74.5, 150} {
		m := fast("f" + string(rune('0'+i)) + ".csv")
		m.SwitchingHz = figure.Known(1e3 * khz)
		u.Captures = append(u.Captures, m)
	}
	e := Evaluate(u, line(t))
	if text := codesOf(e)[CautionSwitchingUnlike]; !strings.Contains(text, "74.5 kHz, but at the same load f0.csv shows 149 kHz, f2.csv shows 150 kHz") {
		t.Errorf("%q", text)
	}
	for _, m := range e.Unit.Captures {
		if m.HasCaution(CautionSwitchingUnlike) != (m.File == "f1.csv") {
			t.Errorf("%s: %v", m.File, m.Cautions)
		}
	}
	u.Captures[2].LoadA = 0.1 // another load may well give another frequency
	if text, raised := codesOf(Evaluate(u, line(t)))[CautionSwitchingUnlike]; raised {
		t.Errorf("at another load: %q", text)
	}
	u.Captures = u.Captures[:3]
	u.Captures[2].LoadA = 0.6
	for _, m := range Evaluate(u, line(t)).Unit.Captures[1:] {
		if !m.HasCaution(CautionSwitchingUnlike) {
			t.Errorf("of two, %s is not doubted", m.File)
		}
	}
}

// Two captures that disagree about the frequency: one of them is folded at a wrong
// period, and the ripple may be as large as all of the record's peak-to-peak. That
// settles a limit over it, and none under it.
func TestWrongPeriodMayHideAllOfThePeakToPeak(t *testing.T) {
	for _, c := range []struct {
		limitV float64
		want   Verdict
	}{{3.4e-3, Retake}, {12e-3, Pass}} {
		u := quiet()
		u.Captures = nil
		for i, khz := range []float64{322, 107} {
			m := fast("f" + string(rune('0'+i)) + ".csv")
			m.SwitchingHz = figure.Known(1e3 * khz)
			m.RipplePPV, m.PP20MHzV = figure.Known(0.5e-3), figure.Known(9.6e-3)
			u.Captures = append(u.Captures, m)
		}
		e := Evaluate(u, Target{Name: "ripple", Limits: []Limit{limit(FoldedRipple, c.limitV, "")}})
		if e.Verdict != c.want {
			t.Errorf("limit %g V: %s, want %s: %s", c.limitV, e.Verdict, c.want, e.Why)
		}
	}
}

// A unit ten times its brand-mates asks for the probe, and one ten times under
// them never passes on that.
func TestUnitFarFromItsBrandAsksForTheProbe(t *testing.T) {
	for _, c := range []struct {
		name string
		by   float64
		want Verdict
		ask  bool
	}{
		{"alike", 1.3, Pass, false},
		{"three times", 3, NearMiss, false},
		{"ten times", 10, Retake, true},
		{"a tenth", 0.1, Retake, true},
	} {
		mates := 1.0
		if c.by < 1 {
			mates = 4 // the others fail, so that a tenth of them would pass
		}
		var evals []Evaluation
		for i := range 4 {
			u := quiet()
			u.Key, u.Index = "A B "+string(rune('1'+i)), i
			scaled(u.Captures[1], mates)
			if i == 3 {
				u.Captures[1] = fast("fast.csv")
				scaled(u.Captures[1], mates*c.by)
				if c.by >= 10 || c.by < 1 {
					u.Captures[0].MainsLineRMS.Value *= c.by
					u.Captures[0].Bands[1].RMSV.Value *= c.by
				}
			}
			evals = append(evals, Evaluate(u, line(t)))
		}
		for _, e := range Rank(evals) {
			if e.Unit.Index != 3 {
				continue
			}
			text, asked := codesOf(e)[CautionBrandScale]
			if e.Verdict != c.want || asked != c.ask || asked && !strings.Contains(text, "wrong probe factor?") {
				t.Errorf("%s: %q (%s), %q", c.name, e.Verdict, e.Why, text)
			}
		}
	}
}
