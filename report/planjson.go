package report

import "stillglow/analysis/heater"

// warmUpPoints is how many points of the warm-up results.json keeps.
const warmUpPoints = 120

// planObject is a unit's heater plan; curve adds the warm-up's series.
func planObject(p *heater.Plan, curve bool) any {
	if p == nil {
		return nil
	}
	best, _ := bestPart(p)
	arrangements := []object{}
	recommended := ""
	for i := range p.Arrangements {
		a := &p.Arrangements[i]
		if a == best {
			recommended = a.Name
		}
		parts := []object{}
		for j, part := range a.Parts {
			parts = append(parts, partObject(part, j == a.Best))
		}
		arrangements = append(arrangements, object{{"name", a.Name}, {"exact_ohm", positive(a.ExactOhm)}, {"exact", orNull(a.Exact)},
			{"ripple_db", number(a.RippleDB)}, {"ripple_hint", orNull(a.RippleHint)}, {"parts", parts}, {"warnings", list(a.Warnings)}})
	}
	return object{{"nominal_a", number(p.NominalA)}, {"low_a", number(p.LowA)}, {"high_a", number(p.HighA)},
		{"share_of_rated", positive(p.ShareOfRated)}, {"headroom_ok", p.HeadroomOK}, {"headroom", orNull(p.Headroom)},
		{"available_v", positive(p.AvailableV)}, {"cold_a", positive(p.ColdA)},
		{"cold_without_dropper_a", positive(p.ColdNoDropA)}, {"cold_rides", orNull(p.ColdRides)},
		{"can_feed", p.CanFeed}, {"refused", p.Refused}, {"connect_directly", p.Direct}, {"why", orNull(p.Why)}, {"recommended", orNull(recommended)}, {"recommended_why", orNull(p.BestWhy)},
		{"better_engineering", orNull(p.Better)}, {"alternatives", alternativeObjects(p.Alternatives)}, {"heater_cathode", insulationObjects(p.Insulation)},
		{"arrangements", arrangements}, {"string_split", cornerObjects(p.StringSplit)},
		{"warm_up", warmUpObject(p.WarmUp, curve)}, {"hints", list(p.Hints)},
		{"warnings", list(p.Warnings)}, {"assumptions", list(p.Assumptions)}}
}

func partObject(p heater.Part, recommended bool) object {
	return object{{"label", p.Label}, {"recommended", recommended}, {"ohm", positive(p.Ohm)}, {"count", p.Count},
		{"heater_v", number(p.HeaterV)}, {"load_a", number(p.LoadA)}, {"part_w", number(p.W)}, {"total_w", number(p.TotalW)},
		{"worst_w", positive(p.WorstW)}, {"fault_w", positive(p.FaultW)},
		{"buy_w", positive(p.BuyW)}, {"fit_w", positive(p.FitW())}, {"surface_celsius", positive(p.SurfaceC)}, {"heater_error", number(p.ErrFrac)},
		{"heater_error_low", number(p.WorstLow)}, {"heater_error_high", number(p.WorstHigh)},
		{"pulled_v", positive(p.PulledV)}, {"pulled_over_limit", p.PulledOver},
		{"overrun", orNull(string(p.Overrun))}, {"fault_buy_w", positive(p.FaultBuyW)}, {"fuses", fuseObjects(p.Fuses)}, {"shopping", shoppingList(p.Shopping)},
		{"corners", cornerObjects(p.Corners)}, {"warnings", list(p.Warnings)}}
}

func fuseObjects(fuses []heater.Fuse) []object {
	out := []object{}
	for _, f := range fuses {
		out = append(out, object{{"for", f.For}, {"count", f.Count}, {"rating_a", positive(f.RatingA)}, {"steady_a", number(f.SteadyA)},
			{"cold_a", number(f.ColdA)}, {"short_a", positive(f.ShortA)}, {"most_a", positive(f.MostA)}, {"sure", f.Sure}, {"why", f.Why}})
	}
	return out
}

func shoppingList(items []heater.Item) []string {
	out := []string{}
	for _, i := range items {
		out = append(out, i.Text())
	}
	return out
}

func alternativeObjects(list []heater.Alternative) []object {
	out := []object{}
	for _, a := range list {
		out = append(out, object{{"kind", string(a.Kind)}, {"what", a.What}, {"heat_w", number(a.HeatW)}, {"better", a.Better}})
	}
	return out
}

func insulationObjects(list []heater.Insulation) []object {
	out := []object{}
	for _, i := range list {
		out = append(out, object{{"type", i.Type}, {"volts_v", number(i.Volts)}, {"max_v", positive(i.MaxV)}, {"state", string(i.State)}, {"words", i.Words}})
	}
	return out
}

// cornerObjects gives null for the volts where no heater is lit and for a
// current that only the supply limits.
func cornerObjects(corners []heater.Corner) []object {
	out := []object{}
	for _, c := range corners {
		volts, amps, watts := any(number(c.HeaterV)), any(number(c.LoadA)), any(number(c.PartW))
		if c.AllOff {
			volts = nil
		}
		if c.Unlimited {
			amps, watts = nil, nil
		}
		out = append(out, object{{"name", c.Name}, {"kind", orNull(string(c.Kind))}, {"heater", orNull(c.Heater)}, {"heater_v", volts},
			{"load_a", amps}, {"part_w", watts}, {"over_limit", c.OverLimit}, {"under_limit", c.UnderLimit},
			{"all_off", c.AllOff}, {"unlimited", c.Unlimited}, {"limited_by_supply", c.Limited}, {"note", orNull(c.Note)}})
	}
	return out
}

func warmUpObject(w heater.WarmUp, curve bool) any {
	if len(w.TimeS) < 2 {
		return nil
	}
	o := object{{"heater", orNull(w.Heater)}, {"to_90_s", positive(w.To90S)}, {"to_99_s", positive(w.To99S)},
		{"held_to_99_s", positive(w.HeldTo99S)}, {"peak_v", number(w.PeakV)}, {"peak_heater", orNull(w.PeakHeater)}, {"peak_a", number(w.PeakA)}}
	if curve {
		t, v, a := warmUpCurve(w)
		o = append(o, object{{"time_s", t}, {"heater_v", v}, {"load_a", a}}...)
	}
	return o
}

// warmUpCurve keeps the first points, where the current falls fast, and thins
// the rest evenly.
func warmUpCurve(w heater.WarmUp) (t, v, a series) {
	n := len(w.TimeS)
	every := (n + warmUpPoints - 1) / warmUpPoints
	for i := range n {
		if i < 8 || i%every == 0 || i == n-1 {
			t, v, a = append(t, w.TimeS[i]), append(v, w.HeaterV[i]), append(a, w.LoadA[i])
		}
	}
	return t, v, a
}
