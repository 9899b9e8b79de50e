package heater

import (
	"math"
	"strings"
	"testing"
)

// Heaters of several rails on one supply, each behind its own resistor or none. The volts
// are scipy's (testdata/reference/heater/rails.py, brentq on Kirchhoff's laws: the supply
// behind its output resistance, each branch a resistor and a heater of I = i0·(V/v0)^0.6).
func TestHeatersOfSeveralRails(t *testing.T) {
	for _, c := range []struct {
		valves string
		supply Supply
		ohms   []float64
		volts  []float64
		watts  []float64
	}{
		{"2x12SN7,1x6SN7", Supply{Volts: 15, OutputOhm: 0.2}, []float64{8, 14.5}, []float64{12.387119, 6.170474}, []float64{0.705427, 5.091480}},
		{"12SN7,2x6SN7", Supply{Volts: 12.6, OutputOhm: 0.1}, []float64{0, 10.5}, []float64{12.451277, 6.207152}, []float64{0, 3.713248}},
		{"7DJ8,6SN7", Supply{Volts: 7.5, OutputOhm: 0.1}, []float64{1.6, 1.8}, []float64{6.932788, 6.327220}, []float64{0.142342, 0.651361}},
	} {
		load, err := ParseLoad(c.valves, nil)
		if err != nil || !load.Mixed() {
			t.Fatalf("%s: %v, rails %v", c.valves, err, load.Rails)
		}
		s := layout{strands: load.strands(), strandOhm: c.ohms}.solve(c.supply, 0.6, scenario{})
		for k, want := range c.volts {
			near(t, c.valves+" volts", s.heaters[k].volts, want, 1e-5)
			near(t, c.valves+" watts", s.partW[k], c.watts[k], 1e-5)
		}
	}
}

// What is planned for them: by Ohm's law (supply less the heater's volts) over its current,
// no resistor where the supply suits as it is, and nothing that all would share.
func TestPlanForSeveralRails(t *testing.T) {
	for _, c := range []struct {
		valves string
		volts  float64
		exact  string
		bare   bool // the first type goes straight on
		hint   string
	}{
		{"2x12SN7,1x6SN7", 15, "8 Ω for each 12SN7GT, 14.5 Ω for each 6SN7GT", false, ""},
		{"2x12AU7@series,1x6N2P", 15, "16 Ω for each 12AU7, 25.59 Ω for each 6N2P", false, "the 12AU7 in parallel (2x12AU7@parallel) all share a rail of 6.3 V"},
		{"12SL7,6SL7", 12, "none for each 12SL7GT, 19 Ω for each 6SL7GT", true, ""},
		{"12SN7,2x6SN7", 15, "8 Ω for each 12SN7GT, 14.5 Ω for each 6SN7GT", false, "the 6SN7GT in one string (2x6SN7GT@string) all share a rail of 12.6 V"},
		{"7DJ8,6SN7", 7, "none for each 7DJ8, 1.167 Ω for each 6SN7GT", true, ""},
		{"12SN7,12AX7,6SL7", 15, "8 Ω for each 12SN7GT, 16 Ω for each 12AX7, 29 Ω for each 6SL7GT", false, ""}, // the 12AX7 takes the rail of less heat
	} {
		p := plan(t, c.valves, Supply{Volts: c.volts, RatedA: 3}, Options{})
		if p.Best < 0 || p.Arrangements[p.Best].Name == NameNone || p.Arrangements[p.Best].Name == NameShared {
			t.Errorf("%s on %g V: recommended %d", c.valves, c.volts, p.Best)
			continue
		}
		own := p.Arrangements[1]
		if own.Exact != c.exact {
			t.Errorf("%s on %g V: %s", c.valves, c.volts, own.Exact)
		}
		part := own.Parts[own.Best]
		if (part.Set[0].Ohm == 0) != c.bare || math.Abs(part.ErrFrac) > 0.05 {
			t.Errorf("%s on %g V: %s, %+.1f %%", c.valves, c.volts, part.Label, 100*part.ErrFrac)
		}
		for _, i := range part.Shopping {
			if strings.Contains(i.What, "none") || strings.HasPrefix(i.What, "0 Ω") {
				t.Errorf("%s: to buy: %s", c.valves, i.Text())
			}
		}
		for _, a := range p.Arrangements {
			if shared := a.Name == NameShared || strings.Contains(a.Name, "diode"); shared && a.Best >= 0 {
				t.Errorf("%s: %s is offered", c.valves, a.Name)
			}
		}
		if !strings.Contains(strings.Join(p.Warnings, "\n"), "on one supply: each needs the resistor that is named for it") {
			t.Errorf("%s: %q", c.valves, p.Warnings)
		}
		if h := strings.Join(p.Hints, "\n"); !strings.Contains(h, c.hint) || c.hint == "" && strings.Contains(h, "all share") {
			t.Errorf("%s: %q", c.valves, h)
		}
	}
	// 9 V feed no 12.6 V heater, and 12 V are 5 % under the rating, inside its ±10 %.
	if p := plan(t, "12SN7,6SN7", Supply{Volts: 9}, Options{}); p.CanFeed || !strings.Contains(p.Why, "9 V is less than 12.6 V") {
		t.Errorf("%v, %q", p.CanFeed, p.Why)
	}
	// All in: a resistor meant for one heater's place is never left out for another's.
	p := plan(t, "12SN7,2x6SN7", Supply{Volts: 12.6, RatedA: 3, TolFrac: 0.05}, Options{})
	if rewired := p.Arrangements[p.Best].Rewired; rewired != "1 x 12SN7GT by itself, a string of 2x6SN7GT" || p.best().Label != "none" {
		t.Errorf("%q, %q", rewired, p.best().Label)
	}
	if err := p.Load.Check(); err != nil {
		t.Error(err)
	}
	near(t, "rated volts of the warm-up shown", p.WarmUp.RatedV, map[string]float64{"12SN7GT": 12.6, "6SN7GT": 6.3}[p.WarmUp.Heater], 0)
}

// Two equal valves on 7 V get a resistor each, the smaller parts that stand a short; what
// that means for a post-filter, which wants one resistor, is said, and not where one is
// taken anyway.
func TestFilterBesideAResistorEach(t *testing.T) {
	for valves, says := range map[string]string{
		"2x6N2P":         "takes the one shared resistor instead, 1.2 Ω",
		"2x12AU7,1x6N2P": "",
		"12AU7":          "",
		"7DJ8,6SN7":      "",
	} {
		p := plan(t, valves, Supply{Volts: 7, RatedA: 2, TolFrac: 0.05}, Options{})
		if h := strings.Join(p.Hints, "\n"); !strings.Contains(h, says) || says == "" && strings.Contains(h, "post-filter") {
			t.Errorf("%s: %q", valves, h)
		}
	}
}

// Each resistor of a pair is rated by its own heat: of two in series the larger takes
// more, of two side by side the smaller, in proportion (Ohm's law).
func TestPairsAreRatedOneByOne(t *testing.T) {
	for _, c := range []struct {
		ohms []float64
		ohm  float64
		want []float64
	}{
		{[]float64{13, 1.5}, 14.5, []float64{1, 1.5 / 13}}, {[]float64{24, 18}, 24.0 * 18 / 42, []float64{18.0 / 24, 1}}, {[]float64{3, 3}, 6, []float64{1, 1}}, {[]float64{5.1}, 5.1, []float64{1}},
	} {
		for i, want := range c.want {
			near(t, "share", Choice{Ohms: c.ohms, Ohm: c.ohm}.heatOf(i), want, 1e-12)
		}
	}
	// 12 V behind 16 + 3 Ω: 1.44 and 0.27 W at 0.3 A, so 2 x 1.58 and 2 x 0.3 W to buy, and
	// 6.7 and 1.3 W in a short at 5 % less of resistance, which no fuse ends.
	part := fitted(plan(t, "12AU7", Supply{Volts: 12, RatedA: 2}, Options{}))
	if part.Label != "16 Ω + 3 Ω" {
		t.Fatal(part.Label)
	}
	for i, want := range []string{"16 Ω resistor, 7 W or more (5 W would", "3 Ω resistor, 2 W or more (1 W would"} {
		if !strings.Contains(part.Shopping[i].What, want) {
			t.Errorf("to buy: %q, want %q", part.Shopping[i].What, want)
		}
	}
}
