package benchpage

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
)

type unitView struct {
	ID, Name           string
	U                  sheet.Unit
	RatedV, RatedA     string
	Captures           []cardView
	Readings           []readingView
	Verdict, Class     string
	Shape              string
	Decided            string
	NeedsReading       bool
	HeaterA, NoReading string
}

type readingView struct {
	N        int
	Load, V  string
	Unloaded bool
}

type knownNames struct{ Brands, Models []string }

// openView is what one unit still lacks.
type openView struct {
	Name, Verdict, Class, Shape string
	Decided                     []string // criteria that a capture covers
	Open                        []string // those that none covers
	Settle                      string   // the one thing that would settle most
	Then                        []string // what would settle the rest
	Again                       []string // cautions that make it a retake
}

func (v *view) units(b *bench) {
	brands, models := map[string]bool{}, map[string]bool{}
	for i, u := range b.sheet.Units {
		brands[u.Brand], models[u.Model] = true, true
		w := unitView{ID: fmt.Sprintf("unit%d", i), Name: u.Name(), U: u, RatedV: trimmed(u.RatedV), RatedA: trimmed(u.RatedA)}
		for _, e := range b.entries {
			if e.Role == ofUnit && e.Unit == i {
				w.Captures = append(w.Captures, b.card(e))
			}
		}
		for n, r := range u.Readings {
			w.Readings = append(w.Readings, readingView{n, capture.SI(r.LoadA, "A", 3), fmt.Sprintf("%.3f V", r.V), r.LoadA == 0})
		}
		if p := b.decision.parts; p != nil {
			for _, d := range p.Units {
				if d.Name == w.Name {
					w.Verdict, w.Class, w.Shape = d.Verdict, d.Class, d.Shape
				}
			}
		}
		v.Units = append(v.Units, w)
	}
	v.Known = knownNames{sorted(brands), sorted(models)}
}

func sorted(set map[string]bool) []string {
	var out []string
	for k := range set {
		if k != "" {
			out = append(out, k)
		}
	}
	sort.Strings(out)
	return out
}

// decision shows what is decided and what is open.
func (v *view) decision(b *bench) {
	d := b.decision
	v.Deciding = d.running
	if d.err != nil {
		v.Failed = capture.OneLine(d.err.Error())
	}
	v.Parts = d.parts
	if d.report == nil {
		return
	}
	if a := d.report.HeaterA; a > 0 {
		v.LoadWords = capture.SI(a, "A", 3)
	}
	for i := range d.report.Units {
		e := &d.report.Units[i].Eval
		o := openView{Name: e.Unit.Key, Verdict: string(e.Verdict)}
		if d.parts != nil && i < len(d.parts.Units) {
			o.Class, o.Shape = d.parts.Units[i].Class, d.parts.Units[i].Shape
		}
		reading := false
		var limits []target.Limit
		for _, m := range e.Margins {
			switch {
			case m.Covered:
				o.Decided = append(o.Decided, m.Limit.Name)
				continue
			case m.Limit.Criterion == target.HeaterDC:
				reading = true
			default:
				limits = append(limits, m.Limit)
			}
			o.Open = append(o.Open, m.Limit.Name)
		}
		loaded := ""
		if d.report.HeaterA > 0 {
			loaded = ", loaded with " + capture.SI(d.report.HeaterA, "A", 3)
		}
		takes := b.take(limits, b.sheet.Instrument)
		slices.SortStableFunc(takes, func(x, y Take) int { return strings.Count(y.Criteria, ";") - strings.Count(x.Criteria, ";") })
		for _, t := range takes {
			o.Then = append(o.Then, t.Settings+loaded+" (settles "+t.Criteria+")")
		}
		if reading {
			o.Then = append(o.Then, "a meter reading of the DC volts"+loaded)
		}
		if len(o.Then) > 0 {
			o.Settle, o.Then = o.Then[0], o.Then[1:]
		}
		if e.Verdict == target.Retake {
			for _, k := range e.Cautions {
				if k.Fix != "" {
					o.Again = append(o.Again, k.Text+"; "+k.Fix)
				}
			}
		}
		v.Open = append(v.Open, o)
	}
}
