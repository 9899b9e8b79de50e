package target

import (
	"cmp"
	"fmt"
	"slices"
)

// bare reports whether a unit was measured at its own output.
func (u Unit) bare() bool { return u.State == Bare || u.State == "" }

// Same reports whether two units are one physical supply in other states or on other
// days. One state of one day is one unit: two of those are two supplies.
func (u Unit) Same(o Unit) bool {
	return u.Brand == o.Brand && u.Model == o.Model && u.Mark == o.Mark && (u.State != o.State || u.Date != o.Date)
}

// alike reports whether a unit can be compared with another of its brand: the same
// model in the same state, and not the same supply.
func (u Unit) alike(o Unit) bool {
	return u.Brand == o.Brand && u.Model == o.Model && !u.Same(o) && (u.bare() && o.bare() || u.State == o.State)
}

// setAside marks the states of a supply that don't count in its brand: all but the
// latest bare one, or the latest where none is bare. Dates of ISO 8601 order as text;
// of one day, or none, the later in the sheet is the latest.
func setAside(evals []Evaluation) {
	counts := make([]int, len(evals)) // the evaluation that counts for this one's supply
	for i := range evals {
		counts[i] = i
		for k := range evals {
			a, b := evals[k].Unit, evals[counts[i]].Unit
			if k != i && !a.Same(evals[i].Unit) {
				continue
			}
			if c := cmp.Compare(a.Date, b.Date); a.bare() && !b.bare() || a.bare() == b.bare() && (c > 0 || c == 0 && a.Index > b.Index) {
				counts[i] = k
			}
		}
	}
	for i := range evals {
		evals[i].Aside = counts[i] != i
	}
}

// History lists the places in evals of every state of the supply that evals[i] is
// of, by date and then as the sheet has them.
func History(evals []Evaluation, i int) []int {
	var at []int
	for k := range evals {
		if k == i || evals[k].Unit.Same(evals[i].Unit) {
			at = append(at, k)
		}
	}
	slices.SortStableFunc(at, func(a, b int) int {
		return cmp.Or(cmp.Compare(evals[a].Unit.Date, evals[b].Unit.Date), cmp.Compare(evals[a].Unit.Index, evals[b].Unit.Index))
	})
	return at
}

// AtHeaters is the target for a unit that was measured behind its dropper: its DC is
// the heaters', and is held against their volts, tol (0.1: ±10 %) about them. The
// other limits stay.
func (t Target) AtHeaters(volts, tol float64) Target {
	limits := slices.Clone(t.Limits)
	for i, l := range limits {
		if l.Criterion == HeaterDC && volts > 0 && tol > 0 {
			limits[i] = dcBand(volts*(1-tol), volts*(1+tol), fmt.Sprintf("the heaters' %.4g V ±%.3g %%, behind the dropper", volts, 100*tol))
			limits[i].Name = "heater volts (behind the dropper)"
		}
	}
	t.Limits = limits
	return t
}
