package heater

import (
	"strings"
	"testing"
)

// A shunt of 20 Ω lets a heater of 0.3 A stand in a string with one of 0.6 A: the volts by
// ngspice, each heater a current source of i0·(v/v0)^0.6, from 15 V behind 3.9 Ω:
//
//	both in:                    6.203 V on the 12AX7, 6.429 V on the 6N1P
//	12AX7 out, its shunt left:  4.030 V on the 6N1P
//	15.75 V, 12AX7 out:         9.567 V on the shunt
//	12AX7 7 % more, 6N1P 0.55 A: 5.696 and 7.013 V
func TestShuntInAString(t *testing.T) {
	p := plan(t, "12AX7@string/20,6N1P@string", Supply{Volts: 15, RatedA: 2, TolFrac: 0.05}, Options{})
	l := layout{strands: p.Load.strands(), sharedOhm: 3.9}
	volts := func(sc scenario) map[string]float64 {
		got := map[string]float64{}
		for _, h := range l.solve(p.Supply, 0.6, sc).heaters {
			got[h.valve.Type] = h.volts
		}
		return got
	}
	both := volts(scenario{})
	near(t, "12AX7", both["12AX7"], 6.2027, 1e-3)
	near(t, "6N1P", both["6N1P"], 6.4287, 1e-3)
	out := scenario{gone: true, strand: 0, elem: 0}
	if got := volts(out); len(got) != 1 {
		t.Errorf("with the 12AX7 out: %v", got)
	}
	near(t, "6N1P alone", volts(out)["6N1P"], 4.0303, 1e-3)
	out.supply = 0.05
	near(t, "shunt alone", l.solve(p.Supply, 0.6, out).branchA[0]*20, 9.5666, 1e-3)
	odd := volts(scenario{oddOne: true, heaters: 1, strand: 0, elem: 0})
	near(t, "12AX7 odd", odd["12AX7"], 5.6962, 2e-3) // 0.05/0.6 is 8.33 %, the table's spread of the 6N1P
	near(t, "6N1P odd", odd["6N1P"], 7.0131, 3e-3)

	// Cold, the heater has a sixth of its 21 Ω: 3.5 Ω beside 20 Ω is 2.979 Ω, and the
	// 6N1P 10.5/6 = 1.75 Ω, so 15/(3.9 + 4.729) = 1.738 A.
	near(t, "cold, A", l.solve(p.Supply, 0.6, scenario{cold: 6}).totalA, 1.738, 1e-3)

	// The warm-up ends where the circuit settles.
	w := l.warmUp(p.Supply, p.Options)
	near(t, "warmed up, "+w.Heater, w.HeaterV[len(w.HeaterV)-1], both[w.Heater], 0.02)

	all := strings.Join(p.Warnings, "\n")
	if strings.Contains(all, "share its volts unevenly") || p.Best < 0 {
		t.Errorf("best %d, %s, %q", p.Best, p.BestWhy, all)
	}
	// 6.3²/20 = 2 W in the shunt, more in the worst case. With the 6N1P shorted and 15.75 V,
	// 11.7 V lie on the 12AX7: 11.7/20 + 0.3·(11.7/6.3)^0.6 = 1.02 A, which drop 4.04 V in
	// 3.96 Ω; 11.7²/20 = 6.85 W, more than the 4.6 W with its own valve out.
	shared, _ := p.Shared()
	shopping := ""
	for _, i := range shared.Shopping {
		shopping += i.Text() + "\n"
	}
	if !strings.Contains(shopping, "1 x 20 Ω resistor, 7 W or more") || !strings.Contains(shopping, "across each 12AX7 of its string") {
		t.Error(shopping)
	}
	pulled := corner(t, shared, "12AX7 pulled")
	if pulled.AllOff || pulled.Heater != "6N1P" || !strings.Contains(pulled.Note, "carries the string on") {
		t.Errorf("%+v", pulled)
	}
	if c := corner(t, shared, "6N1P pulled"); !c.AllOff {
		t.Errorf("a string without a shunt across the pulled one: %+v", c)
	}
	if got := p.best().Branches()[0].Heaters[0].ShuntOhm; got != 20 {
		t.Errorf("shunt in the sketch: %g", got)
	}
}

// Two heaters of one shunted kind: with one out, the other and the rest of the string get
// less; two groups that differ in their shunt stay apart.
func TestShuntsOfSeveral(t *testing.T) {
	p := plan(t, "2xEF86@string:A/31.5,1x12AX7@string:A/63,1x6DJ8@string:A", Supply{Volts: 27, RatedA: 2}, Options{})
	near(t, "rail", p.Load.Volts, 25.2, 1e-9)
	if len(p.Load.Groups) != 3 || p.Load.Groups[0].Count != 2 {
		t.Fatalf("%+v", p.Load.Groups)
	}
	// 0.2 + 6.3/31.5 = 0.4, 0.3 + 0.1 = 0.4 and 0.365 A: 9 % under, told for the 6DJ8 only.
	if w := strings.Join(p.Warnings, "\n"); strings.Count(w, "share its volts unevenly") != 1 || !strings.Contains(w, "across each 6DJ8 takes") {
		t.Error(w)
	}
	for _, c := range []struct{ valves, want string }{
		{"12AX7/20", "shunt across 12AX7 outside a string"}, {"12AX7@string/x,6N1P@string", "shunt: found \"x\""}, {"12AX7@string/0.1,6N1P@string", "shunt in ohms: found 0.1"},
		{"12AX7@string/0,6N1P@string", "shunt: found"}, {"12AX7@parallel/20", "outside a string"},
	} {
		if _, err := ParseLoad(c.valves, nil); err == nil || c.valves != "12AX7/20" && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.valves, err)
		}
	}
}
