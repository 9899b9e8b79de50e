package pipeline

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"stillglow/analysis/target"
)

// A unit behind its dropper is judged on the heaters' volts, gets no further dropper,
// and its brand counts it once.
func TestStatesOfOneUnit(t *testing.T) {
	dir := t.TempDir()
	sheet := "target = \"line-preamp\"\n[[heaters.valve]]\ntype = \"12AU7\"\ncount = 2\n"
	for i, s := range []struct {
		state string
		v     float64
	}{{"bare", 7}, {"dropper", 6.3}} {
		file := fmt.Sprintf("%s.csv", s.state)
		write(t, filepath.Join(dir, file), string(rippleCSV(t, uint64(i+1), "")))
		sheet += fmt.Sprintf("[[unit]]\nbrand = \"Alder\"\nmark = \"1\"\nrated_v = 7\nstate = %q\nreadings = [{ load_a = 0.6, v = %g }]\ncapture = [{ file = %q, load_a = 0.6, coupling = \"ac\" }]\n", s.state, s.v, file)
	}
	path := filepath.Join(dir, "bench.toml")
	write(t, path, sheet)
	r, err := Evaluate(context.Background(), path, Options{SkipFilter: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Brands) != 1 || r.Brands[0].Units != 1 {
		t.Errorf("brands %+v, want one unit", r.Brands)
	}
	for _, u := range r.Units {
		dropped := u.Eval.Unit.State == target.BehindDropper
		for _, m := range u.Eval.Margins {
			if m.Limit.Criterion == target.HeaterDC && (!m.Covered || m.DB < 0 || (m.Limit.Min < 6) != dropped) {
				t.Errorf("%s: DC %+v", u.Eval.Unit.Key, m)
			}
		}
		if (u.Plan == nil) != dropped || u.Eval.Aside != dropped {
			t.Errorf("%s: plan %v, aside %v", u.Eval.Unit.Key, u.Plan != nil, u.Eval.Aside)
		}
	}
}
