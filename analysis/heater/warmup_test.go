package heater

import (
	"math"
	"strings"
	"testing"
)

// settle runs one 6.3 V 0.3 A heater behind a resistor from cold and gives the
// times to 90 and 99 % of its temperature rise.
func settle(t *testing.T, volts, ohm float64, o Options) (to90, to99 float64, r record) {
	t.Helper()
	l := layout{strands: ownHeater(t, 6.3, 0.3).strands(), sharedOhm: ohm}
	r = l.simulate(Supply{Volts: volts}, newThermal(o), 0, 4*warmUpStep)
	return r.reach(0, 0.9), r.reach(0, 0.99), r
}

func defaults(t *testing.T) Options {
	t.Helper()
	o, err := Options{}.withDefaults()
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// The definition that the thermal mass is fixed by, from memory of the usual
// data sheets: four times the volts through three times the hot resistance take
// the heater to 80 % of its volts in the warm-up time.
func TestWarmUpTimeTest(t *testing.T) {
	for _, seconds := range []float64{6, 11, 20} {
		o := defaults(t)
		o.WarmUpS = seconds
		_, _, r := settle(t, 4*6.3, 3*6.3/0.3, o)
		for k, v := range r.volts {
			if v[0] >= 0.8*6.3 {
				near(t, "time to 80 %", r.timeS[k], seconds, 0.02*seconds)
				break
			}
		}
	}
}

// Harper, "Kindness to Filaments" (read; section 7 of the project's check
// values): to 90 % in 6.7 s on constant volts, 12.6 s through a series
// resistor, 21.6 s on constant current; to 99 % in 13.3, 20.4 and 31.6 s. His
// tube, series resistor and resistance law are his own, so only the order and
// the rough ratios are held here.
func TestWarmUpAgainstHarper(t *testing.T) {
	o := defaults(t)
	v90, v99, _ := settle(t, 6.3, 0, o)
	r90, r99, _ := settle(t, 12.6, 21, o)
	i90, i99, _ := settle(t, 6300, 6300/0.3-21, o)
	t.Logf("constant volts %.1f/%.1f s, series resistor %.1f/%.1f s, constant current %.1f/%.1f s", v90, v99, r90, r99, i90, i99)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"series over constant volts, 90 %", r90 / v90, 12.6 / 6.7},
		{"series over constant volts, 99 %", r99 / v99, 20.4 / 13.3},
		{"constant current over constant volts, 90 %", i90 / v90, 21.6 / 6.7},
		{"constant current over constant volts, 99 %", i99 / v99, 31.6 / 13.3},
		{"99 over 90 %, constant volts", v99 / v90, 13.3 / 6.7},
		{"99 over 90 %, constant current", i99 / i90, 31.6 / 21.6},
	} {
		if c.got < c.want/1.5 || c.got > c.want*1.5 {
			t.Errorf("%s: ratio %.2f, Harper's %.2f", c.what, c.got, c.want)
		}
	}
}

// Where the warm-up ends is the operating point of the heater's own law.
func TestWarmUpEndsAtTheOperatingPoint(t *testing.T) {
	for _, n := range []float64{0.5, 0.6, 0.65} {
		for _, c := range []struct{ volts, ohm float64 }{{7, 2.4}, {12, 18}, {6, 0}, {9, 12}} {
			o := defaults(t)
			o.Exponent = n
			_, _, r := settle(t, c.volts, c.ohm, o)
			want := layout{strands: ownHeater(t, 6.3, 0.3).strands(), sharedOhm: c.ohm}.solve(Supply{Volts: c.volts}, n, scenario{})
			near(t, "end volts", r.volts[len(r.volts)-1][0], want.heaters[0].volts, 0.002*want.heaters[0].volts)
			near(t, "end amps", r.loadA[len(r.loadA)-1], want.totalA, 0.002*want.totalA)
			// At the first instant it is the cold resistance's divider.
			near(t, "first amps", r.loadA[0], c.volts/(c.ohm+21.0/6), 1e-9)
		}
	}
}

// The energy that went in over the warm-up is what is stored plus what was
// lost, and the stored part is that of the temperature reached.
func TestWarmUpEnergy(t *testing.T) {
	o := defaults(t)
	th := newThermal(o)
	_, _, r := settle(t, 12, 19, o)
	rated := 6.3 * 0.3
	in, lost := 0.0, 0.0
	loss := func(x float64) float64 {
		return rated * (math.Pow(x, th.m) - math.Pow(th.coldT, th.m)) / (1 - math.Pow(th.coldT, th.m))
	}
	for k := 1; k < len(r.timeS); k++ {
		dt := r.timeS[k] - r.timeS[k-1]
		in += dt * (r.volts[k][0]*r.loadA[k] + r.volts[k-1][0]*r.loadA[k-1]) / 2
		lost += dt * (loss(r.temp[k][0]) + loss(r.temp[k-1][0])) / 2
	}
	last := r.temp[len(r.temp)-1][0]
	stored := rated * th.tauS * (last - th.coldT) / (1 - th.coldT)
	near(t, "energy in", in, stored+lost, 0.002*in)
	if last < 0.99 || last > 1.01 {
		t.Errorf("the temperature ends at %.3f of the rated one", last)
	}
}

// The sleeves of unequal heaters in a string warm at unequal speed: the smaller
// heater goes over its share on the way and the plan says so.
func TestStringOvershootIsTold(t *testing.T) {
	p := plan(t, "1x6N2P@string,1x12AX7@string", Supply{Volts: 15}, Options{})
	if p.WarmUp.PeakHeater != "12AX7" || p.WarmUp.PeakRelErr < 0.15 {
		t.Errorf("peak %g of %s", p.WarmUp.PeakRelErr, p.WarmUp.PeakHeater)
	}
	equal := plan(t, "2x6N2P@string", Supply{Volts: 15}, Options{})
	if equal.WarmUp.PeakRelErr > 0.05 {
		t.Errorf("equal heaters overshoot by %g", equal.WarmUp.PeakRelErr)
	}
}

func TestWarmUpRecordIsThin(t *testing.T) {
	w := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7}, Options{}).WarmUp
	if n := len(w.TimeS); n < 50 || n > warmUpSteps || len(w.HeaterV) != n || len(w.LoadA) != n {
		t.Fatalf("%d, %d, %d rows", len(w.TimeS), len(w.HeaterV), len(w.LoadA))
	}
	for k := 1; k < len(w.TimeS); k++ {
		if w.TimeS[k] <= w.TimeS[k-1] || w.HeaterV[k] < w.HeaterV[k-1]-1e-9 || w.LoadA[k] > w.LoadA[k-1]+1e-9 {
			t.Fatalf("row %d runs backwards", k)
		}
	}
	if w.To90S <= 0 || w.To99S <= w.To90S || w.TimeS[len(w.TimeS)-1] < w.To99S {
		t.Errorf("90 %% at %g s, 99 %% at %g s of %g s", w.To90S, w.To99S, w.TimeS[len(w.TimeS)-1])
	}
}

// A supply that holds its current at the rating warms the heaters more slowly
// and ends at the same place; one rated under the heaters' current never does.
func TestHeldCurrent(t *testing.T) {
	free := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, RatedA: 10}, Options{}).WarmUp
	if free.HeldTo99S != 0 {
		t.Errorf("a 10 A supply is held: %g s", free.HeldTo99S)
	}
	last := free.To99S
	for _, rated := range []float64{2.5, 1.5, 1.1} {
		w := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, RatedA: rated}, Options{}).WarmUp
		if w.HeldTo99S <= last {
			t.Errorf("held at %g A: %g s to 99 %%, want over %g s", rated, w.HeldTo99S, last)
		}
		last = w.HeldTo99S
	}
	l := layout{strands: ownHeater(t, 6.3, 0.3).strands(), sharedOhm: 2.4}
	held := l.simulate(Supply{Volts: 7}, newThermal(defaults(t)), 0.5, 4*warmUpStep)
	near(t, "held amps at the first instant", held.loadA[0], 0.5, 1e-9)
	near(t, "volts over the cold heater", held.volts[0][0], 0.5*21/6, 1e-9)
	if p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, RatedA: 0.7}, Options{}); p.WarmUp.HeldTo99S != 0 || !strings.Contains(p.ColdRides, "never brings the heaters up") {
		t.Errorf("held at 0.7 A: %g s, %s", p.WarmUp.HeldTo99S, p.ColdRides)
	}
}

// A filament is hot in a second or two, and one of thoriated tungsten draws about ten
// times its current when cold (from memory); what the user gives counts before that.
func TestFilamentsWarmUpAtOnce(t *testing.T) {
	plan := func(name string, o Options) Plan {
		t.Helper()
		v, err := Lookup(name, nil)
		if err != nil {
			t.Fatal(err)
		}
		load, err := NewLoad([]Group{{Valve: v, Count: 1}}, 0)
		if err != nil {
			t.Fatal(err)
		}
		p, err := MakePlan(load, Supply{Volts: v.Volts + 1}, o)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	for name, ratio := range map[string]float64{"26": 6, "2A3": 6, "300B": 6, "01A": 10, "10": 10, "12AU7": 6} {
		p := plan(name, Options{})
		if p.Options.ColdRatio != ratio {
			t.Errorf("%s: hot over cold %g, want %g", name, p.Options.ColdRatio, ratio)
		}
		if filament := name != "12AU7"; (p.WarmUp.To90S < 3) != filament {
			t.Errorf("%s: %.1f s to 90 %%", name, p.WarmUp.To90S)
		}
	}
	if p := plan("01A", Options{ColdRatio: 5, WarmUpS: 4}); p.Options.ColdRatio != 5 || p.Options.WarmUpS != 4 {
		t.Errorf("%+v", p.Options)
	}
}
