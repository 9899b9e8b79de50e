package report

import (
	"fmt"
	"math"
	"slices"

	"stillglow/analysis/figure"
	"stillglow/analysis/target"
)

// statesView is a supply that was measured in several states or on several days: a
// column each, by date, and a line for every criterion.
type statesView struct {
	Name  string
	Heads []stateHead
	Lines []stateLine
	at    []int // the columns' places in the report
}

type stateHead struct {
	Date, State string
	Here        bool // the unit whose part of the page this is
}

type stateLine struct {
	Name  string
	Cells []string
}

// first reports whether unit i is the supply's first in the report.
func (v *statesView) first(i int) bool { return i == slices.Min(v.at) }

var stateWords = map[target.State]string{"": "bare", target.Bare: "bare", target.BehindFilter: "behind its filter", target.BehindDropper: "behind its dropper"}

// states tells of the supply that unit i is of, nil where it has one state only.
func (r *Report) states(i int) *statesView {
	own := &r.Units[i].Eval.Unit
	if !slices.ContainsFunc(r.Units, func(u Unit) bool { return u.Eval.Unit.Same(*own) }) {
		return nil // before all evaluations are copied for each of many units
	}
	evals := make([]target.Evaluation, len(r.Units))
	for k := range r.Units {
		evals[k] = r.Units[k].Eval
	}
	at := target.History(evals, i)
	if len(at) < 2 {
		return nil
	}
	u := evals[i].Unit
	v := &statesView{Name: clean(u.Brand + " " + u.Model + " " + u.Mark), at: at}
	verdict, worst := stateLine{Name: "verdict"}, stateLine{Name: "worst margin"}
	for _, k := range at {
		e := &evals[k]
		v.Heads = append(v.Heads, stateHead{orText(e.Unit.Date, "no date"), stateWords[e.Unit.State], k == i})
		verdict.Cells = append(verdict.Cells, shape(e.Verdict)+" "+string(e.Verdict))
		margin := "not measured"
		if m := worstMargin(e); m != nil {
			margin = marginText(m)
		}
		worst.Cells = append(worst.Cells, margin)
	}
	v.Lines = []stateLine{verdict, worst}
	for _, l := range r.Target.Limits {
		line := stateLine{Name: longName(l)}
		if l.Criterion == target.HeaterDC {
			line.Name = "DC" // of the supply, and behind the dropper of the heaters
		}
		for _, k := range at {
			line.Cells = append(line.Cells, stateCell(&evals[at[0]], &evals[k], l.Criterion))
		}
		v.Lines = append(v.Lines, line)
	}
	return v
}

// stateCell is a figure and its change in dB from the first state's; volts of DC, and
// limits of what a figure may be, have none.
func stateCell(first, e *target.Evaluation, c target.Criterion) string {
	m, was := marginOf(e, c), marginOf(first, c)
	if m == nil || !m.Covered {
		return "not measured"
	}
	text := figureText(m.Figure, m.Limit.Unit)
	if first == e || c == target.HeaterDC || was == nil || !was.Covered || bound(m.Figure) || bound(was.Figure) || !(m.Figure.Value > 0) || !(was.Figure.Value > 0) {
		return text
	}
	return fmt.Sprintf("%s (%s)", text, dbText(20*math.Log10(m.Figure.Value/was.Figure.Value)))
}

// bound reports whether a figure is a limit of what it may be and no value.
func bound(f figure.Figure) bool { return f.LowerBound || f.UpperBound }
