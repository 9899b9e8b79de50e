package benchpage

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"stillglow/analysis/heater"
	"stillglow/capture"
	"stillglow/capture/sheet"
)

type fitView struct {
	Groups      []valveView
	Load        string
	Heaters     sheet.Heaters
	SupplyTol   string
	PartTol     string
	LeadOhm     string
	Error       string
	Units       []fitUnit
	Wirings     []string
	SeriesNames []string
}

type valveView struct {
	N              int
	Type           string
	Count          int
	Wiring, String string
}

type fitUnit struct {
	ID, Name, Verdict, Class, Shape string
	Plan, Filter, Plot              template.HTML
	NoPlan                          string
	Tried                           bool
	Try                             map[string]string
}

var wirings = []string{"parallel", "series", "string", "string of series"}

// fit shows the heaters, the dropper and the post-filter.
func (v *view) fit(b *bench) {
	h := b.sheet.Heaters
	f := fitView{Heaters: h, SupplyTol: trimmed(h.SupplyTolPercent), PartTol: trimmed(h.PartTolPercent), LeadOhm: trimmed(h.LeadOhm),
		Wirings: wirings, SeriesNames: []string{"E6", "E12", "E24", "E48", "E96"}}
	for i, g := range h.Groups {
		f.Groups = append(f.Groups, valveView{i, g.Type, g.Count, g.Wiring, g.String})
	}
	d := b.decision
	if d.report != nil && len(d.report.HeaterLoad.Groups) > 0 {
		l := d.report.HeaterLoad
		f.Load = fmt.Sprintf("%s: %s at %.3g V", l.Describe(), capture.SI(l.NominalA(), "A", 3), l.Volts)
	}
	if d.parts != nil {
		for i, u := range d.parts.Units {
			one := fitUnit{ID: fmt.Sprintf("fit%d", i), Name: u.Name, Verdict: u.Verdict, Class: u.Class, Shape: u.Shape, Plan: u.Plan, Filter: u.Filter, Plot: u.FilterPlot}
			switch {
			case u.Plan != "":
			case len(h.Groups) == 0:
				one.NoPlan = "Pick the valves above and the dropper is sized here."
			default:
				one.NoPlan = "The unit's volts at the heater load are not known: add a meter reading, or a DC-coupled capture."
			}
			var own tried
			own, one.Tried = b.tried[d.report.Units[i].Eval.Unit.Key]
			one.Try = own.typed
			f.Units = append(f.Units, one)
		}
	}
	v.Fit = f
}

// valveFound is one type in the search's answer.
type valveFound struct{ Type, Also, Data string }

// findValves searches the table by type and alias; case, blanks, hyphens and
// Cyrillic look-alikes make no difference, by the heater room's own reading.
func findValves(query string, own []heater.Valve) []valveFound {
	const most = 12
	var out []valveFound
	add := func(v heater.Valve) {
		if len(out) < most && !slices.ContainsFunc(out, func(f valveFound) bool { return f.Type == v.Type }) {
			data := fmt.Sprintf("%g V, %g A", v.Volts, v.Amps)
			if v.CentreTapped {
				data += ", centre-tapped"
			}
			out = append(out, valveFound{v.Type, strings.Join(v.Aliases, ", "), data})
		}
	}
	var near []string
	if v, err := heater.Lookup(query, own); err == nil {
		add(v)
	} else {
		var unknown *heater.UnknownValveError
		if asError(err, &unknown) {
			near = unknown.Near
		}
	}
	flat := squash(query)
	for _, v := range append(slices.Clone(own), heater.Table()...) {
		for _, name := range append([]string{v.Type}, v.Aliases...) {
			if strings.Contains(squash(name), flat) {
				add(v)
				break
			}
		}
	}
	for _, name := range near {
		if v, err := heater.Lookup(name, own); err == nil {
			add(v)
		}
	}
	return out
}
