package report

import (
	"strings"
	"testing"

	"stillglow/analysis/target"
)

// When nothing passes, the headline names the undecided unit that looks best too.
func TestHeadlineNamesTheBestUndecidedUnit(t *testing.T) {
	unit := func(mark string, v target.Verdict, db float64) Unit {
		u := target.Unit{Brand: "Alder", Mark: mark, Key: "Alder " + mark}
		return Unit{Eval: target.Evaluation{Unit: u, Verdict: v, Worst: 0, WorstDB: db,
			Margins: []target.Margin{{Limit: target.Limit{Name: "noise", Unit: "V/√Hz", Max: 1e-6}, Covered: true, DB: db}}}}
	}
	r := &Report{Units: []Unit{unit("N1", target.NearMiss, -3), unit("O1", target.Open, 2), unit("R1", target.Retake, 5), unit("R2", target.Retake, -9)}}
	got := r.Answer().Best
	if !strings.Contains(got, "No unit passes") || !strings.Contains(got, "R1") || strings.Contains(got, "O1") {
		t.Error(got)
	}
	r.Units[0].Eval.Verdict = target.Pass
	if got := r.Answer().Best; strings.Contains(got, "R1") {
		t.Error(got)
	}
}
