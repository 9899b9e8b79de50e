package benchpage

import (
	"fmt"
	"html/template"
	"maps"
	"path"
	"reflect"
	"slices"
	"strings"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

type unitView struct {
	ID, Name       string
	U              sheet.Unit
	RatedV, RatedA string
	LimitA         string
	Captures       []cardView
	Readings       []readingView
	Shown          []shownView
	State          string // as the form has it
	OutputUF       string
	Verdict, Class string
	Shape          string
	Alike          int // other units of its brand and model
}

type readingView struct {
	N        int
	Load, V  string
	Unloaded bool
}

// shownView is a figure read off a screen, with what it says of its limit.
type shownView struct {
	N                 int
	On, Name, Value   string
	PlusMinus, By, At string
	Fails             bool
	Says              string
}

// knownNames are offered where one is typed.
type knownNames struct{ Brands, Models, Marks, Loads []string }

// openView is what a unit still lacks, and every other that lacks just the same.
type openView struct {
	Units   []openUnit
	Decided []string         // criteria that a capture covers
	Open    []string         // those that none covers
	Correct []correctionView // what can be put right without another capture
	Settle  string           // the one thing that would settle most
	Then    []string         // what would settle the rest
	Again   []string         // cautions that make it a retake
}

// openUnit is a unit with its verdict.
type openUnit struct{ Name, Verdict, Class, Shape string }

// correctionView is a caution about one capture that a field of its form answers.
type correctionView struct{ ID, File, Field, Text string }

func (v *view) units(b *bench) {
	brands, models, marks := map[string]bool{}, map[string]bool{}, map[string]bool{}
	loads := map[float64]bool{}
	if r := b.decision.report; r != nil {
		loads[r.HeaterA] = true
	}
	for i, u := range b.sheet.Units {
		brands[u.Brand], models[u.Model], marks[u.Mark] = true, true, true
		w := unitView{ID: unitID("unit", u.Name()), Name: u.Name(), U: u, RatedV: trimmed(u.RatedV), RatedA: trimmed(u.RatedA), LimitA: trimmed(u.LimitA), State: u.State, OutputUF: trimmed(u.OutputUF), Alike: len(alikeUnits(b.sheet, i))}
		for _, e := range b.entries {
			if e.Role == ofUnit && e.Unit == i {
				w.Captures = append(w.Captures, b.card(e))
				loads[e.Capture.LoadA] = true
			}
		}
		for n, r := range u.Readings {
			w.Readings = append(w.Readings, readingView{n, capture.SI(r.LoadA, "A", 3), report.VoltsText(r.V), r.LoadA == 0})
			loads[r.LoadA] = true
		}
		w.Shown = b.shown(u)
		if p := b.decision.parts; p != nil {
			for _, d := range p.Units {
				if d.Name == w.Name {
					w.Verdict, w.Class, w.Shape = d.Verdict, d.Class, d.Shape
				}
			}
		}
		v.Units = append(v.Units, w)
	}
	delete(loads, 0)
	v.Known = knownNames{Brands: sorted(brands), Models: sorted(models), Marks: sorted(marks)}
	for _, a := range slices.Sorted(maps.Keys(loads)) {
		v.Known.Loads = append(v.Known.Loads, capture.SI(a, "A", 3))
	}
}

// shown words what was read off a screen of one unit.
func (b *bench) shown(u sheet.Unit) (out []shownView) {
	heaters := target.Unit{}
	if r := b.decision.report; r != nil {
		heaters.HeaterA = r.HeaterA
	}
	for n, r := range u.Shown {
		s := shownView{N: n, On: r.On, Name: r.On, Value: fmt.Sprintf("%.4g", r.Value), PlusMinus: fmt.Sprintf("± %g %%", r.PlusMinusPercent), By: r.By,
			Says: "the target has no such limit, so it does not count"}
		if r.LoadA > 0 {
			s.At = capture.SI(r.LoadA, "A", 3)
		}
		for _, l := range b.goal.Limits {
			if string(l.Criterion) != r.On {
				continue
			}
			s.Name = l.Name
			if l.Criterion != target.SpikeRate {
				s.Value = capture.SI(r.Value, l.Unit, 3)
			}
			fails, why := target.ShownProves(pipeline.ShownOf(r), l, heaters)
			if s.Fails = fails; fails {
				why = "over the limit of " + l.Text() + " whatever the ±: the unit fails"
			}
			s.Says = onPage(why)
		}
		out = append(out, s)
	}
	return out
}

func sorted(set map[string]bool) []string {
	var out []string
	for k := range set {
		if k != "" {
			out = append(out, k)
		}
	}
	slices.Sort(out)
	return out
}

// htmlOnPage names the page's fields in a finished piece of the report.
var htmlOnPage = strings.NewReplacer(
	"stillglow guide gives the safe steps", `<a href="/guide.txt" target="_blank" rel="noopener">the guide</a> gives the safe steps`,
)

// decision shows what is decided and what is open.
func (v *view) decision(b *bench) {
	d := b.decision
	v.Deciding = d.running
	if d.left > 0 {
		v.Left = capture.Plural(d.left, "capture")
	}
	if d.err != nil {
		v.Failed = capture.OneLine(d.err.Error())
	}
	v.Parts = d.parts
	if d.parts != nil {
		v.Answer = template.HTML(htmlOnPage.Replace(string(d.parts.Answer))) // our own words in our own template's text
	}
	if d.report == nil {
		return
	}
	if a := d.report.HeaterA; a > 0 {
		v.LoadWords = capture.SI(a, "A", 3)
	}
	v.AskScope = b.sheet.Instrument.MemorySamples == 0 && b.sheet.Instrument.MaxRateHz == 0
	lacking := false
	for i := range d.report.Units {
		o := b.lacks(&d.report.Units[i].Eval)
		if d.parts != nil && i < len(d.parts.Units) {
			o.Units[0].Class, o.Units[0].Shape = d.parts.Units[i].Class, d.parts.Units[i].Shape
		}
		lacking = lacking || o.Settle != ""
		if k := slices.IndexFunc(v.Open, o.like); k >= 0 {
			v.Open[k].Units = append(v.Open[k].Units, o.Units...)
			continue
		}
		v.Open = append(v.Open, o)
	}
	v.AskScope = v.AskScope && lacking
}

// like reports whether two units lack the same.
func (o openView) like(p openView) bool {
	o.Units, p.Units = nil, nil
	return reflect.DeepEqual(o, p)
}

// lacks tells what one unit still lacks, and what would bring it.
func (b *bench) lacks(e *target.Evaluation) openView {
	o := openView{Units: []openUnit{{Name: e.Unit.Key, Verdict: string(e.Verdict)}}}
	reading := false
	var limits []target.Limit
	for _, m := range e.Margins {
		if m.Covered {
			o.Decided = append(o.Decided, m.Limit.Name)
			continue
		}
		o.Open = append(o.Open, m.Limit.Name)
		if m.Limit.Criterion == target.HeaterDC {
			reading = true
		} else {
			limits = append(limits, m.Limit)
		}
	}
	loaded := ""
	if a := b.decision.report.HeaterA; a > 0 {
		loaded = ", at a load of " + capture.SI(a, "A", 3)
	}
	takes := b.take(limits, b.sheet.Instrument)
	slices.SortStableFunc(takes, func(x, y Take) int { return strings.Count(y.Criteria, ";") - strings.Count(x.Criteria, ";") })
	for _, t := range takes {
		o.Then = append(o.Then, onPage(t.Settings)+loaded+" (settles "+t.Criteria+")")
	}
	if reading {
		o.Then = append(o.Then, "a meter reading of the DC volts"+loaded)
	}
	if len(o.Then) > 0 {
		o.Settle, o.Then = o.Then[0], o.Then[1:]
	}
	retake := e.Verdict == target.Retake
	if retake || len(o.Open) > 0 {
		o.Correct = b.corrections(e.Unit.Index, retake)
	}
	for _, k := range e.Cautions {
		if _, answered := answers[k.Code]; retake && k.Fix != "" && !answered {
			o.Again = append(o.Again, k.Text+"; "+onPage(k.Fix))
		}
	}
	return o
}

// corrections lists the cautions about a unit's captures that a field of the page
// answers: all of them, or those alone without which a capture's volts are not
// known.
func (b *bench) corrections(unit int, all bool) (out []correctionView) {
	for _, e := range b.entries {
		if e.Role != ofUnit || e.Unit != unit || e.reading == nil {
			continue
		}
		for _, k := range e.reading.words.Cautions {
			if k.Field == "" || k.Field == answers[capture.CautionUnfiltered][0] { // that one only makes upper figures
				continue
			}
			if all || k.Field == answers[capture.CautionUncalibrated][0] {
				out = append(out, correctionView{e.ID, path.Base(e.Capture.File), k.Field, k.Text})
			}
		}
	}
	return out
}
