package report

import (
	"context"
	"strings"
	"testing"

	"stillglow/analysis/target"
)

// A supply measured bare, behind its filter and behind its dropper stands in every
// output with before and after, and counts once in the finding.
func TestStates(t *testing.T) {
	r := fixture(3)
	units, u := r.supplies(), r.Units[0]
	u.Eval.Unit.Date = "2026-01-10"
	r.Units[0] = u
	for i, s := range []struct {
		state target.State
		date  string
		times float64
	}{{target.BehindFilter, "2026-02-10", 0.1}, {target.BehindDropper, "2026-02-11", 0.05}} {
		x := u
		x.Eval.Aside, x.Eval.Unit.State, x.Eval.Unit.Date, x.Eval.Unit.Index = true, s.state, s.date, 100+i
		x.Eval.Unit.Key += " " + stateWords[s.state]
		x.Eval.Margins = append([]target.Margin(nil), u.Eval.Margins...)
		for k := range x.Eval.Margins {
			if x.Eval.Margins[k].Limit.Criterion != target.HeaterDC {
				x.Eval.Margins[k].Figure.Value *= s.times
			}
		}
		r.Units = append(r.Units, x)
	}
	if got := r.supplies(); got != units {
		t.Errorf("%d supplies, want %d", got, units)
	}
	v := r.states(len(r.Units) - 1)
	if v == nil || len(v.Heads) != 3 || v.Heads[1] != (stateHead{"2026-02-10", "behind its filter", false}) || !v.Heads[2].Here {
		t.Fatalf("%+v", v)
	}
	changes := 0
	for _, line := range v.Lines[2:] {
		if line.Cells[0] == "not measured" || line.Name == "DC" {
			continue
		}
		if strings.HasSuffix(line.Cells[1], "(-20.0 dB)") && strings.HasSuffix(line.Cells[2], "(-26.0 dB)") {
			changes++
		}
	}
	if changes < 3 {
		t.Errorf("%d criteria with their change: %+v", changes, v.Lines)
	}
	if r.states(1) != nil {
		t.Error("a unit of one state has before and after")
	}
	files, err := Render(context.Background(), r, RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"index.html": "Before and after, by date", "buildlog.md": "behind its dropper, 2026-02-11",
		"results.csv": "dropper,2026-02-11,false", "results.json": `"state":"dropper"`} {
		for _, f := range files {
			if f.Name == name && !strings.Contains(string(f.Bytes), want) {
				t.Errorf("%s without %q", name, want)
			}
		}
	}
}
