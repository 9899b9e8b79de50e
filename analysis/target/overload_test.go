package target

import (
	"strings"
	"testing"
)

// A unit whose label names less than its heaters may take is quiet all the same: it
// keeps its verdict, is told of, and ranks behind those that carry them.
func TestOverloadedUnit(t *testing.T) {
	goal := line(t)
	at := func(mark string, ratedA, highA float64) Evaluation {
		u := quiet()
		u.Key, u.Brand, u.Mark, u.RatedA, u.HeaterHighA = "Alder "+mark, "Alder", mark, ratedA, highA
		return Evaluate(u, goal)
	}
	amps := quiet().HeaterA
	small, tight, unknown, large := at("1", 0.9*amps, 0), at("2", 1.02*amps, 1.07*amps), at("3", 0, 1.07*amps), at("4", 2*amps, 1.07*amps)
	for _, c := range []struct {
		e    Evaluation
		over bool
	}{{small, true}, {tight, true}, {unknown, false}, {large, false}} {
		if c.e.Verdict != Pass || c.e.Overloaded != c.over {
			t.Errorf("%s: %s, overloaded %v, want %v", c.e.Unit.Key, c.e.Verdict, c.e.Overloaded, c.over)
		}
		if text := codesOf(c.e)[CautionOverloaded]; (text != "") != c.over || c.over && !strings.Contains(text, "more than its rated") {
			t.Errorf("%s: %q", c.e.Unit.Key, text)
		}
	}
	ranked := Rank([]Evaluation{small, tight, unknown, large})
	if a, b := ranked[0].Unit.Mark, ranked[1].Unit.Mark; a+b != "34" || ranked[2].Rank != 3 {
		t.Errorf("first %s and %s, the third unit has rank %d", a, b, ranked[2].Rank)
	}
}

// A pass by the output alone is counted, and counted apart.
func TestBrandsCountPassesByHalf(t *testing.T) {
	half := made("A 1", "A", 5, 0.1)
	half.Common = CommonOpen
	whole := made("A 2", "A", 5, 0.1)
	whole.Common = CommonMeasured
	out := made("A 3", "A", -5, 0.1)
	out.Common = CommonOpen
	b := Brands(Rank([]Evaluation{half, whole, out}))[0]
	if b.Passing != 2 || b.PassingByHalf != 1 || b.PassText() != "2 of 3, 1 by the output alone" {
		t.Errorf("%d passing, %d by half: %s", b.Passing, b.PassingByHalf, b.PassText())
	}
	b = Brands(Rank([]Evaluation{half, out}))[0]
	if b.PassText() != "1 of 2, by the output alone" {
		t.Error(b.PassText())
	}
}
