package heater

import (
	"encoding/json"
	"os"
	"os/exec"
	"testing"

	"stillglow/capture/synth/testrun"
)

// rootCase is a row of root_points.json, written by root_solver.py.
type rootCase struct {
	Name     string  `json:"name"`
	V        float64 `json:"v"`
	Out      float64 `json:"out"`
	Lead     float64 `json:"lead"`
	Shared   float64 `json:"shared"`
	N        float64 `json:"n"`
	Supply   float64 `json:"supply"`
	Part     float64 `json:"part"`
	Heaters  float64 `json:"heaters"`
	Pulled   int     `json:"pulled"`
	Short    []int   `json:"short"`
	Limit    float64 `json:"limit"`
	Branches []struct {
		Count   int          `json:"count"`
		Ohm     float64      `json:"ohm"`
		Heaters [][2]float64 `json:"heaters"`
	} `json:"s"`
}

// Thirty operating points, tolerances, a pulled valve and shorts among them,
// against scipy's root finder on Kirchhoff's laws written out apart from this
// package: load, heat of the hottest part and the hottest heater within 1e-6.
func TestOperatingPointsAgainstARootSolver(t *testing.T) {
	data, err := os.ReadFile(reference + "root_points.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []rootCase
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	want := rows(t, "root_points.csv")
	if len(cases) != 30 || len(want) != 30 {
		t.Fatalf("%d cases, %d results", len(cases), len(want))
	}
	for _, c := range cases {
		l := layout{sharedOhm: c.Shared}
		own := 0.0
		for _, b := range c.Branches {
			st := strand{name: "reference", count: b.Count, string: len(b.Heaters) > 1}
			for _, h := range b.Heaters {
				st.elems = append(st.elems, element{v0: h[0], i0: h[1], mult: 1, valve: Valve{Type: "reference", VoltTol: 0.1, AmpTol: 0.07}})
			}
			l.strands, l.strandOhm, own = append(l.strands, st), append(l.strandOhm, b.Ohm), own+b.Ohm
		}
		if own == 0 {
			l.strandOhm = nil
		}
		sc := scenario{supply: c.Supply, part: c.Part, heaters: c.Heaters, pulled: c.Pulled}
		if c.Short != nil {
			sc.shorted, sc.strand, sc.elem = true, c.Short[0], c.Short[1]
		}
		got := l.solve(Supply{Volts: c.V, OutputOhm: c.Out, LeadOhm: c.Lead, LimitA: c.Limit}, c.N, sc)
		r := want[c.Name][0]
		near(t, c.Name+" load, A", got.totalA, r[0], 1e-6*r[0])
		near(t, c.Name+" hottest part, W", got.maxW(), r[1], 1e-6*r[1]+1e-12)
		hottest := 0.0
		if h, ok := got.hottest(); ok {
			hottest = h.volts / h.rated
		}
		near(t, c.Name+" hottest heater", hottest, r[2], 1e-6)
	}
}

// Where scipy is at hand, the committed points are solved afresh.
func TestRootPointsAreFresh(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL to solve them afresh")
	}
	if exec.Command("/usr/bin/python3", "-c", "import scipy").Run() != nil {
		t.Skip("scipy is not installed")
	}
	if out, err := exec.Command("/usr/bin/python3", reference+"root_solver.py", "--check").CombinedOutput(); err != nil {
		t.Errorf("root_solver.py --check: %v\n%s", err, out)
	}
}
