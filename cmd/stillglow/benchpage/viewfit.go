package benchpage

import (
	"cmp"
	"fmt"
	"html/template"
	"strconv"
	"strings"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

type fitView struct {
	Groups      []valveView
	Load        string
	Heaters     sheet.Heaters
	SupplyTol   string
	PartTol     string
	LeadOhm     string
	Headroom    string // percent
	AmbientC    string
	Error       string
	Units       []fitUnit
	SeriesNames []string
}

type valveView struct {
	N                       int
	Type                    string
	Count                   int
	Wiring, String, Cathode string
	Shunt                   string             // ohms
	Wirings                 []report.NamedText // as the sheet has them, and in words
}

type fitUnit struct {
	ID, Name, Verdict, Class, Shape string
	Plan, Filter, Plot              template.HTML
	NoPlan                          string
	Tried, Pending                  bool // a circuit of the user's own; its figures are being worked out
	Try                             map[string]string
}

// wiringsOf words how a valve's heaters may be wired, with the volts they then take.
func wiringsOf(v heater.Valve) []report.NamedText {
	all := []report.NamedText{{Name: string(heater.Parallel), Text: fmt.Sprintf("in parallel, %g V", v.Volts)}}
	if v.CentreTapped {
		all = append(all, report.NamedText{Name: string(heater.Series), Text: fmt.Sprintf("in parallel, halves in series, %g V", 2*v.Volts)})
	}
	all = append(all, report.NamedText{Name: string(heater.String), Text: fmt.Sprintf("in a string, %g V each", v.Volts)})
	if v.CentreTapped {
		all = append(all, report.NamedText{Name: string(heater.StringSeries), Text: fmt.Sprintf("in a string, halves in series, %g V each", 2*v.Volts)})
	}
	return all
}

// fit shows the heaters, the dropper and the post-filter.
func (v *view) fit(b *bench) {
	h := b.sheet.Heaters
	f := fitView{Heaters: h, SupplyTol: trimmed(h.SupplyTolPercent), PartTol: trimmed(h.PartTolPercent), LeadOhm: trimmed(h.LeadOhm),
		Headroom: trimmed(h.HeadroomPercent), SeriesNames: []string{"E6", "E12", "E24", "E48", "E96"}}
	if h.AmbientC != nil {
		f.AmbientC = fmt.Sprintf("%g", *h.AmbientC)
	}
	for i, g := range h.Groups {
		one := valveView{N: i, Type: g.Type, Count: g.Count, Wiring: g.Wiring, String: g.String, Cathode: trimmed(g.CathodeV), Shunt: trimmed(g.ShuntOhm)}
		if valve, err := heater.Lookup(g.Type, ownValves(b.sheet)); err == nil { // else the decision says so
			one.Wirings = wiringsOf(valve)
		}
		f.Groups = append(f.Groups, one)
	}
	d := b.decision
	if d.report != nil && len(d.report.HeaterLoad.Groups) > 0 {
		l := d.report.HeaterLoad
		f.Load = fmt.Sprintf("%s: %s on %s", l.Describe(), capture.SI(l.NominalA(), "A", 3), l.RailText())
	}
	if d.parts != nil {
		for i, u := range d.parts.Units {
			f.Units = append(f.Units, b.fitUnit(u, d.report, &d.report.Units[i]))
		}
	}
	v.Fit = f
}

// fitUnit shows one unit's dropper and post-filter: the advised one, or the one
// that is being tried.
func (b *bench) fitUnit(u report.UnitParts, whole *report.Report, r *report.Unit) fitUnit {
	one := fitUnit{ID: unitID("fit", r.Eval.Unit.Key), Name: u.Name, Verdict: u.Verdict, Class: u.Class, Shape: u.Shape, Plan: u.Plan, Filter: u.Filter, Plot: u.FilterPlot}
	switch {
	case u.Plan != "":
	case len(whole.HeaterLoad.Groups) == 0:
		one.NoPlan = "Pick the valves above and the dropper is sized here."
	default:
		one.NoPlan = whole.NoPlanWords(r)
	}
	own := b.tried[r.Eval.Unit.Key]
	switch {
	case own != nil:
		one.Tried, one.Try = true, own.typed
		one.Pending = own.basis != b.tryBasis(own)
		if own.parts != nil {
			one.Plan, one.Filter, one.Plot = own.parts.Plan, own.parts.Filter, own.parts.FilterPlot
		}
	case r.Filter != nil && r.Filter.Found:
		one.Try = typedOf(r.Filter.Best.Circuit)
	}
	return one
}

// typedOf is a circuit as somebody would type it.
func typedOf(c filter.Circuit) map[string]string {
	farads := cmp.Or(c.C1.NominalF, c.C1.F)
	typed := map[string]string{"topology": string(c.Topology), "c_uf": digits(farads * 1e6), "kind": c.C1.Kind}
	if c.Topology != filter.RC {
		typed["l_uh"], typed["r_ohm"] = digits(c.L.H*1e6), digits(c.ROhm)
	}
	return typed
}

// digits gives a part's value without the tail of binary fractions, "" for none.
func digits(x float64) string {
	if x == 0 {
		return ""
	}
	four, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 3, 64), 64)
	return strconv.FormatFloat(four, 'f', -1, 64)
}

// unitID names a unit in the page, whatever its rank or place in the sheet.
func unitID(kind, name string) string { return kind + "-" + hexSum(name)[:10] }

// valveFound is one type in the search's answer.
type valveFound struct{ Type, Also, Data string }

// valvesMost is how many types the search's answer holds.
const valvesMost = 12

// wordValve words a type for the search's answer.
func wordValve(v heater.Valve) valveFound {
	data := fmt.Sprintf("%g V, %g A", v.Volts, v.Amps)
	if v.CentreTapped {
		data += ", centre-tapped"
	}
	return valveFound{v.Type, strings.Join(v.Aliases, ", "), data}
}
