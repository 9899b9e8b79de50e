package heater

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strconv"
	"testing"

	"stillglow/capture/synth/testrun"
)

// The reference figures were made by ngspice, a general circuit simulator, with
// behavioural heaters; generate.py beside them makes them afresh.
const reference = "../../testdata/reference/heater/"

type refCase struct {
	Name      string  `json:"name"`
	SupplyV   float64 `json:"supply_v"`
	OutputOhm float64 `json:"output_ohm"`
	LeadOhm   float64 `json:"lead_ohm"`
	SharedOhm float64 `json:"shared_ohm"`
	Diode     string  `json:"diode"`
	Diodes    int     `json:"diodes"`
	N         float64 `json:"n"`
	ColdRatio float64 `json:"cold_ratio"`
	TauS      float64 `json:"tau_s"`
	Strands   []struct {
		Count   int          `json:"count"`
		Ohm     float64      `json:"ohm"`
		Heaters [][2]float64 `json:"heaters"`
	} `json:"strands"`
	Plan *struct{ Valves, Part string } `json:"plan"`
}

func (c refCase) supply() Supply {
	return Supply{Volts: c.SupplyV, OutputOhm: c.OutputOhm, LeadOhm: c.LeadOhm}
}

func (c refCase) layout() layout {
	l := layout{sharedOhm: c.SharedOhm, diodes: c.Diodes}
	switch c.Diode {
	case "silicon":
		l.diode = &siliconDiode
	case "schottky":
		l.diode = &schottkyDiode
	}
	own := 0.0
	var each []float64
	for _, s := range c.Strands {
		st := strand{name: "reference", count: s.Count, string: len(s.Heaters) > 1}
		for _, h := range s.Heaters {
			st.elems = append(st.elems, element{v0: h[0], i0: h[1], mult: 1, valve: Valve{Type: "reference", VoltTol: 0.1}})
		}
		l.strands = append(l.strands, st)
		each = append(each, s.Ohm)
		own += s.Ohm
	}
	if own > 0 {
		l.strandOhm = each
	}
	return l
}

func readReference(t *testing.T) (points, warmUps []refCase) {
	t.Helper()
	data, err := os.ReadFile(reference + "cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		OperatingPoints []refCase `json:"operating_points"`
		WarmUps         []refCase `json:"warm_ups"`
	}
	if err := json.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	return doc.OperatingPoints, doc.WarmUps
}

// rows reads a reference table: case name to its rows, numbers from column 1.
func rows(t *testing.T, name string) map[string][][]float64 {
	t.Helper()
	f, err := os.Open(reference + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][][]float64{}
	for _, r := range all[1:] {
		var v []float64
		for _, cell := range r[1:] {
			x, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			v = append(v, x)
		}
		out[r[0]] = append(out[r[0]], v)
	}
	return out
}

// Every operating point agrees with ngspice within 0.5 %, the solver's own
// within 0.01 %.
func TestOperatingPointsAgainstNgspice(t *testing.T) {
	cases, _ := readReference(t)
	want := rows(t, "operating_points.csv")
	if len(cases) < 20 {
		t.Fatalf("only %d cases", len(cases))
	}
	for _, c := range cases {
		got := c.layout().solve(c.supply(), c.N, scenario{})
		if len(want[c.Name]) != len(got.heaters) {
			t.Fatalf("%s: %d reference heaters, %d solved", c.Name, len(want[c.Name]), len(got.heaters))
		}
		for i, r := range want[c.Name] {
			near(t, fmt.Sprintf("%s heater %d volts", c.Name, i), got.heaters[i].volts, r[2], 1e-4*r[2])
			near(t, c.Name+" amps", got.totalA, r[3], 1e-4*r[3])
		}
		if c.Plan == nil {
			continue
		}
		load, err := ParseLoad(c.Plan.Valves, nil)
		if err != nil {
			t.Fatal(err)
		}
		p, err := MakePlan(load, c.supply(), Options{Exponent: c.N})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, a := range p.Arrangements {
			for _, part := range a.Parts {
				if part.Label != c.Plan.Part {
					continue
				}
				found = true
				closest := math.Inf(1)
				for _, r := range want[c.Name] {
					closest = math.Min(closest, math.Abs(part.HeaterV/r[2]-1))
				}
				near(t, c.Name+" plan's heater volts, relative", closest, 0, 0.005)
				near(t, c.Name+" plan's load amps", part.LoadA, want[c.Name][0][3], 0.005*part.LoadA)
			}
		}
		if !found {
			t.Errorf("%s: the plan has no part %q", c.Name, c.Plan.Part)
		}
	}
}

// The warm-up agrees with ngspice's transient analysis of the same thermal
// model within 0.5 %.
func TestWarmUpAgainstNgspice(t *testing.T) {
	_, cases := readReference(t)
	want := rows(t, "warm_ups.csv")
	for _, c := range cases {
		th := newThermal(Options{Exponent: c.N, ColdRatio: c.ColdRatio, WarmUpS: 11})
		th.tauS = c.TauS
		r := c.layout().simulate(c.supply(), th, 0, 4*warmUpStep)
		kind := map[[2]int]int{}
		for j, h := range r.heaters {
			e := 0
			for i := range j {
				if r.heaters[i].strand == h.strand {
					e++
				}
			}
			kind[[2]int{h.strand, e}] = j
		}
		for _, w := range want[c.Name] {
			j := kind[[2]int{int(w[1]), int(w[2])}]
			k, f := len(r.timeS)-1, 0.0 // settled: the last row holds
			for i := 1; i < len(r.timeS); i++ {
				if r.timeS[i] >= w[0] {
					k, f = i-1, (w[0]-r.timeS[i-1])/(r.timeS[i]-r.timeS[i-1])
					break
				}
			}
			at := func(v func(k int) float64) float64 {
				if f == 0 {
					return v(k)
				}
				return v(k) + f*(v(k+1)-v(k))
			}
			name := fmt.Sprintf("%s at %g s, heater %d", c.Name, w[0], j)
			near(t, name+" volts", at(func(k int) float64 { return r.volts[k][j] }), w[3], 0.005*w[3])
			near(t, name+" amps", at(func(k int) float64 { return r.loadA[k] }), w[4], 0.005*w[4])
			near(t, name+" temperature", at(func(k int) float64 { return r.temp[k][j] }), w[5], 0.005*w[5])
		}
	}
}

// Where ngspice is at hand, the committed figures are made afresh and compared.
func TestReferenceIsWhatNgspiceSays(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL to simulate it afresh")
	}
	for _, tool := range []string{"ngspice", "python3"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("%s is not installed", tool)
		}
	}
	out, err := exec.Command("python3", reference+"generate.py", "--check").CombinedOutput()
	if err != nil {
		t.Errorf("generate.py --check: %v\n%s", err, out)
	}
}
