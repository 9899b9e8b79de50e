package report

import (
	"stillglow/analysis/figure"
	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
)

// JSON is results.json: everything the page shows, versioned, SI units in the
// names, captures as in CaptureJSON. It follows results.schema.json.
func (r *Report) JSON() ([]byte, error) {
	d := &doc{}
	d.add("schema_version", SchemaVersion)
	d.add("tool", object{{"name", "stillglow"}, {"version", orNull(r.ToolVersion)}})
	d.add("title", r.Title)
	d.add("workshop", orNull(r.Workshop))
	d.add("date", orNull(r.Date))
	d.add("note", orNull(r.Note))
	d.add("invented", r.Invented)
	d.add("sheet", orNull(r.Sheet))
	d.add("mains_hz", positive(r.MainsHz))
	d.add("instrument", orNull(r.Instrument))
	d.add("gain_percent", positive(r.GainPercent))
	d.add("heater_load", heaterLoadObject(r.HeaterLoad, r.HeaterA))
	d.add("target", targetObject(r.Target))
	a := r.Answer()
	d.add("answer", object{{"best", a.Best}, {"fit", orNull(a.Fit)}, {"fix", orNull(a.Fix)},
		{"common_mode", orNull(a.Common)}, {"disputes", list(a.Disputes)}, {"watch", list(a.Watch)}})
	d.add("cautions", list(r.Cautions))
	d.add("units", objects(func(yield func(object, error) bool) {
		for i := range r.Units {
			if !yield(unitObject(&r.Units[i], i+1)) {
				return
			}
		}
	}))
	d.add("brands", brandObjects(r.Brands))
	if r.Baseline == nil || r.Baseline.M == nil {
		d.add("baseline", nil)
	} else {
		b, err := captureObject(*r.Baseline)
		if err != nil {
			return nil, err
		}
		d.add("baseline", b)
	}
	const unitBytes = 1 << 19 // what a unit of two captures takes, about
	return appendJSON(make([]byte, 0, unitBytes*(1+len(r.Units))), d.object)
}

func targetObject(t target.Target) object {
	limits := []object{}
	for _, l := range t.Limits {
		o := object{{"criterion", string(l.Criterion)}, {"name", longName(l)}, {"unit", l.Unit},
			{"max", positive(l.Max)}, {"min", positive(l.Min)}, {"need_low_hz", positive(l.NeedLowHz)},
			{"need_high_hz", positive(l.NeedHighHz)}, {"source", orNull(l.Source)}}
		if len(l.Points) > 0 {
			points := []object{}
			for _, p := range l.Points {
				points = append(points, object{{"frequency_hz", number(p.Hz)}, {"v_per_rthz", number(p.VPerRtHz)}})
			}
			o.add("points", points)
		}
		limits = append(limits, o)
	}
	return object{{"name", t.Name}, {"title", orNull(t.Title)}, {"description", orNull(t.Description)},
		{"limits", limits}, {"assumptions", list(t.Assumptions)}}
}

func heaterLoadObject(l heater.Load, amps float64) object {
	groups := []object{}
	for _, g := range l.Groups {
		groups = append(groups, object{{"type", g.Valve.Type}, {"count", g.Count}, {"wiring", string(g.Wiring)},
			{"string", orNull(g.StringName)}, {"valve_v", positive(g.Valve.Volts)}, {"valve_a", positive(g.Valve.Amps)},
			{"source", orNull(g.Valve.Source)}})
	}
	return object{{"rail_v", positive(l.Volts)}, {"load_a", positive(amps)}, {"groups", groups}}
}

func unitObject(u *Unit, position int) (object, error) {
	d := &doc{}
	e := &u.Eval
	d.add("position", position)
	d.add("rank", e.Rank)
	d.add("key", e.Unit.Key)
	d.add("brand", e.Unit.Brand)
	d.add("model", orNull(e.Unit.Model))
	d.add("mark", orNull(e.Unit.Mark))
	d.add("state", stateKey(e.Unit.State))
	d.add("date", orNull(e.Unit.Date))
	d.add("counts_in_brand", !e.Aside)
	d.add("note", orNull(e.Unit.Note))
	d.add("rated_v", positive(e.Unit.RatedV))
	d.add("rated_a", positive(e.Unit.RatedA))
	d.add("heater_a", positive(e.Unit.HeaterA))
	d.add("verdict", string(e.Verdict))
	d.add("why", orNull(e.Why))
	d.add("would_flip", orNull(e.WouldFlip))
	d.add("outlier", e.Outlier)
	d.add("overloaded", e.Overloaded)
	d.add("common_mode", orNull(string(e.Common)))
	if m := worstMargin(e); m != nil {
		d.add("worst_criterion", string(m.Limit.Criterion))
		d.add("worst_margin_db", number(m.DB))
		d.add("rest_margin_sum_db", number(e.SumRestDB))
	} else {
		d.add("worst_criterion", nil)
		d.add("worst_margin_db", nil)
		d.add("rest_margin_sum_db", nil)
	}
	d.fig("loaded_dc_v", e.LoadedV)
	d.fig("output_ohm", e.OutputOhm)
	readings := []object{}
	for _, x := range e.Unit.Readings {
		readings = append(readings, object{{"load_a", number(x.LoadA)}, {"dc_v", number(x.V)}})
	}
	d.add("readings", readings)
	shown, says := []object{}, e.ShownWords()
	for i, s := range e.Unit.Shown {
		shown = append(shown, object{{"criterion", string(s.Criterion)}, {"value", number(s.Value)}, {"plus_minus_percent", number(100 * s.UFrac)},
			{"by", orNull(s.By)}, {"says", clean(says[i])}})
	}
	d.add("read_off", shown)
	d.add("margins", marginObjects(d, "margins.", e.Margins))
	d.add("cautions", list(e.Cautions))
	d.add("dropper", planObject(u.Plan, position == 1 || e.Verdict == target.Pass))
	d.add("post_filter", adviceObject(u.Filter))
	d.add("heard", heardObject(u.Hears))
	captures := []object{}
	for _, c := range u.Captures {
		o, err := captureObject(c)
		if err != nil {
			return nil, err
		}
		captures = append(captures, o)
	}
	d.add("captures", captures)
	d.close()
	return d.object, nil
}

// stateKey is the state as the sheet spells it.
func stateKey(s target.State) string {
	if s == "" {
		s = target.Bare
	}
	return string(s)
}

// marginObjects lists margins; the figure's key is "figure", in the limit's unit.
func marginObjects(d *doc, path string, margins []target.Margin) []object {
	out := []object{}
	for _, m := range margins {
		o := object{{"criterion", string(m.Limit.Criterion)}, {"unit", m.Limit.Unit}}
		f := m.Figure
		if !m.Covered {
			f = figure.NotMeasured(m.Reason)
		}
		d.figure(&o, path+string(m.Limit.Criterion), "figure", f)
		if m.Covered {
			o.add("margin_db", number(m.DB))
			o.add("margin_low_db", number(m.LowDB))
			o.add("margin_high_db", number(m.HighDB))
		} else {
			o.add("margin_db", nil)
			o.add("margin_low_db", nil)
			o.add("margin_high_db", nil)
		}
		o.add("from", orNull(m.From))
		o.add("captures", m.Captures)
		out = append(out, o)
	}
	return out
}

func adviceObject(a *filter.Advice) any {
	if a == nil {
		return nil
	}
	d := &doc{}
	d.add("found", a.Found)
	d.add("why", orNull(a.Why))
	d.add("reserve_db", number(a.ReserveDB))
	d.add("common_mode", orNull(a.CommonMode))
	if a.Found {
		d.add("best", resultObject(d, "best.", &a.Best))
	} else {
		d.add("best", nil)
	}
	others := []object{}
	for i := range a.Others {
		o := &a.Others[i]
		others = append(others, object{{"topology", string(o.Circuit.Topology)}, {"parts", list(o.Parts)},
			{"drop_v", number(o.DropV)}, {"verdict", string(o.After.Verdict)}, {"worst_margin_db", number(o.After.WorstDB)},
			{"warnings", list(o.Warnings)}})
	}
	d.add("others", others)
	d.close()
	return d.object
}

func resultObject(d *doc, path string, x *filter.Result) object {
	return object{{"topology", string(x.Circuit.Topology)}, {"parts", list(x.Parts)}, {"drop_v", number(x.DropV)},
		{"peak_db", number(x.PeakDB)}, {"peak_hz", positive(x.PeakHz)}, {"verdict", string(x.After.Verdict)},
		{"worst_margin_db", number(x.After.WorstDB)},
		{"margins", marginObjects(d, path+"margins.", x.After.Margins)},
		{"gain", object{{"frequency_hz", series(x.FrequencyHz)}, {"gain_db", series(x.GainDB)}}},
		{"after", object{{"frequency_hz", series(x.SpectrumHz)}, {"v_per_rthz", series(x.AfterVPerRtHz)}}},
		{"warnings", list(x.Warnings)}}
}

func heardObject(h *target.Heard) any {
	if h == nil {
		return nil
	}
	var input, under, acrossV, commonV any
	if h.Known {
		input, under = number(h.InputAVRMS), number(h.UnderDB)
	}
	if h.DifferentialKnown {
		acrossV = number(h.DifferentialAVRMS)
	}
	if h.CommonKnown {
		commonV = number(h.CommonAVRMS)
	}
	ways := []object{}
	for _, w := range h.ByReference {
		ways = append(ways, object{{"reference", string(w.Reference)}, {"input_a_weighted_rms_v", number(w.InputAVRMS)}, {"under_db", number(w.UnderDB)}})
	}
	return object{{"across_heater_a_weighted_rms_v", acrossV}, {"common_mode_a_weighted_rms_v", commonV},
		{"heater_reference", orNull(string(h.Reference))}, {"by_reference", ways}, {"common_coupling_db", series(h.CommonCouplingDB)},
		{"input_a_weighted_rms_v", input}, {"thermal_a_weighted_rms_v", number(h.ThermalAVRMS)},
		{"under_db", under}, {"not_covered", orNull(h.Missing)}, {"frequency_hz", series(h.FrequencyHz)}, {"coupling_db", series(h.CouplingDB)},
		{"assumptions", list(h.Assumptions)}, {"cannot_decide", orNull(h.CannotDecide)}}
}

// tellNote is what the numbers of more_to_tell promise, "" where there are none.
func tellNote(b *target.Brand) string {
	if b.MoreToTell == "" {
		return ""
	}
	return target.TellNote()
}

func brandObjects(brands []target.Brand) []object {
	out := []object{}
	for _, b := range brands {
		median, worst, best, spread := any(nil), any(nil), any(nil), any(nil)
		if len(b.UnitWorstDB) > 0 {
			median, worst, best, spread = number(b.MedianDB), number(b.WorstDB), number(b.BestDB), number(b.SpreadDB)
		}
		out = append(out, object{{"name", b.Name}, {"units", b.Units}, {"passing", b.Passing}, {"passing_by_output_alone", b.PassingByHalf}, {"judged", b.Judged}, {"undecided", b.Undecided},
			{"passing_share_low", number(b.ShareLow)}, {"passing_share_high", number(b.ShareHigh)},
			{"median_margin_db", median}, {"worst_margin_db", worst},
			{"best_margin_db", best}, {"spread_db", spread},
			{"unit_margins_db", series(b.UnitWorstDB)}, {"unit_keys", list(b.UnitKeys)},
			{"outliers", list(b.Outliers)}, {"more_to_tell", orNull(b.MoreToTell)}, {"more_to_tell_note", orNull(tellNote(&b))}})
	}
	return out
}
