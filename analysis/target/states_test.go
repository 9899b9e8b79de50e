package target

import (
	"slices"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// inState is a unit's evaluation with ripple of so many volts.
func inState(index int, mark string, state State, date string, rippleV float64) Evaluation {
	m := fast(mark + string(state) + date + ".csv")
	m.PP20MHzV = figure.Figure{Value: rippleV, Known: true, U: 0.02 * rippleV}
	return Evaluate(Unit{Index: index, Key: mark + " " + string(state) + " " + date, Brand: "Alder", Model: "A", Mark: mark, State: state, Date: date,
		HeaterA: 0.6, Captures: []*analysis.Measurement{m}}, Target{Name: "t", Limits: []Limit{limit(RipplePP, 20e-3, "test")}})
}

// A supply in four states counts once in its brand, by its latest bare one, and its
// own filtered state is no brand-mate that shows a wrong probe.
func TestAUnitCountsOnceInItsBrand(t *testing.T) {
	evals := Rank([]Evaluation{
		inState(0, "1", Bare, "2026-01-10", 10e-3),
		inState(1, "1", Bare, "2026-05-02", 40e-3),
		inState(2, "1", BehindFilter, "2026-06-01", 1e-3),
		inState(3, "1", BehindDropper, "2026-06-02", 0.9e-3),
		inState(4, "2", Bare, "", 12e-3),
		inState(5, "3", BehindFilter, "2026-06-01", 2e-3),
	})
	brands := Brands(evals)
	if len(brands) != 1 || brands[0].Units != 3 || brands[0].Judged != 3 || brands[0].Passing != 2 {
		t.Fatalf("%+v, want 3 units of which 2 pass: unit 1 by its state of May", brands)
	}
	var aside []int
	for _, e := range evals {
		if e.Aside {
			aside = append(aside, e.Unit.Index)
		}
		for _, k := range e.Cautions {
			if k.Code == CautionBrandScale {
				t.Errorf("%s: %s", e.Unit.Key, k.Text)
			}
		}
	}
	if slices.Sort(aside); !slices.Equal(aside, []int{0, 2, 3}) {
		t.Errorf("aside %v, want 0, 2 and 3", aside)
	}
	at := slices.IndexFunc(evals, func(e Evaluation) bool { return e.Unit.Index == 2 })
	var history []int
	for _, k := range History(evals, at) {
		history = append(history, evals[k].Unit.Index)
	}
	if !slices.Equal(history, []int{0, 1, 2, 3}) {
		t.Errorf("history %v, want 0 to 3 by date", history)
	}
}

// Behind the dropper the heaters' volts are judged.
func TestHeaterVoltsBehindTheDropper(t *testing.T) {
	goal := Target{Name: "t", Limits: []Limit{dcBand(6.6, 7.6, "test")}}
	for _, c := range []struct {
		state   State
		v       float64
		verdict Verdict
	}{
		{Bare, 7.1, Pass}, {Bare, 6.3, Fail}, {BehindDropper, 6.3, Pass}, {BehindDropper, 6.9, Pass},
		{BehindDropper, 7.1, NearMiss}, {BehindDropper, 5.5, Fail},
	} {
		g := goal
		if c.state == BehindDropper {
			g = goal.AtHeaters(6.3, 0.1)
		}
		e := Evaluate(Unit{State: c.state, HeaterA: 0.6, Readings: []Reading{{0.6, c.v}}}, g)
		if e.Verdict != c.verdict {
			t.Errorf("%s, %g V: %s, want %s (%s)", c.state, c.v, e.Verdict, c.verdict, e.Why)
		}
	}
	if goal.Limits[0].Max != 7.6 {
		t.Error("the target itself was changed")
	}
}
