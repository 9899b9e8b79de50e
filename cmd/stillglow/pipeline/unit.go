package pipeline

import (
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/bandlimit"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// Inputs are the files that a report on a sheet is made from: the sheet
// and the captures and baselines that it names.
func Inputs(s *sheet.Sheet) []string {
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
func captureSetup(shared analysis.Setup, u sheet.Unit, c sheet.Capture, baselines map[BaselineID]report.Capture) analysis.Setup {
	shared.RatedV, shared.LoadA = u.RatedV, c.LoadA
	if u.State == sheet.BehindDropper {
		shared.RatedV = 0 // the label's volts are lost in the dropper
	}
	if c.Baseline != nil {
		shared.Baseline, shared.BaselineOff = baselines[BaselineOf(c.Baseline)].M, c.Baseline.SupplyOff
	}
	return shared
}

// targetUnit is what the sheet says of a unit, as package target takes it. i is
// its place in the sheet.
func targetUnit(u sheet.Unit, i int, load heater.Load) target.Unit {
	out := target.Unit{
		Index: i, Key: u.Name(),
		Brand: u.Brand, Model: u.Model, Mark: u.Mark, State: target.State(u.State), Date: u.Date,
		RatedV: u.RatedV, RatedA: u.RatedA, HeaterA: load.NominalA(), HeaterHighA: load.HighA(), Note: u.Note,
	}
	if u.State == sheet.BehindDropper {
		out.RatedV = 0
	}
	for _, m := range u.Readings {
		out.Readings = append(out.Readings, target.Reading{LoadA: m.LoadA, V: m.V})
	}
	for _, r := range u.Shown {
		out.Shown = append(out.Shown, ShownOf(r))
	}
	return out
}

// ShownOf is a figure read off a screen, as package target takes it.
func ShownOf(r sheet.Shown) target.Shown {
	return target.Shown{Criterion: target.Criterion(r.On), Value: r.Value, UFrac: r.PlusMinusPercent / 100,
		LoadA: r.LoadA, By: r.By, BandLimited: r.BandLimited}
}
