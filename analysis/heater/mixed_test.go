package heater

import (
	"math"
	"strings"
	"testing"
)

// Loads of mixed tolerance and strings: the heater that is named is the one outside its
// own limit, and the worst cases cover every heater. The volts are ngspice's for the same
// circuits, each heater a current source of i0·(v/v0)^0.6:
//
//	7.35 V behind 0.285 Ω, 2.4 A of heaters drawing 7 % less:       6.690 V
//	13 V behind 0.68 Ω, two 0.6 A heaters in a string, ∓7 % drawn:  7.030 and 5.565 V
//	the same behind 5 % less and 5 % more resistance:               7.041 and 5.556 V
//	13.65 V behind 5 % less, and 12.35 V behind 5 % more:           7.397 and 5.275 V
//	15 V behind 3.9 Ω, one of two 0.6 A heaters shorted:            11.621 V
func TestHeaterOutsideItsOwnLimitIsNamed(t *testing.T) {
	p := plan(t, "2x6SN7,1x6922,1x5687", Supply{Volts: 7, RatedA: 3, TolFrac: 0.05}, Options{})
	part := p.Arrangements[0].Parts[p.Arrangements[0].Best] // 0.3 Ω
	part0 := p.Arrangements[0].Parts[0]
	high, low := corner(t, part, "supply high, resistor low, heaters draw less"), corner(t, part, "supply low, resistor high, heaters draw more")
	near(t, "highest, V", high.HeaterV, 6.690, 0.001)
	for _, c := range []Corner{high, low} { // 6.2 % and -6.8 %: outside the 6922's ±5 %, inside ±10 %
		if c.Heater != "6922" || c.OverLimit == c.UnderLimit {
			t.Errorf("%s: %s named, over %v, under %v", c.Name, c.Heater, c.OverLimit, c.UnderLimit)
		}
	}
	if c := corner(t, part0, "nominal"); c.OverLimit || c.UnderLimit || c.Heater != "6SN7GT" {
		t.Errorf("inside all limits: %+v", c)
	}
	// With 7.5 V a pulled 5687 leaves 6.71 V: +6.4 %, over the 6922's limit alone.
	p = plan(t, "2x6SN7,1x6922,1x5687", Supply{Volts: 7.5, RatedA: 3}, Options{})
	if w := strings.Join(p.Warnings, "\n"); !strings.Contains(w, "a remaining 6922 rises to 6.71 V (+6.4 %)") || strings.Contains(w, "remaining 6SN7GT") {
		t.Error(w)
	}
}

func TestStringsWorstCasesCoverTheColderHeater(t *testing.T) {
	p := plan(t, "2x6SN7@string", Supply{Volts: 13, RatedA: 2}, Options{Series: "E24"})
	part, ok := p.Shared()
	if !ok || part.Label != "0.68 Ω" {
		t.Fatalf("%s", part.Label)
	}
	near(t, "odd one by itself", corner(t, part, "one 6SN7GT draws less, the rest of its string more").HeaterV, 7.030, 1e-3)
	near(t, "least, relative", part.WorstLow, 5.556/6.3-1, 2e-4)
	near(t, "greatest, relative", part.WorstHigh, 7.041/6.3-1, 2e-4)
	// All tolerances together are wider still: 17.4 and -16.3 %.
	if part, ok = plan(t, "2x6SN7@string", Supply{Volts: 13, RatedA: 2, TolFrac: 0.05}, Options{Series: "E24"}).Shared(); !ok {
		t.Fatal("no shared resistor")
	}
	near(t, "supply too: least", part.WorstLow, 5.275/6.3-1, 2e-4)
	near(t, "supply too: greatest", part.WorstHigh, 7.397/6.3-1, 2e-4)
	if w := strings.Join(part.Warnings, "\n"); !strings.Contains(w, "one shorted heater leaves") {
		t.Errorf("a shorted heater leaves the other the whole supply: %s", w)
	}
}

// Heaters of 0.6 and 0.34 A in one string share 12.6 V as (0.6/0.34)^(1/0.6) = 2.58 to 1
// (one current, I ~ V^0.6): 9.08 and 3.52 V. No dropper mends that, and no regulator is
// named as the better way; only the shunt is, 6.3 V over 0.26 A.
func TestUnevenStringIsMendedByNothingAhead(t *testing.T) {
	p := plan(t, "1x6N1P@string,1x6N2P@string", Supply{Volts: 15, RatedA: 2}, Options{})
	if p.Best >= 0 || len(p.Alternatives) > 0 || p.Better != "" || !strings.Contains(p.BestWhy, "no dropper and no regulator ahead of it mends") {
		t.Errorf("best %d, %q, %q, %d other ways", p.Best, p.BestWhy, p.Better, len(p.Alternatives))
	}
	if w := strings.Join(p.Warnings, "\n"); !strings.Contains(w, "a shunt of 24.23 Ω (24 Ω, 5 W rating) across each 6N2P") {
		t.Error(w)
	}
	split := layout{strands: p.Load.strands()}.solve(Supply{Volts: 12.6}, 0.6, scenario{}).heaters
	near(t, "6N2P, V", split[1].volts, 12.6/(1+1/math.Pow(0.6/0.34, 1/0.6)), 1e-6)
	if p = plan(t, "2x6N2P@string", Supply{Volts: 15, RatedA: 2}, Options{}); p.Best < 0 || len(p.Alternatives) == 0 {
		t.Errorf("an even string: best %d, %d other ways", p.Best, len(p.Alternatives))
	}
}

// Each resistor is judged by what a short of its own branch puts into it, and by its own
// fuse: 15 V over 5.1 Ω less 5 % is 46.4 W (Ohm's law), and that branch has a fuse; in a
// string of two the other heater still limits the current, to 3.0 W in 3.9 Ω and 5 %
// (11.478 V on the heater, by ngspice; 2.8 W in 3.9 Ω less 5 %).
func TestFaultsByBranch(t *testing.T) {
	p := plan(t, "2x6SN7@string,1x5687@series", Supply{Volts: 15}, Options{})
	a := p.Arrangements[1]
	var part Part
	for _, x := range a.Parts {
		if strings.HasPrefix(x.Label, "1 x 3.9 Ω") && strings.Contains(x.Label, "5.1 Ω") {
			part = x
		}
	}
	if len(part.Set) != 2 {
		t.Fatalf("%s: no such part", a.Name)
	}
	near(t, "string's short, W", part.Set[0].FaultW, (15-11.478)*(15-11.478)/(1.05*3.9), 0.005)
	near(t, "5687's short, W", part.Set[1].FaultW, 15*15/(0.95*5.1), 0.01)
	if part.Fuses[0].RatingA != 0 || part.Fuses[1].RatingA == 0 {
		t.Fatalf("fuses: %+v", part.Fuses)
	}
	if s := part.Set[0]; s.FitW < s.FaultW || s.FitW > 5 {
		t.Errorf("the string's resistor survives at %g W; %g W to fit", s.FaultW, s.FitW)
	}
	w := strings.Join(part.Warnings, "\n")
	if !strings.Contains(w, "46.4 W into the 5.1 Ω of each 5687 until the fuse opens") || strings.Contains(w, "no fuse value clears it") {
		t.Error(w)
	}
}

// A recommendation that needs the heaters rewired says so wherever it stands, and its
// circuit is the rewired one.
func TestRewiringIsSaid(t *testing.T) {
	p := plan(t, "4x6SN7,1x6922", Supply{Volts: 13.2, RatedA: 3, TolFrac: 0.05}, Options{})
	if p.Best < 0 || p.Arrangements[p.Best].Name != namePerString {
		t.Fatalf("recommended: %d", p.Best)
	}
	a := p.Arrangements[p.Best]
	const words = "2 strings, each of 2x6SN7GT, 1 x 6922 by itself"
	if a.Rewired != words || !strings.Contains(p.BestWhy, "rewire the heaters first, as "+words) || !strings.Contains(strings.Join(p.Warnings, "\n"), "rewired as "+words) {
		t.Errorf("%q, %q, %q", a.Rewired, p.BestWhy, p.Warnings)
	}
	got := p.best().Branches()
	if len(got) != 2 || !got[0].String || got[0].Count != 2 || got[0].Heaters[0].Count != 2 || got[1].String || got[1].Heaters[0].Wiring != Parallel {
		t.Errorf("%+v", got)
	}
	if p = plan(t, "2x12AU7@series,2x6SN7@string", Supply{Volts: 13.2, RatedA: 4}, Options{}); p.Best < 0 || p.Arrangements[p.Best].Rewired != "" {
		t.Errorf("strings that the load has need no rewiring: %q", p.Arrangements[p.Best].Rewired)
	}
	got = p.best().Branches()
	if len(got) != 2 || got[0].Heaters[0].Wiring != Series || got[0].Count != 2 || got[1].Heaters[0].Wiring != String {
		t.Errorf("%+v", got)
	}
}

// A supply that limits under its rating never gives the rating: 0.321 A are 64 % of 0.5 A,
// and 92 % of 0.35 A, over the rule, not 16 % of 2 A.
func TestHeadroomUnderALowLimit(t *testing.T) {
	for _, c := range []struct {
		rated, limit, share float64
		ok                  bool
		says                string
	}{
		{2, 0.5, 0.642, true, "it limits at 0.5 A, less than its rated 2 A: one of the two is not this supply's"},
		{2, 0.35, 0.917, false, "is 92 % of the 0.35 A at which it limits, less than its rated 2 A, under the rating but over the 80 % rule"},
		{2, 3, 0.1605, true, ""},
		{2, 0, 0.1605, true, ""},
	} {
		p := plan(t, "12AX7", Supply{Volts: 7, RatedA: c.rated, LimitA: c.limit}, Options{})
		w := strings.Join(p.Warnings, "\n")
		near(t, "share", p.ShareOfRated, c.share, 0.001)
		if p.HeadroomOK != c.ok || !strings.Contains(w, c.says) || c.says == "" && strings.Contains(w, "limits") {
			t.Errorf("limit %g A: %v, %s", c.limit, p.HeadroomOK, w)
		}
	}
}

// A limit that is told decides the cold start, and one under the load feeds nothing.
func TestToldCurrentLimit(t *testing.T) {
	for _, c := range []struct {
		limit   float64
		feeds   bool
		says    string
		heldTo  bool
		warning string
	}{
		{0.8, false, "", true, "it limits at 0.8 A and the heaters draw 0.94 A"},
		{1.0, true, "is over the 1 A at which it limits", true, "heaters at their highest current draw 1.01 A, and the supply limits at 1 A"},
		{2.6, true, "is over the 2.6 A at which it limits", true, ""},
		{4, true, "is over the rated 2 A but within the 4 A at which it limits: it starts", false, ""},
	} {
		// 6.3 V and 0.94 A hot, a sixth of that cold: 1.117 Ω and 0.75 Ω from 7 V are 3.75 A.
		p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, RatedA: 2, LimitA: c.limit}, Options{})
		if w := strings.Join(p.Warnings, "\n"); p.CanFeed != c.feeds || !strings.Contains(w, c.warning) || c.warning == "" && strings.Contains(w, "limits at") {
			t.Errorf("limit %g A: feeds %v, %s", c.limit, p.CanFeed, w)
		}
		if !c.feeds {
			continue
		}
		near(t, "cold, A", p.ColdA, 7/(0.75+6.3/0.94/6), 0.001)
		if !strings.Contains(p.ColdRides, c.says) || p.WarmUp.HeldTo99S > 0 != c.heldTo {
			t.Errorf("limit %g A: %q, held to 99 %% in %g s", c.limit, p.ColdRides, p.WarmUp.HeldTo99S)
		}
	}
}

// 7.6 V and two equal heaters: a pulled one leaves the other inside +10 % at 7.6 V, and
// over it with the supply 5 % high.
func TestPulledWithTheSupplyHigh(t *testing.T) {
	p := plan(t, "2x12AU7", Supply{Volts: 7.6, TolFrac: 0.05}, Options{})
	part, _ := p.Shared()
	w := strings.Join(part.Warnings, "\n")
	if part.PulledOver || !strings.Contains(w, "with one 12AU7 pulled and the supply 5 % high, a remaining 12AU7 rises to") {
		t.Errorf("over at nominal volts: %v; %s", part.PulledOver, w)
	}
	if p = plan(t, "2x12AU7", Supply{Volts: 7}, Options{}); strings.Contains(strings.Join(p.Arrangements[0].Parts[0].Warnings, "\n"), "% high") {
		t.Error("no tolerance is given, none is to be spoken of")
	}
}

// However a list is written, the same valves are one group.
func TestLoadsWrittenInOtherWays(t *testing.T) {
	for _, s := range []string{"2x12AU7,1x6N2P", "12AU7,ECC82,6N2P", "2x12AU7; 1x6N2P", "2x12AU7 + 1x6N2P", "2x12AU7 1x6N2P", "12AU7x2,6N2P", "12AU7 x 2, 6N2P x1", "2 x 12AU7 1 x 6N2P"} {
		l, err := ParseLoad(s, nil)
		if err != nil {
			t.Errorf("%q: %v", s, err)
			continue
		}
		if got := l.Describe(); got != "2 x 12AU7 parallel, 1 x 6N2P parallel" {
			t.Errorf("%q: %s", s, got)
		}
	}
	for _, s := range []string{"12AX7", "2x12AX7", "6SN7GT", "2x6SN7GT,12AX7"} { // types with an X or beside digits stay whole
		if l, err := ParseLoad(s, nil); err != nil || l.NominalA() == 0 {
			t.Errorf("%q: %v", s, err)
		}
	}
	groups := []Group{{Valve: Valve{Type: "A", Volts: 6.3, Amps: 0.3}, Count: 1, CathodeV: 90}, {Valve: Valve{Type: "A", Volts: 6.3, Amps: 0.3}, Count: 1}}
	if l, err := NewLoad(groups, 0); err != nil || len(l.Groups) != 2 {
		t.Errorf("cathodes at other volts stay apart: %v, %+v", err, l.Groups)
	}
}

// A centre-tapped heater is given by its halves in parallel; what its data sheet prints
// for the halves in series is refused with the figures to write.
func TestTappedHeaterGivenInSeries(t *testing.T) {
	_, err := NewLoad([]Group{{Valve: Valve{Type: "A", Volts: 12.6, Amps: 0.15, CentreTapped: true}, Count: 1}}, 0)
	if err == nil || !strings.Contains(err.Error(), "give 6.3 V, 0.3 A") {
		t.Error(err)
	}
}

// 6.3 V are 10 % under a 7 V heater's rating: that is told, not called cold.
func TestOtherRailIsToldInPercent(t *testing.T) {
	g, _ := ParseGroups("7DJ8", nil)
	if _, err := NewLoad(g, 6.3); err == nil || !strings.Contains(err.Error(), "it would get 6.3 V (-10.0 %)") {
		t.Error(err)
	}
}
