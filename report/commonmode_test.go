package report

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// halves is a report of units in the common-mode states given, by a target that
// limits it.
func halves(t *testing.T, states ...target.CommonState) *Report {
	t.Helper()
	goal, err := target.Named(target.Default)
	if err != nil {
		t.Fatal(err)
	}
	r := &Report{Target: goal}
	for i, s := range states {
		e := target.Evaluation{Unit: target.Unit{Key: "Invented " + string(rune('A'+i)), Brand: "Invented", Mark: string(rune('A' + i))}, Verdict: target.Pass, Rank: i + 1, Worst: 0, WorstDB: 3, Common: s}
		for k, l := range goal.Limits {
			m := target.Margin{Limit: l, Reason: "no capture"}
			open := l.Criterion.CommonMode() && (s == target.CommonOpen || s == target.CommonInPart && l.Criterion == target.CommonPP)
			if !open {
				m.Covered, m.Figure, m.DB = true, figure.Known(l.Max/2), 6+float64(k)
			}
			e.Margins = append(e.Margins, m)
		}
		r.Units = append(r.Units, Unit{Eval: e})
	}
	return r
}

// A report says that half of the question is open wherever it is, names what to
// capture, and nothing where all is measured.
func TestOpenHalfIsSaid(t *testing.T) {
	all := halves(t, target.CommonMeasured, target.CommonMeasured)
	if a := all.Answer(); a.Common != "" || strings.Contains(a.Best, "half") {
		t.Errorf("all measured: %q, %q", a.Common, a.Best)
	}
	for name, r := range map[string]*Report{
		"none": halves(t, target.CommonOpen, target.CommonOpen),
		"some": halves(t, target.CommonOpen, target.CommonMeasured),
		"part": halves(t, target.CommonInPart, target.CommonMeasured),
	} {
		a := r.Answer()
		if !strings.Contains(a.Common, "open") || !strings.Contains(a.Common, `join both output wires to chassis or earth through 100 Ω`) {
			t.Errorf("%s: %q says not what is open and what to capture", name, a.Common)
		}
		if !strings.Contains(a.Best, "common mode is open") {
			t.Errorf("%s: the first sentence hides it: %q", name, a.Best)
		}
		var table strings.Builder
		if err := WriteTable(&table, r, TableOptions{}); err != nil {
			t.Fatal(err)
		}
		page, err := r.HTML(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if name == "none" && strings.Count(string(page), "), common mode open</span></summary>") != len(r.Units) {
			t.Error("a unit's own heading on the page does not say it")
		}
		for where, text := range map[string]string{"table": table.String(), "log": string(r.Markdown()), "page": string(page)} {
			if !strings.Contains(strings.Join(strings.Fields(text), " "), "common mode is open") {
				t.Errorf("%s: the %s does not say it", name, where)
			}
		}
	}
	limitless := halves(t, target.CommonNotAsked)
	limitless.Target.Limits = limitless.Target.Limits[:7]
	if a := limitless.Answer(); !strings.Contains(a.Common, "no common-mode limits") {
		t.Errorf("without limits: %q", a.Common)
	}
	b, err := all.JSON()
	if err != nil {
		t.Fatal(err)
	}
	if err := validate(t, compileSchema(t, "", true), b); err != nil {
		t.Error(err)
	}
}

// Common-mode captures are drawn in their own section and nowhere else.
func TestCommonModeIsDrawnApart(t *testing.T) {
	common := &analysis.Measurement{File: "both.csv", Mode: capture.Common, Calibrated: true, SampleRateHz: 1e8,
		Waveform: analysis.Envelope{StepS: 1, MinV: []float64{0, 1}, MaxV: []float64{0, 1}},
		Detail:   analysis.Envelope{StepS: 1, MinV: []float64{0, 1}, MaxV: []float64{0, 1}}}
	common.Cycle.MeanV = []float64{0, 1, 0}
	common.Spikes.Typical = common.Detail
	for hz := 10.0; hz < 1e7; hz *= 1.1 {
		common.Spectrum.FrequencyHz = append(common.Spectrum.FrequencyHz, hz)
		common.Spectrum.VPerRtHz = append(common.Spectrum.VPerRtHz, 1e-6)
	}
	cs := []Capture{{M: common}}
	if longest(cs) != nil || fastest(cs) != nil || cycleOf(cs) != nil || spikeOf(cs) != nil || len(spectra(cs)) != 0 {
		t.Error("a common-mode capture is drawn as one across the output")
	}
	r := halves(t, target.CommonMeasured)
	r.Units[0].Captures = cs
	if commonFigure(r, 400) == nil {
		t.Error("it is not drawn in its own section")
	}
	page, err := r.HTML(t.Context())
	if err != nil || !strings.Contains(string(page), `id="common"`) {
		t.Errorf("no section on the page: %v", err)
	}
}

// Where a broken rule-of-thumb limit and the hearing sum disagree, the finding says
// so, and which to believe.
func TestDisputesAreInTheFinding(t *testing.T) {
	r := halves(t, target.CommonMeasured)
	e := &r.Units[0].Eval
	for i := range e.Margins {
		if e.Margins[i].Limit.Criterion == target.MainsLine {
			e.Margins[i].DB = -17
		}
	}
	h := &target.Heard{Known: true, DifferentialKnown: true, DifferentialWhole: true, DifferentialAVRMS: 1e-7, InputAVRMS: 1e-7, ThermalAVRMS: 7.08e-7, UnderDB: 17}
	r.Units[0].Hears = h
	a := r.Answer()
	if len(a.Disputes) != 1 || !strings.Contains(a.Disputes[0], "17.0 dB under") || !strings.Contains(a.Disputes[0], "believe the calculation") {
		t.Errorf("%q", a.Disputes)
	}
	var table strings.Builder
	if err := WriteTable(&table, r, TableOptions{}); err != nil || !strings.Contains(strings.Join(strings.Fields(table.String()), " "), "believe the calculation") {
		t.Errorf("not in the ranking: %v", err)
	}
	h.UnderDB, h.DifferentialAVRMS = 60, 1e-12
	if w := heardWords(h); !strings.Contains(w.Words, "60 dB or more under") {
		t.Errorf("%q", w.Words)
	}
}
