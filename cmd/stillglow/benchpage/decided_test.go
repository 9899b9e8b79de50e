package benchpage

import (
	"strings"
	"testing"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// Units that lack the same stand in one row, and what is still to be measured is
// told above the verdicts and in the step's own words.
func TestVerdictsSoFar(t *testing.T) {
	limits := []target.Margin{{Limit: target.Limit{Criterion: target.HeaterDC, Name: "DC"}}}
	r := &report.Report{}
	for _, key := range []string{"Quibble Q1", "Quibble Q2", "Quibble Q3"} {
		u := report.Unit{}
		u.Eval.Unit.Key, u.Eval.Margins = key, limits
		r.Units = append(r.Units, u)
	}
	r.Units[2].Eval.Margins = nil
	b := &bench{sheet: &sheet.Sheet{}, take: func([]target.Limit, sheet.Instrument) []Take { return nil }, decision: decision{report: r, left: 2}}
	v := view{Parts: &report.Parts{}}
	v.decision(b)
	if len(v.Open) != 2 || len(v.Open[0].Units) != 2 || v.Open[0].Units[1].Name != "Quibble Q2" || v.Open[1].Units[0].Name != "Quibble Q3" {
		t.Errorf("rows of what is open: %+v", v.Open)
	}
	if v.Left != "2 captures" {
		t.Errorf("left to measure: %q", v.Left)
	}
	v.Parts = &report.Parts{Units: make([]report.UnitParts, 3)}
	v.steps()
	if got := v.Steps[3].State; got != "0 of 3 pass so far" {
		t.Errorf("the verdicts' step says %q", got)
	}
	b.decision.left = 0
	v = view{}
	v.decision(b)
	if v.Left != "" {
		t.Errorf("nothing is left to measure, told as %q", v.Left)
	}
}

// Once all is measured, no verdict says that something is not.
func TestNothingLeftToMeasure(t *testing.T) {
	s := serve(t, Options{})
	s.send(t, "q1.csv", 7)
	s.must(t, "give", "id", s.id(t, "q1.csv"), "brand", "Quibble", "mark", "Q1", "load_a", "1")
	s.until(t, "/part/decided", "Quibble Q1")
	s.until(t, "/part/bar", "of 1 pass<")
	if page := s.get(t, "/part/decided"); strings.Contains(page, "Still to be measured") {
		t.Error("all is measured, and the page says that something is not")
	}
}
