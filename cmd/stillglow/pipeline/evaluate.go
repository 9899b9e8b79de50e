package pipeline

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
	"stillglow/report/pool"
)

// Options of one evaluation of a bench sheet. The zero value uses every core
// and no cache, and looks for post-filters for near misses.
type Options struct {
	Workers    int         // captures measured side by side, 0: one per core
	Cache      *Cache      // nil: measure everything afresh
	Progress   func(Event) // told how far the work is, one call at a time; nil: nobody is
	SkipFilter bool        // leave out the search for a post-filter
	FilterAll  bool        // search for every unit, not for near misses alone
	EveryKind  bool        // name every kind of post-filter that does, not the cheapest and the next alone
	Date       string      // overrides the sheet's date
	Version    string      // of the tool, for the report
}

// Evaluate reads the bench sheet at a path, with the files beside it that fit its
// pattern, and evaluates it.
func Evaluate(ctx context.Context, path string, opt Options) (*report.Report, error) {
	s, err := sheet.Read(path)
	if err != nil {
		return nil, err
	}
	if _, err := s.TakeMatching(""); err != nil {
		return nil, err
	}
	return EvaluateSheet(ctx, s, opt)
}

// EvaluateSheet measures a sheet's captures, decides, and gives the finished
// report value, in the steps of the package comment. It writes nothing but cache
// entries. Captures that can't be read are an ErrorList with one error each; an
// ended ctx gives its error.
func EvaluateSheet(ctx context.Context, s *sheet.Sheet, opt Options) (*report.Report, error) {
	goal, stage, err := Target(s)
	if err != nil {
		return nil, err
	}
	load, err := Load(s)
	if err != nil {
		return nil, err
	}
	goal = goal.ForRail(load.Volts)
	r := heading(s, opt)
	r.Target, r.HeaterLoad, r.HeaterA = goal, load, load.NominalA()

	m := newMeasuring(s, sheetSetup(s, r.HeaterA), opt)
	baselines, err := m.baselines(ctx)
	if err != nil {
		return nil, err
	}
	if b := s.Instrument.Baseline; b != nil {
		base := baselines[BaselineOf(b)]
		r.Baseline = &base
	}
	measured, err := m.units(ctx, baselines)
	if err != nil {
		return nil, err
	}

	if s, measured, err = countOnce(s, measured); err != nil {
		return nil, err
	}

	ranked := target.Rank(judge(s, goal, load, measured))
	r.Brands = target.Brands(ranked)
	search := &filterSearch{sheet: s, goal: goal, setup: m.setup, baselines: baselines, heaterV: load.Volts, cache: opt.Cache, samples: newRoom(searchSamples)}
	if !opt.EveryKind {
		search.others = 1 // what no page shows takes a tenth of a first report
	}
	r.Units = make([]report.Unit, len(ranked))
	if err := pool.Each(ctx, len(ranked), opt.Workers, func(i int) (err error) {
		r.Units[i], err = m.advise(ctx, ranked[i], measured[ranked[i].Unit.Index], load, stage, search)
		return err
	}); err != nil {
		return nil, err
	}
	return r, nil
}

// advise adds to a unit's evaluation what would fix it and what the valve hears of it.
func (m *measuring) advise(ctx context.Context, e target.Evaluation, captures []report.Capture, load heater.Load, stage *target.Stage, search *filterSearch) (unit report.Unit, err error) {
	unit = report.Unit{Eval: e, Captures: captures}
	if unit.Plan, err = unitPlan(e, load, m.sheet); err != nil {
		return unit, fmt.Errorf("%s: dropper for %s: %w", m.sheet.Path, e.Unit.Key, err)
	}
	if e.Unit.State != target.BehindDropper && (m.opt.FilterAll || e.Verdict == target.NearMiss && !m.opt.SkipFilter) {
		m.tell(Event{Kind: FilterStarted, Unit: e.Unit.Index, Capture: -1})
		if unit.Filter, err = search.unit(ctx, unit, search.sheet.Units[e.Unit.Index]); err != nil {
			return unit, fmt.Errorf("%s: post-filter for %s: %w", m.sheet.Path, e.Unit.Key, err)
		}
		m.tell(Event{Kind: FilterDone, Unit: e.Unit.Index, Capture: -1})
	}
	if stage != nil {
		heard := target.Hear(*stage, e.Unit.Captures...)
		unit.Hears = &heard
	}
	return unit, nil
}

// heading is the report with what the sheet says of itself.
func heading(s *sheet.Sheet, opt Options) *report.Report {
	r := &report.Report{
		Title: s.Title, Workshop: s.Workshop, Date: s.Date, Note: s.Note,
		Invented: s.Invented, Sheet: capture.OneLine(filepath.Base(s.Path)), ToolVersion: opt.Version, MainsHz: s.MainsHz,
		Instrument: s.Instrument.Name, GainPercent: s.Instrument.GainPercent,
	}
	if opt.Date != "" {
		r.Date = capture.OneLine(opt.Date)
	}
	return r
}

// judge compares the captures of each unit with each other, which may take a
// line for an alias, and decides on each unit. measured gets the captures as
// they are after that.
func judge(s *sheet.Sheet, goal target.Target, load heater.Load, measured [][]report.Capture) []target.Evaluation {
	evals := make([]target.Evaluation, len(s.Units))
	for i, u := range s.Units {
		unit := targetUnit(u, i, load)
		for _, c := range measured[i] {
			unit.Captures = append(unit.Captures, c.M)
		}
		unit.Captures = analysis.SettleAliases(unit.Captures)
		own := GoalOf(goal, atOneRail(load, unit), unit.State)
		evals[i] = target.Evaluate(unit, own)
		if least, ok := directFrom(evals[i], load, s); ok {
			evals[i] = target.Evaluate(unit, own.DirectFrom(least))
		}
		for k, m := range evals[i].Unit.Captures {
			measured[i][k].M = m
		}
	}
	return evals
}

// directFrom is down to what volts a unit suits the heaters in every worst case, where its
// own volts do and lie under a named target's band, which leaves room for a dropper.
func directFrom(e target.Evaluation, load heater.Load, s *sheet.Sheet) (leastV float64, ok bool) {
	if !slices.ContainsFunc(e.Margins, func(m target.Margin) bool {
		return m.Limit.Criterion == target.HeaterDC && m.Limit.ForRailV > 0 && m.Covered && m.Figure.Value < m.Limit.Min
	}) {
		return 0, false
	}
	plan, err := unitPlan(e, load, s)
	if err != nil || plan == nil {
		return 0, false // advise says why
	}
	return plan.DownTo()
}

// atOneRail is the load with the volts of that of its rails at which a unit behind its
// dropper was measured, the nearest.
func atOneRail(load heater.Load, unit target.Unit) heater.Load {
	volts, _ := target.LoadedVolts(unit)
	if !load.Mixed() || unit.State != target.BehindDropper || !(volts.Known && volts.Value > 0) {
		return load
	}
	for _, rail := range load.Rails {
		if math.Abs(math.Log(volts.Value/rail)) < math.Abs(math.Log(volts.Value/load.Volts)) {
			load.Volts = rail
		}
	}
	return load
}

// GoalOf is the target for a unit in a state: behind its dropper the heaters' volts
// are judged, by the narrowest tolerance of its valves.
func GoalOf(goal target.Target, load heater.Load, state target.State) target.Target {
	if state != target.BehindDropper || len(load.Groups) == 0 {
		return goal
	}
	tol := load.Groups[0].Valve.VoltTol
	for _, g := range load.Groups {
		tol = min(tol, g.Valve.VoltTol)
	}
	return goal.AtHeaters(load.Volts, tol)
}

// unitPlan sizes the dropper from the unit's own measured volts; nil when the
// sheet has no heaters, the unit was measured behind its dropper, or its volts are not known or are none that a
// heater supply has: one unit's slip is no reason to stop all others.
func unitPlan(e target.Evaluation, load heater.Load, s *sheet.Sheet) (*heater.Plan, error) {
	const leastV, mostV, mostOhm = 0.1, 1000, 1000 // what package heater takes
	if len(load.Groups) == 0 || e.Unit.State == target.BehindDropper || !e.LoadedV.Known || !(e.LoadedV.Value >= leastV && e.LoadedV.Value <= mostV) {
		return nil, nil
	}
	supply := heater.Supply{
		Volts: e.LoadedV.Value, AtA: e.Unit.HeaterA, RatedA: e.Unit.RatedA,
		TolFrac: s.Heaters.SupplyTolPercent / 100, LeadOhm: s.Heaters.LeadOhm, LimitA: s.Units[e.Unit.Index].LimitA,
	}
	opt := heater.Options{Exponent: s.Heaters.Exponent, AmbientC: s.Heaters.AmbientC, HeadroomFrac: s.Heaters.HeadroomPercent / 100, Series: s.Heaters.Series}
	if percent := s.Heaters.PartTolPercent; percent > 0 {
		opt.PartTol = new(percent / 100)
	}
	if e.OutputOhm.Known && e.OutputOhm.Value <= mostOhm {
		supply.OutputOhm = max(0, e.OutputOhm.Value)
	}
	plan, err := heater.MakePlan(load, supply, opt)
	if err != nil {
		return nil, err
	}
	return &plan, nil
}
