package pipeline

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/analysis/target"
)

// What a sheet says of the air at the dropper, of headroom and of where a unit limits its
// current decides its plan as the dropper command's flags do. By hand: 2.5 A at most put
// 2.5²·0.7875 = 4.92 W into 0.75 Ω +5 % with a heater shorted, which 5 W carries at 25 °C;
// at 100 °C 0.7 of a rating is left, and 4.92/0.7 = 7.03 W asks for 10 W. 1.01 A is 50 %
// of 2 A.
func TestSheetsAirHeadroomAndLimit(t *testing.T) {
	plan := func(heaters, unit string) (fitW, ambientC, limitA float64, headroom string) {
		t.Helper()
		path := filepath.Join(t.TempDir(), "bench.toml")
		text := "mains_hz = 50\n[heaters]\n" + heaters + "\n[[heaters.valve]]\ntype = \"12AU7\"\ncount = 2\n[[heaters.valve]]\ntype = \"6N2P\"\n" +
			"[[unit]]\nbrand = \"Quibble\"\nmark = \"Q1\"\nrated_v = 7\nrated_a = 2\n" + unit + "\nreadings = [{ load_a = 0, v = 7 }, { load_a = 0.94, v = 7 }]\n"
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		p := mustEvaluate(t, path, nil).Units[0].Plan
		shared, ok := p.Shared()
		if !ok || shared.Label != "0.75 Ω" {
			t.Fatalf("fit %q: %s", shared.Label, p.Why)
		}
		return shared.FitW(), *p.Options.AmbientC, p.Supply.LimitA, p.Headroom
	}
	for _, c := range []struct {
		heaters, unit         string
		fitW, ambient, limitA float64
		headroom              string
	}{
		{"", "", 15, 25, 0, "within the 80 % rule"},
		{"", "limit_a = 2.5", 5, 25, 2.5, "within"},
		{"ambient_c = 100", "limit_a = 2.5", 10, 100, 2.5, "within"},
		{"ambient_c = 0", "limit_a = 2.5", 5, 0, 2.5, "within"},
		{"headroom_percent = 40", "", 15, 25, 0, "over the 40 % rule"},
	} {
		fitW, ambient, limitA, headroom := plan(c.heaters, c.unit)
		if fitW != c.fitW || math.Abs(ambient-c.ambient) > 1e-9 || limitA != c.limitA || !strings.Contains(headroom, c.headroom) {
			t.Errorf("%q, %q: %g W, %g °C, %g A, %s", c.heaters, c.unit, fitW, ambient, limitA, headroom)
		}
	}
}

// Volts under a named target's band, which leaves room for a dropper, are inside it where
// the heaters stay inside ±10 % of their own as they are: from 11.34 V for 12.6 V and from
// 5.67 V for 6.3 V, by hand.
func TestVoltsThatNeedNoDropperAreInside(t *testing.T) {
	for _, c := range []struct {
		valve, wiring string
		volts, least  float64
		inside        bool
	}{
		{"12AX7", "series", 12.6, 11.34, true}, {"12AX7", "series", 12, 11.34, true}, {"12AX7", "series", 11.2, 13.2, false}, {"12AX7", "series", 14, 13.2, true},
		{"6N2P", "", 6.3, 5.67, true}, {"6N2P", "", 6.5, 5.67, true}, {"6N2P", "", 5.5, 6.6, false}, {"6922", "", 6, 5.985, true}, {"6922", "", 5.9, 6.6, false},
	} {
		path := filepath.Join(t.TempDir(), "bench.toml")
		text := fmt.Sprintf("mains_hz = 50\n[[heaters.valve]]\ntype = %q\nwiring = %q\n[[unit]]\nbrand = \"Quibble\"\nrated_v = 7\nrated_a = 2\nreadings = [{ load_a = 0, v = %[3]g }, { load_a = 0.4, v = %[3]g }]\n", c.valve, c.wiring, c.volts)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		judged := false
		for _, m := range mustEvaluate(t, path, nil).Units[0].Eval.Margins {
			if m.Limit.Criterion != target.HeaterDC || !m.Covered {
				continue
			}
			if judged = true; (m.DB >= 0) != c.inside || math.Abs(m.Limit.Min-c.least) > 0.002 {
				t.Errorf("%s on %g V: %.1f dB in %g to %g V", c.valve, c.volts, m.DB, m.Limit.Min, m.Limit.Max)
			}
		}
		if !judged {
			t.Errorf("%s on %g V: not judged", c.valve, c.volts)
		}
	}
}

// A shunt in the sheet reaches the plan as the dropper command's does.
func TestSheetsShunt(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.toml")
	text := "mains_hz = 50\n[[heaters.valve]]\ntype = \"12AX7\"\nwiring = \"string\"\nshunt_ohm = 20\n[[heaters.valve]]\ntype = \"6N1P\"\nwiring = \"string\"\n" +
		"[[unit]]\nbrand = \"Quibble\"\nrated_v = 15\nrated_a = 2\nreadings = [{ load_a = 0, v = 15 }, { load_a = 0.6, v = 15 }]\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p := mustEvaluate(t, path, nil).Units[0].Plan
	if p == nil || p.Load.Groups[0].ShuntOhm != 20 || !strings.Contains(p.Load.Describe(), "20 Ω across each") || math.Abs(p.NominalA-0.606) > 0.002 {
		t.Errorf("%+v", p)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(text, "wiring = \"string\"", "wiring = \"parallel\"", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Evaluate(t.Context(), path, Options{SkipFilter: true}); err == nil || !strings.Contains(err.Error(), ":5:1: shunt_ohm = 20 with wiring \"parallel\"") {
		t.Error(err)
	}
}
