package report

import (
	"math"
	"strings"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// When nothing passes, the headline names the undecided unit that looks best too.
func TestHeadlineNamesTheBestUndecidedUnit(t *testing.T) {
	unit := func(mark string, v target.Verdict, db float64) Unit {
		u := target.Unit{Brand: "Alder", Mark: mark, Key: "Alder " + mark}
		return Unit{Eval: target.Evaluation{Unit: u, Verdict: v, Worst: 0, WorstDB: db,
			Margins: []target.Margin{{Limit: target.Limit{Name: "noise", Unit: "V/√Hz", Max: 1e-6}, Covered: true, DB: db}}}}
	}
	r := &Report{Units: []Unit{unit("N1", target.NearMiss, -3), unit("O1", target.Open, 2), unit("R1", target.Retake, 5), unit("R2", target.Retake, -9)}}
	got := r.Answer().Best
	if !strings.Contains(got, "No unit passes") || !strings.Contains(got, "R1") || strings.Contains(got, "O1") {
		t.Error(got)
	}
	r.Units[0].Eval.Verdict = target.Pass
	if got := r.Answer().Best; strings.Contains(got, "R1") {
		t.Error(got)
	}
}

// Where none of the undecided was captured, what a screen shows of them names the best.
func TestHeadlineNamesWhatAScreenShows(t *testing.T) {
	ripple := target.Limit{Criterion: target.RipplePP, Name: "ripple p-p (20 MHz)", Unit: "V", Max: 20e-3}
	unit := func(mark string, v target.Verdict, worst int, shownV float64) Unit {
		u := target.Unit{Brand: "Alder", Mark: mark, Key: "Alder " + mark,
			Shown: []target.Shown{{Criterion: target.RipplePP, Value: shownV, UFrac: 0.3, BandLimited: true}}}
		return Unit{Eval: target.Evaluation{Unit: u, Verdict: v, Worst: worst, WorstDB: -6,
			Margins: []target.Margin{{Limit: ripple, Covered: worst >= 0, DB: -6, AtLeast: true}}}}
	}
	r := &Report{Units: []Unit{unit("F1", target.Fail, 0, 60e-3), unit("O1", target.Open, -1, 15e-3), unit("O2", target.Open, -1, 5e-3)}}
	got := r.Answer().Best
	for _, want := range []string{"comes closest of those judged, at least 6.0 dB over", "under the limit by 12.0 dB as read off the screen: Alder O2"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q lacks %q", got, want)
		}
	}
	r.Units[1].Eval.Unit.Shown, r.Units[2].Eval.Unit.Shown = nil, nil
	if got := r.Answer().Best; !strings.Contains(got, "2 units are undecided") {
		t.Error(got)
	}
	for _, w := range r.Answer().Watch {
		if strings.Contains(w, "baseline") {
			t.Errorf("nothing was captured: %q", w)
		}
	}
}

// What forbids the best unit is said with it.
func TestHeadlineTellsOfOverload(t *testing.T) {
	u := target.Unit{Brand: "Alder", Mark: "1", Key: "Alder 1"}
	e := target.Evaluation{Unit: u, Verdict: target.Pass, Worst: 0, WorstDB: 4, Overloaded: true,
		Margins:  []target.Margin{{Limit: target.Limit{Name: "noise", Unit: "V/√Hz", Max: 1e-6}, Covered: true, DB: 4}},
		Cautions: []capture.Caution{{Code: target.CautionOverloaded, Text: "the heaters take up to 1.01 A, more than its rated 0.8 A"}}}
	r := &Report{Units: []Unit{{Eval: e}}}
	a := r.Answer()
	if !strings.Contains(a.Best, "Even so, don't use it for these heaters: the heaters take up to 1.01 A") {
		t.Error(a.Best)
	}
	if strings.Contains(strings.Join(a.Watch, " "), "1.01 A") {
		t.Errorf("said twice: %q", a.Watch)
	}
	for name, text := range map[string]string{"table": reasons(r, 100), "build log": string(r.Markdown())} {
		if !strings.Contains(text, "overloaded") {
			t.Errorf("the %s doesn't say so:\n%s", name, text)
		}
	}
}

// The limits' rules of thumb are not for a filament, and a heater over its cathode's
// insulation is named where the dropper is.
func TestHeadlineTellsOfTheHeaters(t *testing.T) {
	v, err := heater.Lookup("2A3", nil)
	if err != nil {
		t.Fatal(err)
	}
	goal, err := target.Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	r := &Report{Target: goal, HeaterLoad: heater.Load{Groups: []heater.Group{{Valve: v, Count: 1}}, Volts: 2.5}}
	if got := strings.Join(r.Answer().Disputes, " "); !strings.Contains(got, "2A3 is directly heated") {
		t.Errorf("%q", got)
	}
	for i := range r.Target.Limits {
		r.Target.Limits[i].Basis = target.WrittenOut
	}
	if got := r.Answer().Disputes; len(got) != 0 {
		t.Errorf("by limits of one's own: %q", got)
	}
	double, err := heater.Lookup("12AU7", nil)
	if err != nil {
		t.Fatal(err)
	}
	load, err := heater.NewLoad([]heater.Group{{Valve: double, Count: 1, CathodeV: 190}}, 6.3)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := heater.MakePlan(load, heater.Supply{Volts: 7}, heater.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := (&Report{}).fitWords(&Unit{Plan: &plan}); !strings.Contains(got, "190 V between heater and cathode is over its 180 V") {
		t.Error(got)
	}
	if load, err = heater.ParseLoad("2x6SN7", nil); err != nil {
		t.Fatal(err)
	}
	if plan, err = heater.MakePlan(load, heater.Supply{Volts: 13, TolFrac: 0.05}, heater.Options{}); err != nil {
		t.Fatal(err)
	}
	if got := (&Report{}).fitWords(&Unit{Plan: &plan}); !strings.Contains(got, "Rewire the heaters first, as a string of 2x6SN7GT; left as listed they would burn out") {
		t.Error(got)
	}
	if a, part := bestPart(&plan); partText(a, part) != "0.68 Ω, 1 W, heaters rewired in strings" {
		t.Error(partText(a, part))
	}
	r = &Report{Units: []Unit{{Plan: &plan}}}
	r.Units[0].Eval.Unit = target.Unit{Key: "A 1", Brand: "A", Mark: "1"}
	for what, of := range map[string]func() ([]byte, error){"results.csv": r.CSV, "labels.html": r.Labels} {
		if out, err := of(); err != nil || !strings.Contains(plainSpaces(string(out)), "rewired") {
			t.Errorf("%s, %v: a builder who reads it alone leaves the heaters in parallel", what, err)
		}
	}
}

// Why there is no dropper is said with what would let it be sized, and only what is so.
func TestNoPlanWords(t *testing.T) {
	valve, err := heater.Lookup("12AU7", nil)
	if err != nil {
		t.Fatal(err)
	}
	load := heater.Load{Groups: []heater.Group{{Valve: valve, Count: 1}}, Volts: 6.3}
	read := func(state target.State, volts figure.Figure) target.Evaluation {
		return target.Evaluation{Unit: target.Unit{State: state}, LoadedV: volts}
	}
	for _, c := range []struct {
		name string
		load heater.Load
		eval target.Evaluation
		want string
	}{
		{"no valves", heater.Load{}, read(target.Bare, figure.Known(7)), "list them under [heaters]"},
		{"no volts", load, read(target.Bare, figure.Figure{}), "add a meter reading, or a DC-coupled capture"},
		{"behind its dropper", load, read(target.BehindDropper, figure.Known(6.3)), "measured behind its dropper"},
		{"no supply's volts", load, read(target.Bare, figure.Known(7000)), "7.00 kV, which no heater supply gives; correct"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := &Report{HeaterLoad: c.load, Units: []Unit{{Eval: c.eval}}}
			if got := r.fitWords(&r.Units[0]); !strings.Contains(got, c.want) || strings.Contains(got, " or the unit") {
				t.Errorf("%q, want %q", got, c.want)
			}
		})
	}
}

// A 12.6 V supply for 12.6 V heaters needs no dropper, and the band that leaves room for
// one reaches down to what suits them: 12.6 V less 10 %, since straight on nothing else
// moves a heater's volts (11.34 V, by hand). Not where the heaters' own limits refuse it
// (11.2 V are 11 % under), nor for a band of one's own.
func TestDirectConnectionWidensTheBand(t *testing.T) {
	load, err := heater.ParseLoad("4x12AX7@series", nil)
	if err != nil {
		t.Fatal(err)
	}
	named, err := target.Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		volts       float64
		own, inside bool
		least       float64
	}{
		{12.6, false, true, 11.34}, {12.1, false, true, 11.34}, {11.2, false, false, 13.2}, {12.6, true, false, 13.2}, {14, false, true, 13.2},
	} {
		goal := named.ForRail(load.Volts)
		if c.own {
			if goal, err = target.Custom(nil, nil, [2]float64{13.2, 15.2}, &named); err != nil {
				t.Fatal(err)
			}
		}
		u := target.Unit{Key: "A 1", Brand: "A", Mark: "1", RatedV: 12, RatedA: 2, HeaterA: load.NominalA(), Readings: []target.Reading{{LoadA: load.NominalA(), V: c.volts}}}
		plan, err := heater.MakePlan(load, heater.Supply{Volts: c.volts, AtA: u.HeaterA, RatedA: 2}, heater.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if least, ok := plan.DownTo(); ok && c.volts < goal.Limits[0].Min {
			goal = goal.DirectFrom(least)
		}
		r := &Report{Target: goal, HeaterLoad: load, Units: []Unit{{Eval: target.Evaluate(u, goal), Plan: &plan}}}
		for _, m := range r.Units[0].Eval.Margins {
			if m.Limit.Criterion == target.HeaterDC && ((m.DB >= 0) != c.inside || math.Abs(m.Limit.Min-c.least) > 0.01) {
				t.Errorf("%g V, band of one's own %v: %.2f dB in %g to %g V", c.volts, c.own, m.DB, m.Limit.Min, m.Limit.Max)
			}
		}
		if got := r.directWords(); strings.Contains(got, "A 1: the volts leave no room for a dropper and need none") != (c.inside && c.volts < 13.2) {
			t.Errorf("%g V, band of one's own %v: %q", c.volts, c.own, got)
		}
	}
	if twice := named.ForRail(12.6).ForRail(12.6); twice.Limits[0].Min != 2*named.Limits[0].Min {
		t.Errorf("the band goes with the rail once: %+v", twice.Limits[0])
	}
}

// A rating that is larger than the heat asks for says why: until the fuse opens, where one
// is sure to (28 W of a 10 A supply through T 1 A), or because none is (3.6 A of a 2 A one).
func TestFitSaysWhatTheRatingIsFor(t *testing.T) {
	for _, c := range []struct {
		valves string
		rated  float64
		says   string
	}{
		{"2x6N2P", 10, "The rating is for a shorted heater, until its fuse opens."},
		{"2x12AU7,1x6N2P", 2, "The rating is for a shorted heater, which no fuse is sure to clear."},
	} {
		load, err := heater.ParseLoad(c.valves, nil)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := heater.MakePlan(load, heater.Supply{Volts: 7, RatedA: c.rated, TolFrac: 0.05}, heater.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if s := (&Report{}).fitWords(&Unit{Plan: &plan}); !strings.Contains(s, c.says) {
			t.Errorf("%s: %s", c.valves, s)
		}
	}
}
