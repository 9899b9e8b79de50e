package pipeline

import (
	"fmt"
	"maps"
	"regexp"
	"slices"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture/sheet"
)

// Target is the target that the sheet asks for: a named one, one derived
// from what the valve hears, or both together, with limits written out over it.
// The stage is nil where the sheet gives none.
func Target(s *sheet.Sheet) (target.Target, *target.Stage, error) {
	if err := s.CheckWords(target.Names(), upperLimits()); err != nil {
		return target.Target{}, nil, err
	}
	stage, base, err := heardTarget(s.Hears)
	if err != nil {
		return target.Target{}, nil, fmt.Errorf("%s: [hears]: %w", s.Path, err)
	}
	limits := maps.Clone(s.Limits)
	dc := [2]float64{s.HeaterDCMinV, limits[string(target.HeaterDC)]}
	delete(limits, string(target.HeaterDC))
	written := len(limits) > 0 || len(s.Mask) > 0 || dc[1] > 0
	if s.Target != "" || base == nil && !written {
		named, err := target.Named(s.Target)
		if err != nil {
			return target.Target{}, nil, fmt.Errorf("%s: %w", s.Path, err)
		}
		if base != nil {
			named = withHeard(named, *base)
		}
		base = &named
	}
	goal, err := target.Custom(limits, s.Mask, dc, base)
	if err != nil {
		return target.Target{}, nil, fmt.Errorf("%s: %w", s.Path, err)
	}
	return goal, stage, nil
}

// upperLimits are the keys that [limits] may hold.
func upperLimits() []string {
	var keys []string
	for _, c := range target.Criteria() {
		if c != target.Mask {
			keys = append(keys, string(c))
		}
	}
	return keys
}

// heardTarget is the stage that [hears] describes and the target derived from what
// it may hear, each nil where it gives none.
func heardTarget(h *sheet.Hears) (*target.Stage, *target.Target, error) {
	if h == nil {
		return nil, nil, nil
	}
	stage := Stage(h)
	if err := CanHear(*stage, heater.Load{}); err != nil {
		return nil, nil, err
	}
	if err := stage.Check(); err != nil || !(h.AllowedInputV > 0) {
		return stage, nil, err
	}
	derived, err := target.DeriveTarget(*stage, h.AllowedInputV)
	return stage, &derived, err
}

// withHeard adds the limits of heard that named has none of.
func withHeard(named, heard target.Target) target.Target {
	named.Title += ", with what the valve hears"
	named.Assumptions = heard.Assumptions
	for _, l := range heard.Limits {
		if !slices.ContainsFunc(named.Limits, func(n target.Limit) bool { return n.Criterion == l.Criterion }) {
			named.Limits = append(named.Limits, l)
		}
	}
	return named
}

// Stage is the valve stage that the sheet describes.
func Stage(h *sheet.Hears) *target.Stage {
	return &target.Stage{
		CathodeOhm: h.CathodeOhm, BypassF: h.BypassF, BypassESROhm: h.BypassESROhm,
		HeaterCathodeF: h.HeaterCathodeF, HeaterCathodeOhm: h.HeaterCathodeOhm,
		Valve: h.Valve, HeaterGridF: h.HeaterGridF, SourceOhm: h.SourceOhm,
		Reference: target.Reference(h.HeaterReference), ReferenceOhm: h.ReferenceOhm, ReferenceF: h.ReferenceF,
		Mu: h.Mu, GmS: h.GmMAPerV * 1e-3,
		Position: h.Stage, GainBefore: h.GainBefore, GainAfter: h.Gain, RIAA: h.RIAA,
	}
}

// CanHear refuses a stage that the hearing sum does not hold for, by its valve's name
// and by the heaters on the supply.
func CanHear(stage target.Stage, load heater.Load) error {
	if v, err := heater.Lookup(stage.Valve, nil); err == nil && v.Filament {
		return noHearing(v)
	}
	for _, g := range load.Groups {
		if g.Valve.Filament {
			return noHearing(g.Valve)
		}
	}
	return nil
}

// noHearing is the error about a directly heated valve: the sum knows indirectly heated
// valves alone.
func noHearing(v heater.Valve) error {
	return fmt.Errorf("%s is directly heated, and what it hears of its supply goes straight through its filament: [hears] and 'target hears' are for indirectly heated valves; leave [hears] out and write limits of your own", v.Type)
}

// countInType is a count ahead of a valve's type, as the command line takes it.
var countInType = regexp.MustCompile(`^\s*(\d{1,3})\s*[x×*]\s*(\S+)\s*$`)

// Load is the heaters that the sheet lists.
func Load(s *sheet.Sheet) (heater.Load, error) {
	own := make([]heater.Valve, 0, len(s.Heaters.OwnValves))
	for _, v := range s.Heaters.OwnValves {
		own = append(own, heater.Valve{
			Type: v.Type, Volts: v.Volts, Amps: v.Amps, CentreTapped: v.CentreTapped,
			VoltTol: v.VoltTolPercent / 100, AmpTol: v.AmpTolPercent / 100,
			Pins: v.Pins, Base: v.Base, MaxVhk: v.MaxVhk, Source: v.Source,
		})
	}
	groups := make([]heater.Group, 0, len(s.Heaters.Groups))
	for _, g := range s.Heaters.Groups {
		if m := countInType.FindStringSubmatch(g.Type); m != nil {
			if _, err := heater.Lookup(m[2], own); err == nil {
				return heater.Load{}, atLine(s, g.Line, fmt.Errorf("type = %q, expected the type alone; write type = %q and count = %s", g.Type, m[2], m[1]))
			}
		}
		valve, err := heater.Lookup(g.Type, own)
		if err != nil {
			return heater.Load{}, atLine(s, g.Line, err)
		}
		if s.Hears != nil && valve.Filament {
			return heater.Load{}, atLine(s, g.Line, noHearing(valve))
		}
		group := heater.Group{Valve: valve, Count: g.Count, CathodeV: g.CathodeV, ShuntOhm: g.ShuntOhm}
		group.Wiring, group.StringName, err = heater.ParseWiring(g.Wiring)
		if err != nil {
			return heater.Load{}, atLine(s, g.Line, err)
		}
		if g.String != "" {
			group.StringName = g.String
		}
		groups = append(groups, group)
	}
	if len(groups) == 0 {
		return heater.Load{}, nil
	}
	load, err := heater.NewLoad(groups, 0)
	if err != nil {
		line, _ := s.Place("heaters")
		return heater.Load{}, atLine(s, line, err)
	}
	return load, nil
}
