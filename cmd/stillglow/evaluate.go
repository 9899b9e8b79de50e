package main

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"stillglow/analysis"
	"stillglow/analysis/bandlimit"
	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// evalOptions of one evaluation of a bench sheet. The zero value uses every
// core, no cache, and looks for post-filters for near misses.
type evalOptions struct {
	Workers    int                     // captures measured side by side, 0: one per core
	Cache      *cache                  // nil: measure everything afresh
	Progress   func(done, total int64) // told after every capture, may be nil
	SkipFilter bool                    // leave out the search for a post-filter
	FilterAll  bool                    // search for every unit, not for near misses alone
	Date       string                  // overrides the sheet's date
}

// troubles is several errors, each of which gets its own line.
type troubles []error

func (t troubles) Error() string {
	lines := make([]string, len(t))
	for i, err := range t {
		lines[i] = err.Error()
	}
	return strings.Join(lines, "; ")
}

func (t troubles) Unwrap() []error { return t }

// evaluate reads a bench sheet, measures its captures, decides, and gives the
// finished report value. It writes nothing but cache entries.
func evaluate(ctx context.Context, sheetPath string, opt evalOptions) (*report.Report, error) {
	s, err := sheet.Read(sheetPath)
	if err != nil {
		return nil, err
	}
	return evaluateSheet(ctx, s, opt)
}

// evaluateSheet is evaluate on a sheet already read.
func evaluateSheet(ctx context.Context, s *sheet.Sheet, opt evalOptions) (*report.Report, error) {
	goal, stage, err := sheetTarget(s)
	if err != nil {
		return nil, err
	}
	load, err := sheetLoad(s)
	if err != nil {
		return nil, err
	}
	heaterA := load.NominalA()
	goal = goal.ForRail(load.Volts)

	r := &report.Report{
		Title: s.Title, Workshop: s.Workshop, Date: s.Date, Note: s.Note,
		Invented: s.Invented, Sheet: s.Path, ToolVersion: version,
		MainsHz: s.MainsHz, Target: goal,
		HeaterLoad: load, HeaterA: heaterA,
		Instrument: s.Instrument.Name, GainPercent: s.Instrument.GainPercent,
	}
	if opt.Date != "" {
		r.Date = opt.Date
	}

	setup := sheetSetup(s, heaterA)
	baselines, err := measureBaselines(ctx, s, setup, opt)
	if err != nil {
		return nil, err
	}
	if b := s.Instrument.Baseline; b != nil {
		base := baselines[baselineOf(b)]
		r.Baseline = &base
	}
	measured, err := measureUnits(ctx, s, setup, baselines, opt)
	if err != nil {
		return nil, err
	}

	evals := make([]target.Evaluation, len(s.Units))
	for i, u := range s.Units {
		unit := targetUnit(u, i, heaterA)
		for _, c := range measured[i] {
			unit.Captures = append(unit.Captures, c.M)
		}
		unit.Captures = analysis.SettleAliases(unit.Captures)
		for k, m := range unit.Captures {
			measured[i][k].M = m
		}
		evals[i] = target.Evaluate(unit, goal)
	}
	search := filterSearch{s, goal, setup, baselines, load.Volts, opt.Cache}
	ranked := target.Rank(evals)
	r.Brands = target.Brands(ranked)
	for _, e := range ranked {
		unit := report.Unit{Eval: e, Captures: measured[e.Unit.Index]}
		if unit.Plan, err = unitPlan(e, load, s); err != nil {
			return nil, fmt.Errorf("%s: dropper for %s: %w", s.Path, e.Unit.Key, err)
		}
		if opt.FilterAll || e.Verdict == target.NearMiss && !opt.SkipFilter {
			if unit.Filter, err = search.unit(ctx, unit, s.Units[e.Unit.Index]); err != nil {
				return nil, fmt.Errorf("%s: post-filter for %s: %w", s.Path, e.Unit.Key, err)
			}
		}
		if stage != nil {
			heard := target.Hear(*stage, e.Unit.Captures...)
			unit.Hears = &heard
		}
		r.Units = append(r.Units, unit)
	}
	return r, nil
}

// sheetInputs are the files that a report on a sheet is made from: the sheet
// and the captures and baselines that it names.
func sheetInputs(s *sheet.Sheet) []string {
	files := []string{s.Path}
	add := func(c *sheet.Capture) {
		if c != nil {
			files = append(files, c.Path)
		}
	}
	add(s.Instrument.Baseline)
	for _, u := range s.Units {
		for i := range u.Captures {
			add(&u.Captures[i])
			add(u.Captures[i].Baseline)
		}
	}
	slices.Sort(files)
	return slices.Compact(files)
}

// sheetSetup is what the sheet says of every capture alike.
func sheetSetup(s *sheet.Sheet, heaterA float64) analysis.Setup {
	return analysis.Setup{
		MainsHz:      s.MainsHz,
		LowPass:      bandlimit.LowPass(s.Instrument.LowPass),
		GainFraction: s.Instrument.GainPercent / 100,
		HeaterA:      heaterA,
	}
}

// captureSetup adds what it says of one capture of a unit.
func captureSetup(shared analysis.Setup, u sheet.Unit, c sheet.Capture, baselines map[baselineID]report.Capture) analysis.Setup {
	shared.RatedV, shared.LoadA = u.RatedV, c.LoadA
	if c.Baseline != nil {
		shared.Baseline = baselines[baselineOf(c.Baseline)].M
	}
	return shared
}

// measureBaselines measures each baseline capture that the sheet names, once.
func measureBaselines(ctx context.Context, s *sheet.Sheet, setup analysis.Setup, opt evalOptions) (map[baselineID]report.Capture, error) {
	named := []*sheet.Capture{s.Instrument.Baseline}
	for i := range s.Units {
		for j := range s.Units[i].Captures {
			named = append(named, s.Units[i].Captures[j].Baseline)
		}
	}
	out := make(map[baselineID]report.Capture)
	for _, b := range named {
		if b == nil {
			continue
		}
		key := baselineOf(b)
		if _, done := out[key]; done {
			continue
		}
		got, err := measureFile(ctx, b.Path, b.File, b.Options, setup, opt.Cache)
		if err != nil {
			return nil, err
		}
		got.Note = b.Note
		out[key] = got
	}
	return out, nil
}

// baselineID tells baselines apart: two channels of one file are two of them.
type baselineID struct {
	path    string
	options string // as JSON, which no two sets of options share
}

func baselineOf(b *sheet.Capture) baselineID {
	return baselineID{b.Path, optionsKey(b.Options)}
}

// measureUnits measures every capture of every unit on a bounded pool of
// workers. The result's order is the sheet's, whatever finished first.
func measureUnits(ctx context.Context, s *sheet.Sheet, setup analysis.Setup, baselines map[baselineID]report.Capture, opt evalOptions) ([][]report.Capture, error) {
	type job struct{ unit, capture int }
	var jobs []job
	out := make([][]report.Capture, len(s.Units))
	errs := make([][]error, len(s.Units))
	for i, u := range s.Units {
		out[i] = make([]report.Capture, len(u.Captures))
		errs[i] = make([]error, len(u.Captures))
		for j := range u.Captures {
			jobs = append(jobs, job{i, j})
		}
	}
	workers := opt.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	workers = min(workers, max(1, len(jobs)))

	var next, done atomic.Int64
	var progress sync.Mutex
	var pool sync.WaitGroup
	for range workers {
		pool.Go(func() {
			for {
				k := int(next.Add(1)) - 1
				if k >= len(jobs) || ctx.Err() != nil {
					return
				}
				u, c := s.Units[jobs[k].unit], s.Units[jobs[k].unit].Captures[jobs[k].capture]
				own := captureSetup(setup, u, c, baselines)
				got, err := measureFile(ctx, c.Path, c.File, c.Options, own, opt.Cache)
				got.LoadA, got.Note = c.LoadA, c.Note
				out[jobs[k].unit][jobs[k].capture] = got
				errs[jobs[k].unit][jobs[k].capture] = err
				if opt.Progress != nil {
					progress.Lock()
					opt.Progress(done.Add(1), int64(len(jobs)))
					progress.Unlock()
				}
			}
		})
	}
	pool.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	var bad troubles
	for i := range errs {
		for _, err := range errs[i] {
			if err != nil {
				bad = append(bad, err)
			}
		}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	return out, nil
}

// measureFile opens one capture and measures it, or takes the result of an
// earlier run from the cache. shown is the path as the user wrote it.
func measureFile(ctx context.Context, path, shown string, opt capture.Options, setup analysis.Setup, c *cache) (report.Capture, error) {
	if got, ok := c.lookup(path, opt, setup); ok {
		got.M.File = shown
		got.LoadA = setup.LoadA
		return got, nil
	}
	tr, err := capture.Open(ctx, path, opt)
	if err != nil {
		return report.Capture{}, err
	}
	m, err := analysis.Measure(ctx, tr, setup)
	if err != nil {
		return report.Capture{}, fmt.Errorf("%s: %w", path, err)
	}
	m.File = shown
	got := report.Capture{M: m, Layout: tr.Layout, Assumptions: tr.Assumptions, LoadA: setup.LoadA}
	c.store(tr.SHA256, opt, setup, got)
	return got, nil
}

// targetUnit carries what the sheet says of a unit into the deciding room.
// i is its place in the sheet.
func targetUnit(u sheet.Unit, i int, heaterA float64) target.Unit {
	out := target.Unit{
		Index: i, Key: u.Name(),
		Brand: u.Brand, Model: u.Model, Mark: u.Mark,
		RatedV: u.RatedV, RatedA: u.RatedA, HeaterA: heaterA, Note: u.Note,
	}
	for _, m := range u.Readings {
		out.Readings = append(out.Readings, target.Reading{LoadA: m.LoadA, V: m.V})
	}
	return out
}

// atLine names the sheet's line an error is about.
func atLine(s *sheet.Sheet, line int, err error) error {
	var at *capture.ParseError
	if errors.As(err, &at) && at.Path != "" {
		return err
	}
	return &capture.ParseError{Path: s.Path, Line: line, Found: err.Error(), Err: err}
}

// unitPlan sizes the dropper from the unit's own measured volts; nil when the
// sheet has no heaters or the unit's volts are not known.
func unitPlan(e target.Evaluation, load heater.Load, s *sheet.Sheet) (*heater.Plan, error) {
	if len(load.Groups) == 0 || !e.LoadedV.Known || e.LoadedV.Value <= 0 {
		return nil, nil
	}
	supply := heater.Supply{
		Volts: e.LoadedV.Value, AtA: e.Unit.HeaterA, RatedA: e.Unit.RatedA,
		TolFrac: s.Heaters.SupplyTolPercent / 100, LeadOhm: s.Heaters.LeadOhm,
	}
	if e.OutputOhm.Known {
		supply.OutputOhm = max(0, e.OutputOhm.Value)
	}
	plan, err := heater.MakePlan(load, supply, heater.Options{
		Exponent: s.Heaters.Exponent, PartTol: s.Heaters.PartTolPercent / 100, Series: s.Heaters.Series,
	})
	if err != nil {
		return nil, err
	}
	return &plan, nil
}

// filterSearch looks for the post-filters that rescue units of a sheet.
type filterSearch struct {
	sheet     *sheet.Sheet
	goal      target.Target
	setup     analysis.Setup // of every capture alike
	baselines map[baselineID]report.Capture
	heaterV   float64
	cache     *cache
}

// unit finds the filter for one unit, u in the sheet. It opens the captures once
// more, since traces are not kept while others are measured, and measures them
// afresh behind the filter; or takes what an earlier run found. The filter's
// series resistor is the one that the unit's plan recommends for all heaters
// together.
func (f filterSearch) unit(ctx context.Context, unit report.Unit, u sheet.Unit) (*filter.Advice, error) {
	in := filter.Input{Unit: unit.Eval.Unit, Target: f.goal}
	opt := filter.Options{HeaterV: f.heaterV, ReserveDB: f.sheet.ReserveDB, Series: f.sheet.Heaters.Series}
	otherwise := ""
	if p := unit.Plan; p != nil {
		if part, ok := p.Shared(); ok {
			opt.DropperOhm = part.Ohm
			if part.Pair {
				opt.DropperLabel = part.Label
			}
			if p.Best >= 0 && p.Arrangements[p.Best].Name != heater.NameShared {
				otherwise = fmt.Sprintf("the filter needs one resistor ahead of all heaters (%s), where the dropper's plan would rather have %s", part.Label, p.Arrangements[p.Best].Name)
			}
		}
	}
	for _, c := range u.Captures {
		in.Setups = append(in.Setups, captureSetup(f.setup, u, c, f.baselines))
	}
	var advice filter.Advice
	key := f.cache.adviceKey(in, u, opt)
	if !f.cache.load(key, &advice) {
		for i, c := range u.Captures {
			tr, err := capture.Open(ctx, c.Path, c.Options)
			if err != nil {
				return nil, err
			}
			if tr.SHA256 != in.Unit.Captures[i].SHA256 {
				key = "" // changed since it was measured
			}
			in.Traces = append(in.Traces, tr)
		}
		var err error
		if advice, err = filter.Search(ctx, in, opt); err != nil {
			return nil, err
		}
		f.cache.save(key, advice)
	}
	if otherwise != "" && advice.Best.Circuit.Topology != "" {
		advice.Best.Warnings = append(advice.Best.Warnings, otherwise)
	}
	return &advice, nil
}
