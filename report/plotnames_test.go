package report

import (
	"slices"
	"testing"

	"stillglow/analysis/target"
)

// A plot keeps its name when the ranking changes, and no two units share one.
func TestPlotNamesOutliveTheRanking(t *testing.T) {
	named := func(keys ...string) map[string]string {
		r := &Report{}
		for _, k := range keys {
			r.Units = append(r.Units, Unit{Eval: target.Evaluation{Unit: target.Unit{Key: k}}})
		}
		names := map[string]string{}
		bases := r.plotBases()
		for i, k := range keys {
			names[k] = bases[i]
		}
		return names
	}
	keys := []string{"Marlpit A1", "Marlpit a1", "Marlpit A1 2", "Tressock B1", "Marlpit_A1"}
	first := named(keys...)
	slices.Reverse(keys)
	second := named(keys...)
	seen := map[string]bool{}
	for _, k := range keys {
		if first[k] != second[k] {
			t.Errorf("%s: %q, behind another ranking %q", k, first[k], second[k])
		}
		if seen[first[k]] {
			t.Errorf("%q names the plots of two units", first[k])
		}
		seen[first[k]] = true
	}
	if first["Tressock B1"] != "tressock-b1" {
		t.Errorf("got %q", first["Tressock B1"])
	}
}
