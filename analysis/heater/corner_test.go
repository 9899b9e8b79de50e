package heater

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func plan(t *testing.T, valves string, s Supply, o Options) Plan {
	t.Helper()
	l, err := ParseLoad(valves, nil)
	if err != nil {
		t.Fatal(err)
	}
	p, err := MakePlan(l, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func corner(t *testing.T, p Part, name string) Corner {
	t.Helper()
	for _, c := range p.Corners {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no corner %q in %s", name, p.Label)
	return Corner{}
}

// Corners by hand, with an ohmic heater (exponent 1) so that Ohm's law alone
// gives them: 6.3 V 0.3 A is 21 Ω; two of them behind 10 Ω from 12 V.
func TestCornersByOhmsLaw(t *testing.T) {
	p := plan(t, "2x12AU7", Supply{Volts: 12, TolFrac: 0.05}, Options{Exponent: 1, PartTol: new(0.1), Series: "E6"})
	part := p.Arrangements[0].Parts[1]
	if part.Label != "10 Ω" {
		t.Fatalf("part %s, want 10 Ω over the exact 9.5 Ω", part.Label)
	}
	divider := func(vs, r, load float64) float64 { return vs * load / (load + r) }
	for name, want := range map[string]float64{
		"nominal":           divider(12, 10, 10.5),
		"supply high":       divider(12.6, 10, 10.5),
		"supply low":        divider(11.4, 10, 10.5),
		"resistor low":      divider(12, 9, 10.5),
		"resistor high":     divider(12, 11, 10.5),
		"heaters draw less": divider(12, 10, 10.5/0.93),
		"heaters draw more": divider(12, 10, 10.5/1.07),
		"supply high, resistor low, heaters draw less": divider(12.6, 9, 10.5/0.93),
		"supply low, resistor high, heaters draw more": divider(11.4, 11, 10.5/1.07),
		"12AU7 pulled": divider(12, 10, 21),
		"cold start":   divider(12, 10, 10.5/6),
	} {
		c := corner(t, part, name)
		near(t, name, c.HeaterV, want, 1e-6)
		drop := c.LoadA * 10
		if strings.Contains(name, "resistor") || strings.HasPrefix(name, "supply") {
			continue
		}
		near(t, name+" sum", c.HeaterV+drop, 12, 1e-6)
		near(t, name+" part heat", c.PartW, c.LoadA*c.LoadA*10, 1e-6)
	}
	short := corner(t, part, "12AU7 heater shorted")
	// 5 % more volts on 10 % less resistance: 12.6 V over 9 Ω.
	near(t, "shorted amps", short.LoadA, 1.4, 1e-9)
	near(t, "shorted heat", short.PartW, 17.64, 1e-9)
	near(t, "heat in a fault", part.FaultW, 17.64, 1e-9)
	if !short.AllOff {
		t.Error("with a heater shorted the others stay lit behind a shared dropper")
	}
}

// Source: section 7 and 10 of the project's check values, computed there: 12 V
// and 19 Ω give an inrush of 12/(19 + 21/6) = 0.533 A, 1.78 times the nominal,
// 5.4 W in the dropper, and 7.58 W with the heater shorted.
func TestInrushAndShort(t *testing.T) {
	l := layout{strands: ownHeater(t, 6.3, 0.3).strands(), sharedOhm: 19}
	cold := l.solve(Supply{Volts: 12}, 0.6, scenario{cold: 6})
	near(t, "inrush", cold.totalA, 0.533, 0.0005)
	near(t, "inrush over nominal", cold.totalA/0.3, 1.78, 0.005)
	near(t, "cold heat", cold.maxW(), 5.4, 0.01)
	near(t, "shorted heat", l.solve(Supply{Volts: 12}, 0.6, scenario{shorted: true}).maxW(), 7.58, 0.005)
}

// A shared dropper from 12 V kills the rest when one valve is pulled, and says
// so loudly; one resistor per valve does not, and is what is recommended.
func TestPulledValveWarning(t *testing.T) {
	p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 12, TolFrac: 0.02}, Options{})
	shared := p.Arrangements[0]
	if !shared.Parts[shared.Best].PulledOver {
		t.Error("a shared dropper from 12 V passes with a valve pulled")
	}
	// 7.85 V is 24.5 % over: what that does is graded, and stands with the plan.
	if part := shared.Parts[shared.Best]; part.Overrun != OverrunDamages || len(p.Warnings) == 0 {
		t.Errorf("overrun %q at %+.1f %%", part.Overrun, 100*part.PulledErr)
	}
	best := p.Arrangements[p.Best]
	if best.Name != namePerValve || best.Parts[best.Best].PulledOver {
		t.Errorf("recommended %s", best.Name)
	}
	// From 7 V the pulled valve stays inside.
	if a := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7}, Options{}).Arrangements[0]; a.Parts[a.Best].Overrun != "" {
		t.Errorf("from 7 V: %s", a.Parts[a.Best].Overrun)
	}
	for err, want := range map[float64]Overrun{0.05: OverrunWears, 0.11: OverrunWears, 0.2: OverrunDamages, 0.5: OverrunBurns} {
		if got := overrun(err); got != want || got.Words() == "" {
			t.Errorf("%+.0f %%: %q, want %q", 100*err, got, want)
		}
	}
}

func TestSuppliesThatCannot(t *testing.T) {
	for _, c := range []struct {
		volts, out float64
		can        bool
	}{{5.5, 0, false}, {6, 0, true}, {6.3, 0, true}, {6.3, 0.2, true}, {6.5, 0.1, true}, {6.5, 0.5, true}, {6.5, 1.2, false}, {7, 0, true}, {15, 0, true}} {
		p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: c.volts, OutputOhm: c.out}, Options{})
		if p.CanFeed != c.can {
			t.Errorf("%g V with %g Ω: can feed %v (%s)", c.volts, c.out, p.CanFeed, p.Why)
		}
		if !c.can && (!strings.Contains(p.Why, "is less than 6.3 V") || p.Best != -1) {
			t.Errorf("%g V: why %q, best %d", c.volts, p.Why, p.Best)
		}
		if lossy := strings.Contains(p.Why, "lost on the way"); !c.can && lossy != (c.out > 0) {
			t.Errorf("%g V with %g Ω: why %q", c.volts, c.out, p.Why)
		}
		if c.can && p.Best < 0 {
			t.Errorf("%g V: nothing recommended: %s", c.volts, p.BestWhy)
		}
	}
}

func TestHeadroomAndColdStart(t *testing.T) {
	// 0.94 A of heaters at ±7 % (the 6N2P at ±7.4 %) draw at most 1.007 A.
	high := 0.6*1.07 + 0.34*1.074
	for _, c := range []struct {
		rated float64
		ok    bool
		word  string
	}{{2, true, "within the 80 % rule"}, {1.2, false, "over the 80 % rule"}, {1, false, "overloaded"}, {0, false, "not given"}} {
		p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, RatedA: c.rated}, Options{})
		near(t, "most amps", p.HighA, high, 1e-9)
		near(t, "least amps", p.LowA, 0.6*0.93+0.34*0.926, 1e-9)
		if p.HeadroomOK != c.ok || !strings.Contains(p.Headroom, c.word) {
			t.Errorf("rated %g A: %v, %q", c.rated, p.HeadroomOK, p.Headroom)
		}
		if c.rated > 0 {
			near(t, "share", p.ShareOfRated, high/c.rated, 1e-9)
		}
		// Cold and without a dropper the current is the hot to cold ratio's
		// multiple, here 7 V over a sixth of 6.3 V/0.94 A.
		near(t, "cold amps", p.ColdNoDropA, 7/(6.3/0.94/6), 1e-6)
		if p.ColdA >= p.ColdNoDropA || p.ColdA <= p.NominalA {
			t.Errorf("cold start %g A with the dropper, %g A without", p.ColdA, p.ColdNoDropA)
		}
	}
	rides := plan(t, "12AX7", Supply{Volts: 12, RatedA: 1}, Options{})
	if !strings.Contains(rides.ColdRides, "is within the rated 1 A") {
		t.Error(rides.ColdRides)
	}
	if p := plan(t, "4x6N6P", Supply{Volts: 6.6, RatedA: 4}, Options{}); !strings.Contains(p.ColdRides, "may never start") {
		t.Error(p.ColdRides)
	}
}

// Every arrangement stands in one table, in a fixed order, and reasons stand
// where one is not possible.
func TestArrangementsAreComplete(t *testing.T) {
	for _, c := range []struct {
		valves string
		volts  float64
		names  string
	}{
		{"2x12AU7,1x6N2P", 7, "one shared resistor|one per valve|one per string|silicon diode|Schottky diode|no dropper"},
		{"2x12AU7,1x6N2P", 15, "one shared resistor|one per valve|one per string|silicon diode|Schottky diode|no dropper"},
		{"2x6N2P@string", 15, "one shared resistor|one per string|silicon diode|Schottky diode|no dropper"},
		{"2x6N2P@string,12SN7", 15, "one shared resistor|one per string, one per single valve|silicon diode|Schottky diode|no dropper"},
	} {
		p := plan(t, c.valves, Supply{Volts: c.volts}, Options{})
		var names []string
		for _, a := range p.Arrangements {
			names = append(names, a.Name)
			if a.Best < 0 && len(a.Warnings) == 0 {
				t.Errorf("%s at %g V: %s has no part and no reason", c.valves, c.volts, a.Name)
			}
			for _, part := range a.Parts {
				if part.Corners[0].Kind != KindNominal {
					t.Errorf("%s: the first corner is %s", part.Label, part.Corners[0].Name)
				}
			}
		}
		if got := strings.Join(names, "|"); got != c.names {
			t.Errorf("%s at %g V: %s, want %s", c.valves, c.volts, got, c.names)
		}
	}
}

// The rewired string of a 15 V supply leaves two heaters on one current.
func TestRewiredStrings(t *testing.T) {
	p := plan(t, "3x12AU7", Supply{Volts: 15}, Options{})
	var a Arrangement
	for _, x := range p.Arrangements {
		if x.Name == namePerString {
			a = x
		}
	}
	// (15 - 12.6) V over 0.3 A for the string, (15 - 6.3) V over 0.3 A alone.
	if a.Exact != "8 Ω for string of 2x12AU7, 29 Ω for each 12AU7" {
		t.Errorf("exact %q", a.Exact)
	}
	part := a.Parts[a.Best]
	near(t, "load", part.LoadA, 0.6, 0.02)
	near(t, "heater", part.HeaterV, 6.3, 0.1)
}

func TestSmallerHeaterTakesMoreVolts(t *testing.T) {
	p := plan(t, "1x6N2P@string,1x12AX7@string", Supply{Volts: 13.5}, Options{})
	if len(p.StringSplit) != 2 || p.StringSplit[0].HeaterV >= p.StringSplit[1].HeaterV {
		t.Fatalf("split %+v", p.StringSplit)
	}
	// The currents are equal: 0.34·(a/6.3)^0.6 = 0.3·(b/6.3)^0.6.
	a, b := p.StringSplit[0].HeaterV, p.StringSplit[1].HeaterV
	near(t, "ratio", b/a, math.Pow(0.34/0.3, 1/0.6), 1e-6)
	// 6.3 V over the 40 mA of difference is 157.5 Ω.
	if w := strings.Join(p.Warnings, "\n"); !strings.Contains(w, "157.5 Ω") || !strings.Contains(w, "160 Ω") {
		t.Errorf("no shunt in %q", w)
	}
}

// Customary practice [microhm article, read; else from memory]: twice the heat,
// then the next size on sale.
func TestRatingToBuy(t *testing.T) {
	for _, c := range []struct{ w, factor, buy float64 }{
		{0.21, 2, 0.5}, {0.125, 2, 0.25}, {0.1251, 2, 0.5}, {1.71, 2, 5}, {0.81, 2, 2}, {1.71, 3, 7}, {60, 2, 0}, {0, 2, 0.25},
	} {
		near(t, "rating", buyWatts(c.w, c.factor), c.buy, 0)
	}
	near(t, "surface at full load", surface(5, 5, 25), 225, 1e-9)
	near(t, "surface at half load", surface(2.5, 5, 40), 140, 1e-9)
	p := plan(t, "12AU7", Supply{Volts: 12, TolFrac: 0.05}, Options{})
	for _, part := range p.Arrangements[0].Parts {
		if part.BuyW < 2*part.WorstW || part.WorstW < part.W {
			t.Errorf("%s: %g W nominal, %g W at worst, buy %g W", part.Label, part.W, part.WorstW, part.BuyW)
		}
		if part.SurfaceC > touchC && !strings.Contains(strings.Join(part.Warnings, " "), "too hot to touch") {
			t.Errorf("%s: %g °C without a warning", part.Label, part.SurfaceC)
		}
	}
}

// A pair shares its heat by resistance in series and by conductance in
// parallel; both add to the whole.
func TestPairHeat(t *testing.T) {
	p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 12}, Options{})
	for _, part := range p.Arrangements[0].Parts {
		if !part.Pair {
			continue
		}
		a, b := part.Set[0].Ohms[0], part.Set[0].Ohms[1]
		whole := part.LoadA * part.LoadA * part.Ohm
		near(t, part.Label+" whole heat", part.TotalW, whole, 1e-6)
		near(t, part.Label+" hottest", part.W, whole*math.Max(a, b)/(a+b), 1e-6)
	}
}

func TestBadInputIsATypedLine(t *testing.T) {
	l, err := ParseLoad("12AU7", nil)
	if err != nil {
		t.Fatal(err)
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, s := range []Supply{
		{}, {Volts: -7}, {Volts: nan}, {Volts: inf}, {Volts: 1e300}, {Volts: 1e-300}, {Volts: 7, AtA: -1}, {Volts: 7, AtA: nan},
		{Volts: 7, OutputOhm: -1}, {Volts: 7, OutputOhm: inf}, {Volts: 7, LeadOhm: nan}, {Volts: 7, TolFrac: 2}, {Volts: 7, TolFrac: -0.1},
		{Volts: 7, RatedA: -2}, {Volts: 7, RatedA: nan}, {Volts: 7, FilterOhm: -1},
	} {
		_, err := MakePlan(l, s, Options{})
		var bad *InputError
		if !errors.As(err, &bad) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%+v: got %v", s, err)
		}
	}
	for _, o := range []Options{
		{Exponent: nan}, {Exponent: -0.6}, {Exponent: 7}, {PartTol: new(nan)}, {PartTol: new(-1.0)}, {HeadroomFrac: 2}, {ColdRatio: 1}, {ColdRatio: inf},
		{Series: "E7"}, {DeratingX: 0.5}, {AmbientC: new(500.0)}, {WarmUpS: -1},
	} {
		_, err := MakePlan(l, Supply{Volts: 7}, o)
		var bad *InputError
		if !errors.As(err, &bad) {
			t.Errorf("%+v: got %v", o, err)
		}
	}
	if _, err := MakePlan(Load{}, Supply{Volts: 7}, Options{}); err == nil {
		t.Error("an empty load was planned")
	}
	if err := (Load{}).Check(); err != nil {
		t.Errorf("a sheet without valves: %v", err)
	}
}

// No figure of any plan is NaN or infinite, over a wide range of what is
// allowed.
func TestFiguresAreFinite(t *testing.T) {
	finite := func(what string, v ...float64) {
		for _, x := range v {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Errorf("%s: %g", what, x)
			}
		}
	}
	for _, valves := range []string{"12AU7", "200x6N6P", "1x6N1P@string,1x6C4@string", "12SN7,2x12AX7", "40x6C4@string"} {
		for _, volts := range []float64{0.5, 6.31, 12, 1000} {
			for _, out := range []float64{0, 1e-9, 1000} {
				p := plan(t, valves, Supply{Volts: volts, OutputOhm: out, TolFrac: 0.5, RatedA: 1e-3}, Options{Exponent: 0.3, PartTol: new(0.5), ColdRatio: 20})
				finite(valves, p.NominalA, p.LowA, p.HighA, p.ShareOfRated, p.ColdA, p.ColdNoDropA, p.AvailableV, p.WarmUp.To90S, p.WarmUp.To99S, p.WarmUp.PeakV, p.WarmUp.PeakA)
				finite(valves, p.WarmUp.HeaterV...)
				finite(valves, p.WarmUp.LoadA...)
				for _, a := range p.Arrangements {
					finite(valves+" "+a.Name, a.ExactOhm, a.RippleDB)
					for _, part := range a.Parts {
						finite(part.Label, part.HeaterV, part.LoadA, part.W, part.TotalW, part.WorstW, part.FaultW, part.SurfaceC, part.ErrFrac, part.WorstHigh, part.PulledV)
						for _, c := range part.Corners {
							finite(c.Name, c.HeaterV, c.RelErr, c.LoadA, c.PartW)
						}
					}
				}
			}
		}
	}
}

// One heater of a string at the low end of its spread and the rest at the high
// end: the currents are equal, so the volts are as (1.07/0.93)^(1/n).
func TestOddHeaterOfAString(t *testing.T) {
	p := plan(t, "2x6SL7@string", Supply{Volts: 12.6}, Options{})
	none := p.Arrangements[len(p.Arrangements)-1].Parts[0]
	c := corner(t, none, "one 6SL7GT draws less, the rest of its string more")
	ratio := math.Pow(1.07/0.93, 1/0.6)
	near(t, "the odd heater's volts", c.HeaterV, 12.6*ratio/(1+ratio), 1e-6)
}

// A sample with less forward drop has its spread less at the same current.
func TestDiodeSpread(t *testing.T) {
	for _, d := range []*diodeModel{&siliconDiode, &schottkyDiode} {
		l := layout{strands: ownHeater(t, 6.3, 0.6).strands(), diode: d, diodes: 2}
		for _, part := range []float64{-1, 0, 1} {
			s := l.solve(Supply{Volts: 8}, 0.6, scenario{part: part})
			drop := 8 - s.heaters[0].volts
			near(t, d.name+" drop", drop, 2*(d.volts(s.totalA)+part*d.spreadV), 1e-3)
		}
	}
}

// Forward drops as the models promise them (typical, from memory).
func TestDiodeModels(t *testing.T) {
	for _, c := range []struct {
		d       *diodeModel
		amps, v float64
	}{{&siliconDiode, 0.1, 0.77}, {&siliconDiode, 1, 0.92}, {&schottkyDiode, 0.1, 0.30}, {&schottkyDiode, 1, 0.40}} {
		near(t, c.d.name, c.d.volts(c.amps), c.v, 0.005)
		slope := (c.d.volts(c.amps*1.001) - c.d.volts(c.amps*0.999)) / (0.002 * c.amps)
		near(t, c.d.name+" slope", c.d.slopeOhm(c.amps), slope, 1e-4*slope)
	}
}

// Source: section 9 of the project's check values, computed there from the
// closed form: 1 Ω and 1000 µF, without and with 50 mΩ of ESR, unloaded.
func TestRippleBehindTheDropper(t *testing.T) {
	for _, c := range []struct{ hz, esr, db float64 }{
		{100, 0, -1.4451}, {100e3, 0, -55.9636}, {100, 0.05, -1.565}, {1e3, 0.05, -16.077}, {10e3, 0.05, -26.026}, {100e3, 0.05, -26.440},
	} {
		near(t, "ripple dB", rippleBehind(c.hz, 1, 1e12, 1000e-6, c.esr), c.db, 0.001)
	}
	// Loaded: 1 Ω into 21 Ω is a divider at low frequency.
	near(t, "divider", rippleBehind(1e-3, 1, 21, 1000e-6, 0.05), 20*math.Log10(21.0/22), 1e-6)
	// By itself the dropper is a divider with the hot heaters, here 10.5 Ω.
	p := plan(t, "2x12AU7", Supply{Volts: 12, OutputOhm: 0.5}, Options{Exponent: 1, Series: "E6"})
	r := p.Arrangements[0].Parts[p.Arrangements[0].Best].Ohm
	near(t, "dropper alone", p.Arrangements[0].RippleDB, 20*math.Log10(11/(11+r)), 1e-6)
}

// Common practice, no source: a centre-tapped valve on a 12 V supply is wired
// for 12.6 V, where 12 V is within 5 %.
func TestHintOfTheOtherConnection(t *testing.T) {
	for volts, want := range map[float64]string{12: "connected directly it gets 12 V (-4.8 %)", 15: "6.3 V less to drop", 7: ""} {
		hints := strings.Join(plan(t, "2x12AU7,1x6N2P", Supply{Volts: volts}, Options{}).Hints, "|")
		if want == "" && strings.Contains(hints, "wired for") || !strings.Contains(hints, want) || strings.Contains(hints, "6N2P") {
			t.Errorf("%g V: %q, want %q", volts, hints, want)
		}
	}
}
