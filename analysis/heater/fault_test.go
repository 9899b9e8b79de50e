package heater

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
)

// A shorted heater draws what the supply gives, up to 1.8 times its rating unless
// told, not what Ohm's law on the dropper alone says: 7 V over 0.75 Ω would be
// 65 W from a 14 W brick. Where the supply holds the current, 5 % more resistance is
// the worse end, where the resistor does, 5 % less.
func TestShortIsLimitedByTheSupply(t *testing.T) {
	for _, c := range []struct{ rated, limit, amps float64 }{
		{2, 0, 3.6}, {2, 2.2, 2.2}, {0, 4, 4}, {0, 0, 7 / (0.95 * 0.75)}, {20, 0, 7 / (0.95 * 0.75)},
	} {
		p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, RatedA: c.rated, LimitA: c.limit}, Options{})
		part := p.Arrangements[0].Parts[1]
		if part.Label != "0.75 Ω" {
			t.Fatal(part.Label)
		}
		short := corner(t, part, "12AU7 heater shorted")
		near(t, "short, A", short.LoadA, c.amps, 1e-6)
		held := c.amps < 7/0.75
		ohm := 0.95 * 0.75
		if held {
			ohm = 1.05 * 0.75
		}
		near(t, "short, W", part.FaultW, c.amps*c.amps*ohm, 1e-5)
		if short.Limited != held {
			t.Errorf("rated %g A, limit %g A: limited %v", c.rated, c.limit, short.Limited)
		}
		// Straight on, only the supply itself holds the current.
		none := p.Arrangements[len(p.Arrangements)-1].Parts[0]
		if k := corner(t, none, "12AU7 heater shorted"); k.Unlimited != (c.rated == 0 && c.limit == 0) {
			t.Errorf("rated %g A, limit %g A: straight on unlimited %v", c.rated, c.limit, k.Unlimited)
		}
	}
	// 12 V over 0.95 x 20 Ω: 0.632 A from a 2 A brick is no overload, so it stays on.
	p := plan(t, "12AU7", Supply{Volts: 12, RatedA: 2}, Options{})
	if k := corner(t, p.Arrangements[0].Parts[1], "12AU7 heater shorted"); k.Limited || k.LoadA > 0.632 || !strings.Contains(k.Note, "does not shut down") {
		t.Errorf("%+v", k)
	}
}

// fitted is the part that a plan recommends.
func fitted(p Plan) Part { return p.best() }

// What a shorted heater leaves on is held against the supply that limits latest, and the
// fuse against the one that does earliest (1.2 to 1.8 times its rating). By hand, for 7 V,
// 2 A, 0.75 Ω ±5 %: at most 3.6²·0.7875 = 10.2 W; the rating that stands it is 15 W, not
// the 7 W of 1.5 times. Behind it 12AU7 and 6N2P have T 0.8 A (without a tolerance of the supply), which 2.4 A open:
// up to 3.2 A (4 times) within 10 s, 8.1 W, of which a fifth is 1.6 W, so that 2 W stand it.
// For 0.3 A straight on 6.3 V: T 0.8 A carries its start (0.3·2.8224/1.2 = 0.71 A, scipy)
// and opens at 1.68 A, which a 1.2 A supply that limits at 1.44 A never gives, and one
// that does at 2.16 A does.
func TestShortIsJudgedAtBothEndsOfTheLimit(t *testing.T) {
	part := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, RatedA: 2}, Options{}).Arrangements[0].Parts[1]
	near(t, "W to fit", part.Set[0].FitW, 15, 0)
	if w := strings.Join(part.Warnings, "\n"); !strings.Contains(w, "10.2 W into it, and no fuse value clears it: fit the 15 W rating") ||
		!strings.Contains(w, "or fit fuses behind the resistor (T 0.8 A for each 12AU7, T 0.8 A for each 6N2P), which are sure to open, and the 2 W rating") {
		t.Error(w)
	}
	// Eight of 0.6 A behind 0.15 Ω: 18 A are 51 W, which nothing sensible stands for good,
	// and T 1.6 A behind it opens within 3 s on 12 A, for which a tenth is enough.
	many, _ := plan(t, "8x6N1P", Supply{Volts: 7, RatedA: 10}, Options{}).Shared()
	if w := strings.Join(many.Warnings, "\n"); !strings.Contains(w, "or fit fuses behind the resistor (T 1.6 A for each 6N1P), which are sure to open, and the 10 W rating") {
		t.Error(w)
	}
	for _, c := range []struct {
		volts, rated, limit float64
		fuse                float64
		sure                bool
		says                string
	}{
		{6.3, 1.2, 0, 0.8, false, "may hold"}, {6.3, 2.2, 0, 0.8, true, "2.64 A or more"}, {6.3, 0.9, 0, 0, false, "no fuse value"}, {6.3, 2, 2.7, 0.8, true, "2.7 A or more"},
	} {
		f := fitted(plan(t, "12AU7", Supply{Volts: c.volts, RatedA: c.rated, LimitA: c.limit}, Options{})).Fuses[0]
		if f.RatingA != c.fuse || f.Sure != c.sure || !strings.Contains(f.Why, c.says) {
			t.Errorf("rated %g A, limit %g A: %+v", c.rated, c.limit, f)
		}
	}
	// A fuse that may hold leaves the resistor to stand the short.
	unsure := 0
	for _, rated := range []float64{0.5, 0.7, 1, 1.4, 2, 3} {
		for _, a := range plan(t, "2x12AX7,1xEF86", Supply{Volts: 7.5, RatedA: rated, TolFrac: 0.05}, Options{}).Arrangements[:2] {
			for _, part := range a.Parts {
				for k, s := range part.Set {
					// By hand: just under what its fuse opens at, 2.1 times its rating,
					// or all of the short where there is none.
					f, held := part.Fuses[k], s.FaultW
					if f.RatingA > 0 && len(s.Ohms) == 1 {
						held = math.Min(held, 2.1*2.1*f.RatingA*f.RatingA*s.Ohm*1.05)
					}
					if !f.Sure && s.FitW < held-1e-9 && held <= largestFaultW && len(s.Ohms) == 1 {
						t.Errorf("%g A, %s: %g W to fit, %g W in a short", rated, part.Label, s.FitW, held)
					} else if !f.Sure && f.RatingA > 0 && s.FaultW > s.BuyW {
						unsure++
						if w := strings.Join(part.Warnings, "\n"); !strings.Contains(w, "the fuse opens only where the supply gives") {
							t.Error(w)
						}
					}
				}
			}
		}
	}
	if unsure == 0 {
		t.Error("no fuse that may hold among them")
	}
}

// A resistor with a fuse stands every short that opens it until it does, or that it may
// not is said: by hand, of all currents between the least and the most, within two minutes
// from 2.1 times the fuse's rating, 10 s from 2.75, 3 s from 4 times (IEC 60127-2, sheet 3,
// from memory), in which a wirewound takes 2, 5 and 10 times its rating.
func TestResistorStandsUntilItsFuseOpens(t *testing.T) {
	told, stood := 0, 0
	for _, volts := range []float64{7, 7.5, 9, 12} {
		for _, rated := range []float64{0, 1, 2, 5} {
			p := plan(t, "12AX7,6SN7,EF86", Supply{Volts: volts, RatedA: rated, TolFrac: 0.05}, Options{})
			for _, part := range p.Arrangements[1].Parts {
				may := strings.Contains(strings.Join(part.Warnings, "\n"), "may burn out first")
				for k, c := range part.Set {
					f, worst := part.Fuses[k], 0.0
					if !f.Sure || len(c.Ohms) > 1 {
						continue
					}
					for i := f.ShortA; i <= f.MostA; i += 0.001 {
						stands := 2.0
						if i >= 2.75*f.RatingA {
							stands = 5
						}
						if i >= 4*f.RatingA {
							stands = 10
						}
						worst = math.Max(worst, c.FaultW*i*i/(f.MostA*f.MostA)/stands)
					}
					switch {
					case worst > c.FitW && !may:
						t.Errorf("%g V, %g A: %s stands %g W, not %.1f W", volts, rated, c.Label, c.FitW, worst)
					case worst > c.FitW:
						told++
					case worst > c.BuyW:
						stood++
					}
				}
			}
		}
	}
	if stood == 0 {
		t.Errorf("%d told, none with a larger rating", told)
	}
	// 300 W until a fuse opens within two minutes are 150 W for good: nothing is fitted for that.
	z := sizing{opt: defaults(t), supply: Supply{RatedA: 10}}
	f, c := Fuse{RatingA: 4, ShortA: 10, MostA: 10, Sure: true}, Choice{BuyW: 5, FaultW: 300, Ohm: 3, Ohms: []float64{3}}
	c.FitW = z.fit(c, f, 1, c.BuyW)
	near(t, "W to fit", c.FitW, 5, 0)
	if w := z.faultWarning(Part{Set: []Choice{c}, Fuses: []Fuse{f}}, 0); !strings.Contains(w, "more than it stands so long, so it may burn out first") {
		t.Error(w)
	}
}

// In hot air a resistor stands less: none of its rating is left at 275 °C and all of it
// at 25 °C (MIL-R-39009's scope), so 0.82 at 70 °C and 0.7 at 100 °C.
func TestHotAirDeratesTheRating(t *testing.T) {
	for _, c := range []struct{ ambient, share float64 }{{-40, 1}, {25, 1}, {70, 0.82}, {100, 0.7}} {
		near(t, "share", derated(c.ambient), c.share, 1e-12)
	}
	// 12 V behind 16 + 3 Ω: 1.44 W in the larger at 0.3 A, 1.58 W in the worst case.
	for _, c := range []struct{ ambient, buy, survives float64 }{{25, 5, 7}, {100, 5, 10}} {
		part := fitted(plan(t, "12AU7", Supply{Volts: 12, RatedA: 2}, Options{AmbientC: new(c.ambient)}))
		if part.Label != "16 Ω + 3 Ω" {
			t.Fatal(part.Label)
		}
		near(t, "W to buy", part.BuyW, c.buy, 0)
		near(t, "W that stands a short", part.FaultBuyW, c.survives, 0)
	}
	part := fitted(plan(t, "12AU7", Supply{Volts: 9, RatedA: 2}, Options{}))
	hot := fitted(plan(t, "12AU7", Supply{Volts: 9, RatedA: 2}, Options{AmbientC: new(100.0)}))
	if hot.BuyW <= part.BuyW {
		t.Errorf("%g W at 25 °C and %g W at 100 °C, for %g W", part.BuyW, hot.BuyW, part.WorstW)
	}
}

// A zero that is told is no default: air of 0 °C, and resistors without a tolerance.
func TestToldZeros(t *testing.T) {
	o, err := Options{AmbientC: new(0.0), PartTol: new(0.0)}.withDefaults()
	if err != nil || o.airC() != 0 || o.partTol() != 0 {
		t.Errorf("%g °C, %g, %v", o.airC(), o.partTol(), err)
	}
	if o, err = (Options{}).withDefaults(); err != nil || o.airC() != 25 || o.partTol() != 0.05 {
		t.Errorf("not told: %g °C, %g, %v", o.airC(), o.partTol(), err)
	}
	cold, usual := fitted(plan(t, "12AU7", Supply{Volts: 12}, Options{AmbientC: new(0.0)})), fitted(plan(t, "12AU7", Supply{Volts: 12}, Options{}))
	near(t, "surface, K under that in 25 °C", usual.SurfaceC-cold.SurfaceC, 25, 1e-9)
}

// A fuse that is named carries the warm and the cold current by the standard's
// gates and is opened by the short, surely where it says so; where none is named, no
// rating does both.
func TestFusesCarryAndOpen(t *testing.T) {
	named, none := 0, 0
	check := func(f Fuse) {
		carries := func(r float64) bool { return f.SteadyA <= 0.75*r*(1+1e-9) && f.SurgeA <= r*(1+1e-9) }
		if f.SurgeA > 1.1*math.Max(f.ColdA, f.SteadyA)/1.5+1e-9 || f.SurgeA < f.SteadyA/1.5-1e-9 { // with the heaters' spread
			t.Errorf("carries the first instant for good, and the warm current: %+v", f)
		}
		opens := func(r float64) bool { return f.ShortA == 0 || f.MostA >= 2.1*r }
		if f.RatingA > 0 {
			named++
			sure := f.ShortA == 0 || f.ShortA >= 2.1*f.RatingA
			if !carries(f.RatingA) || !opens(f.RatingA) || f.Sure != sure {
				t.Errorf("%+v", f)
			}
			return
		}
		none++
		for _, r := range fuseRatings {
			if carries(r) && opens(r) {
				t.Errorf("%g A would do: %+v", r, f)
			}
		}
	}
	rng := rand.New(rand.NewPCG(63, 11))
	plans := testrun.Short(60, 40)
	for range plans {
		l := randomLoad(t, rng)
		s := randomSupply(rng, l, l.NominalA())
		s.RatedA *= 2
		p, err := MakePlan(l, s, randomOptions(rng))
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range p.Arrangements {
			for _, part := range a.Parts {
				if len(part.Fuses) == 0 {
					t.Errorf("%s, %s: not a word on a fuse", a.Name, part.Label)
				}
				for _, f := range part.Fuses {
					check(f)
				}
			}
		}
	}
	if named < plans || none < plans {
		t.Errorf("%d fuses named, %d refused", named, none)
	}
	// By hand: one 300 mA heater straight on 6.3 V draws 1.8 A cold, as hot as 0.85 A would
	// make a fuse for good (scipy, see surge_test.go), and over 1.2 that is 0.71 A.
	p := plan(t, "12AU7", Supply{Volts: 6.3, RatedA: 2}, Options{})
	near(t, "fuse", p.best().Fuses[0].RatingA, 0.8, 0)
}

// 12 V on 12.6 V and 6 V on 6.3 V are inside the valves' tolerance.
func TestDirectInsideTolerance(t *testing.T) {
	for _, c := range []struct {
		valves string
		volts  float64
		direct bool
		err    float64
	}{
		{"2x12AU7@series", 12, true, 12/12.6 - 1}, {"2x12AU7", 6, true, 6/6.3 - 1}, {"12SN7", 12, true, 12/12.6 - 1},
		{"6922", 6, true, 6/6.3 - 1}, {"6922", 5.9, false, 0}, {"12AU7", 5.6, false, 0}, {"12AU7", 6.35, true, 6.35/6.3 - 1}, {"12AU7", 7.5, false, 0},
	} {
		p := plan(t, c.valves, Supply{Volts: c.volts}, Options{})
		if p.Direct != c.direct {
			t.Errorf("%s on %g V: direct %v, %s %s", c.valves, c.volts, p.Direct, p.Why, p.BestWhy)
		}
		if c.direct {
			near(t, c.valves, p.best().ErrFrac, c.err, 1e-9)
		}
	}
}

// Over 60 V nothing is planned: no resistor, no figure to fit.
func TestMainsAndHighTensionAreRefused(t *testing.T) {
	for volts, refused := range map[float64]bool{48: false, 60: false, 60.5: true, 110: true, 230: true, 325: true} {
		p := plan(t, "2x12AU7", Supply{Volts: volts}, Options{})
		if p.Refused != refused || refused && (p.Why == "" || p.CanFeed || len(p.Arrangements) > 0) {
			t.Errorf("%g V: refused %v, %q", volts, p.Refused, p.Why)
		}
	}
	// Counted unloaded: 58 V at 1 A behind 3 Ω is 61 V with the valves out.
	if p := plan(t, "2x12AU7", Supply{Volts: 58, AtA: 1, OutputOhm: 3}, Options{}); !p.Refused {
		t.Error("61 V unloaded was planned")
	}
}

// Heater-cathode volts: the rail's worse end against the cathode, the limit from
// the table or the user's own.
func TestHeaterCathodeLimit(t *testing.T) {
	for _, c := range []struct {
		valve   string
		cathode float64
		volts   float64
		state   InsulationState
	}{
		{"12AU7", 0, 6.3, InsulationNotTold}, {"12AU7", 85, 85, InsulationInside}, {"12AU7", 190, 190, InsulationOver},
		{"12AU7", -178, 184.3, InsulationOver}, {"6N23P", 60, 60, InsulationUnknown}, {"6N23P", 0, 6.3, InsulationNotTold}, {"6SN7GT", 95, 95, InsulationOver},
	} {
		l, err := ParseLoad(c.valve, nil)
		if err != nil {
			t.Fatal(err)
		}
		l.Groups[0].CathodeV = c.cathode
		p, err := MakePlan(l, Supply{Volts: 7}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		i := p.Insulation[0]
		near(t, c.valve, i.Volts, c.volts, 1e-9)
		if i.State != c.state {
			t.Errorf("%s with its cathode at %g V: %s", c.valve, c.cathode, i.State)
		}
	}
}

// From 12 V a dropper's corners are wide, and the other ways are told with
// their heat; the better one is marked, and only where the dropper is not it.
func TestAlternativesToAWideDropper(t *testing.T) {
	if n := len(plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, TolFrac: 0.05}, Options{}).Alternatives); n != 0 {
		t.Errorf("%d alternatives to a dropper of 0.7 V", n)
	}
	for _, c := range []struct {
		valves string
		volts  float64
		better AltKind
	}{
		{"2x12AU7,1x6N2P", 9, AltRegulator}, {"2x12AU7,1x6N2P", 12, AltRegulator}, {"4x12AU7", 13, AltStrings}, {"4x6N6P", 13, AltStrings}, {"3x5687", 12, AltSupply},
	} {
		p := plan(t, c.valves, Supply{Volts: c.volts, TolFrac: 0.05, RatedA: 5}, Options{})
		marked := AltKind("")
		for _, a := range p.Alternatives {
			if a.Kind == AltRegulator {
				near(t, "regulator's heat", a.HeatW, (c.volts*1.05-6.3)*p.HighA, 1e-9)
			}
			if a.What == "" || math.IsNaN(a.HeatW) {
				t.Errorf("%+v", a)
			}
			if a.Better {
				marked = a.Kind
			}
		}
		if marked != c.better || p.Better == "" {
			t.Errorf("%s from %g V: better %q (%s), want %q; %s", c.valves, c.volts, marked, p.Better, c.better, p.BestWhy)
		}
	}
}

// The list of parts names every part once, with its rating.
func TestShoppingList(t *testing.T) {
	for _, volts := range []float64{6.3, 7, 7.5, 9, 12} {
		p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: volts, RatedA: 2, TolFrac: 0.05}, Options{})
		for _, a := range p.Arrangements {
			for _, part := range a.Parts {
				resistors := 0
				for _, i := range part.Shopping {
					if strings.Contains(i.What, "resistor") {
						resistors += i.Count
						if !strings.Contains(i.What, " W") && part.BuyW > 0 {
							t.Errorf("%s: %q names no watts", part.Label, i.What)
						}
					}
					if strings.Contains(i.What, "diode") && (!strings.Contains(i.What, " A,") || !strings.Contains(i.What, " V or more")) {
						t.Errorf("%q names no rating", i.What)
					}
				}
				if len(part.Set) > 0 && resistors != part.Count {
					t.Errorf("%s: %d resistors listed, %d needed", part.Label, resistors, part.Count)
				}
			}
		}
	}
}

// The times are those of IEC 60127-2, sheet 3, from memory.
func TestFuseOpensWithin(t *testing.T) {
	for _, c := range []struct {
		fuse Fuse
		want string
	}{
		{Fuse{RatingA: 1}, "two minutes"}, // only the supply's unknown limit
		{Fuse{RatingA: 1, ShortA: 2.1}, "two minutes"},
		{Fuse{RatingA: 1, ShortA: 2.8}, "10 s"},
		{Fuse{RatingA: 2, ShortA: 10}, "3 s"},
		{Fuse{RatingA: 1, ShortA: 12}, "0.3 s"},
	} {
		if got := c.fuse.opensWithin(); got != c.want {
			t.Errorf("%+v: %q, want %q", c.fuse, got, c.want)
		}
	}
}

// Diodes have no resistance to hold a short: all of the supply's limit flows, by Ohm's
// law 1.8 times its rating at most, and what a diode that fails of it does is said. It
// carries 3.6 A for 10 s as for good, and five times its rating for 0.3 s.
func TestDiodesInAShort(t *testing.T) {
	for _, c := range []struct {
		valves       string
		volts, rated float64
		says, buy    string
	}{
		{"2x12AU7,1x6N2P", 7, 2, "drives up to 3.6 A through the silicon diode, which no fuse is sure to clear: take the 5 A rating", "diode, not a fast or a Schottky type, 5 A"},
		{"12AU7", 7, 2, "drives up to 3.6 A through the silicon diode until the fuse opens, within 10 s", "5 A"}, // T 0.8 A, 2.4 A or more
		{"12AU7", 7, 20, "drives up to 36 A through the silicon diode until the fuse opens, within 0.3 s", "10 A"},
		{"12AU7", 7, 0, "all that the supply gives, whose limit is not known, through the silicon diode until the fuse opens", "1 A"},
		{"6x6SN7", 7, 10, "no diode of up to 10 A carries it: take a resistor", "10 A"},
	} {
		p := plan(t, c.valves, Supply{Volts: c.volts, RatedA: c.rated, TolFrac: 0.05}, Options{})
		for _, a := range p.Arrangements {
			if a.Name != siliconDiode.name {
				continue
			}
			part := a.Parts[a.Best]
			w := strings.Join(part.Warnings, "\n")
			if !strings.Contains(w, c.says) || !strings.Contains(w, "a diode mostly fails shorted") {
				t.Errorf("%s, %g A: %s", c.valves, c.rated, w)
			}
			if !strings.Contains(part.Shopping[0].What, c.buy) {
				t.Errorf("%s, %g A: %s", c.valves, c.rated, part.Shopping[0].What)
			}
		}
	}
}

// A fuse carries the most that cold heaters draw: 7 V and 5 %, 0.75 Ω less 5 % and the
// cold 6.3/0.94/6 = 1.117 Ω, by Ohm's law 7.35/(0.7125 + 1.117) = 4.017 A.
func TestFuseCarriesTheHighestColdStart(t *testing.T) {
	p := plan(t, "2x12AU7,1x6N2P", Supply{Volts: 7, TolFrac: 0.05}, Options{})
	part := p.Arrangements[0].Parts[1]
	near(t, "cold, A", part.Fuses[0].ColdA, 7.35/(0.95*0.75+6.3/0.94/6), 1e-6)
}
