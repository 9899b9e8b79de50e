package pipeline

import (
	"context"
	"fmt"
	"math"
	"slices"

	"stillglow/analysis/filter"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// MeasureCapture measures one capture as an evaluation of its sheet would, ahead
// of it: u is its unit, the zero Unit where it has none yet. Its aliases are not
// settled with the unit's other captures.
func MeasureCapture(ctx context.Context, s *sheet.Sheet, u sheet.Unit, c sheet.Capture, opt Options) (report.Capture, error) {
	heaterA := 0.0
	if load, err := Load(s); err == nil { // else the evaluation says so
		heaterA = load.NominalA()
	}
	one := *s
	one.Instrument.Baseline = nil
	u.Captures = []sheet.Capture{c}
	one.Units = []sheet.Unit{u}
	m := newMeasuring(&one, sheetSetup(s, heaterA), opt)
	baselines, err := m.baselines(ctx)
	if err != nil {
		return report.Capture{}, err
	}
	got, err := m.units(ctx, baselines)
	if err != nil {
		return report.Capture{}, err
	}
	return got[0][0], nil
}

// PredictFilter tells what a circuit would leave of a unit of an evaluated sheet,
// index its place in the sheet: every criterion's margin behind it, from the
// captures' samples. The supply's resistance, the heaters' and, where the circuit
// names none, the dropper's are those of the unit's plan. The advice is marked
// found, whether it brings the unit inside or not.
func PredictFilter(ctx context.Context, s *sheet.Sheet, r *report.Report, index int, c filter.Circuit, opt Options) (*filter.Advice, error) {
	i := slices.IndexFunc(r.Units, func(u report.Unit) bool { return u.Eval.Unit.Index == index })
	if i < 0 {
		return nil, fmt.Errorf("%s: unit %d is not in the report", s.Path, index+1)
	}
	unit := r.Units[i]
	if len(r.HeaterLoad.Groups) == 0 {
		return nil, fmt.Errorf("%s: found no heaters, expected [[heaters.valve]] entries: a filter is worked out for its load", s.Path)
	}
	c, err := fitted(c, s, r, unit, s.Units[index])
	if err != nil {
		return nil, err
	}
	m := newMeasuring(s, sheetSetup(s, r.HeaterA), opt)
	baselines, err := m.baselines(ctx)
	if err != nil {
		return nil, err
	}
	in := filter.Input{Unit: unit.Eval.Unit, Target: r.Target.WithVolts(unit.Eval)}
	for _, k := range s.Units[index].Captures {
		in.Setups = append(in.Setups, captureSetup(m.setup, s.Units[index], k, baselines))
	}
	if in.Traces, err = usedTraces(ctx, in, s.Units[index]); err != nil {
		return nil, err
	}
	best, err := filter.Predict(ctx, in, c)
	if err != nil {
		return nil, err
	}
	return &filter.Advice{UnitKey: unit.Eval.Unit.Key, Found: true, Best: best}, nil
}

// fitted is the circuit between a unit and its load: with the heaters' resistance,
// the supply's, the lead's and output capacitor's where it names neither, and the
// dropper's where it names none.
func fitted(c filter.Circuit, s *sheet.Sheet, r *report.Report, unit report.Unit, listed sheet.Unit) (filter.Circuit, error) {
	c.LoadOhm = r.HeaterLoad.Volts / r.HeaterA
	if unit.Eval.OutputOhm.Known {
		c.SourceOhm = math.Max(0, unit.Eval.OutputOhm.Value)
	}
	if c.SourceH == 0 && c.CSource.F == 0 {
		var err error
		if c.SourceH, c.CSource, err = sourceOf(s, listed); err != nil {
			return c, err
		}
	}
	if c.ROhm == 0 && unit.Plan != nil {
		if part, ok := unit.Plan.Shared(); ok {
			c.ROhm, c.RatingW = part.Ohm, part.FitW()
			if part.Pair {
				c.RLabel = part.Label
			}
		}
	}
	return c, c.Check()
}
