package pipeline

import (
	"context"
	"fmt"

	"stillglow/analysis"
	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// filterSearch looks for the post-filters that rescue units of a sheet.
type filterSearch struct {
	sheet     *sheet.Sheet
	goal      target.Target
	setup     analysis.Setup // of every capture alike
	baselines map[BaselineID]report.Capture
	heaterV   float64
	cache     *Cache
	samples   *room // that searches side by side hold
	others    int   // as filter.Options has it
}

// searchSamples is how many samples of captures are held by searches side by side: two
// units with a capture of two million each. A sample takes 50 bytes, filtered and measured.
const searchSamples = 4 << 20

// unit finds the filter for one unit, u in the sheet. It opens the captures that show
// peaks once more, since traces are not kept while others are measured, and measures
// them afresh behind the filter; or takes what an earlier run found. The filter's
// series resistor is the one that the unit's plan recommends for all heaters
// together.
func (f *filterSearch) unit(ctx context.Context, unit report.Unit, u sheet.Unit) (*filter.Advice, error) {
	in := filter.Input{Unit: unit.Eval.Unit, Target: f.goal.WithVolts(unit.Eval)}
	opt := filter.Options{HeaterV: f.heaterV, ReserveDB: f.sheet.ReserveDB, Series: f.sheet.Heaters.Series, Others: f.others}
	var err error
	if opt.SourceH, opt.CSource, err = sourceOf(f.sheet, u); err != nil {
		return nil, err
	}
	otherwise := ""
	if p := unit.Plan; p != nil {
		if part, ok := p.Shared(); ok {
			opt.DropperOhm, opt.DropperW = part.Ohm, part.FitW()
			if part.Pair {
				opt.DropperLabel = part.Label
			}
			if p.Best >= 0 && p.Arrangements[p.Best].Name != heater.NameShared {
				otherwise = sharedInstead(part, p.Arrangements[p.Best])
			}
		}
	}
	for _, c := range u.Captures {
		in.Setups = append(in.Setups, captureSetup(f.setup, u, c, f.baselines))
	}
	var advice filter.Advice
	key := f.cache.adviceKey(in, u, opt)
	if !f.cache.load(key, &advice) {
		held := 0
		for i, used := range filter.UsesSamples(in.Unit, in.Target) {
			if used {
				held += in.Unit.Captures[i].Samples
			}
		}
		defer f.samples.take(held)()
		if in.Traces, err = usedTraces(ctx, in, u); err != nil {
			return nil, err
		}
		for i, tr := range in.Traces {
			if tr != nil && tr.SHA256 != in.Unit.Captures[i].SHA256 {
				key = "" // changed since it was measured
			}
		}
		if advice, err = filter.Search(ctx, in, opt); err != nil {
			return nil, err
		}
		f.cache.save(key, advice)
	}
	if p := unit.Plan; p != nil && p.Load.Mixed() {
		otherwise = fmt.Sprintf("this filter brings the supply to %.4g V for all heaters: those of fewer volts keep resistors of their own, sized anew from there (stillglow dropper --supply %.4[1]g)", p.Load.Volts)
	}
	if otherwise != "" && advice.Best.Circuit.Topology != "" {
		advice.Best.Warnings = append(advice.Best.Warnings, otherwise)
	}
	return &advice, nil
}

// sharedInstead says that the filter's one resistor stands where the dropper alone would be
// another arrangement, and what that asks for.
func sharedInstead(part heater.Part, best heater.Arrangement) string {
	s := fmt.Sprintf("the filter needs one resistor ahead of all heaters (%s), where the dropper alone would best be %s", part.Label, best.Name)
	if best.Rewired != "" {
		s += "; with the filter leave the heaters wired as listed, not in strings"
	}
	if part.PulledOver {
		s += fmt.Sprintf("; a valve pulled from its socket then takes another to %.2f V (%+.1f %%), over its limit: never pull or fit one under power", part.PulledV, 100*part.PulledErr)
	}
	return s
}

// usedTraces opens the captures of a unit, u in the sheet, whose samples a prediction
// uses; nil stands for the others.
func usedTraces(ctx context.Context, in filter.Input, u sheet.Unit) ([]*capture.Trace, error) {
	traces := make([]*capture.Trace, len(u.Captures))
	for i, used := range filter.UsesSamples(in.Unit, in.Target) {
		if !used {
			continue
		}
		tr, err := capture.Open(ctx, u.Captures[i].Path, u.Captures[i].Options)
		if err != nil {
			return nil, err
		}
		traces[i] = tr
	}
	return traces, nil
}

// sourceOf is what the sheet says of the lead to a unit's filter, and of the unit's
// own output capacitor, taken for a usual electrolytic.
func sourceOf(s *sheet.Sheet, u sheet.Unit) (leadH float64, own filter.Capacitor, err error) {
	if u.OutputUF > 0 {
		if own, err = filter.NewCapacitor(filter.Electrolytic, u.OutputUF*1e-6); err != nil {
			return 0, own, err
		}
	}
	return filter.LeadH(s.Heaters.LeadM), own, nil
}
