package report

import (
	"bytes"
	"context"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"stillglow/analysis"
	"stillglow/capture"
)

// Parts are pieces of the report's page for another page of the program to show:
// the same words, tables and pictures, by the same templates. They are finished
// HTML, escaped; they need Style.
type Parts struct {
	Answer, Ranking, Brands template.HTML // the finding, the table of units, that of brands
	Units                   []UnitParts   // in rank order
	Safety                  []string      // the cautions that go with every dropper
}

// UnitParts are the pieces of one unit.
type UnitParts struct {
	Name, Verdict, Class, Shape string        // verdict as a word, a class of Style and a shape
	Why, WouldFlip              string        // of its verdict, and what would change it
	Details                     template.HTML // margins, figures, pictures, captures, collapsed
	Plan, Filter                template.HTML // "" where there is none
	FilterPlot                  template.HTML // its prediction drawn; "" without one
}

// Parts makes the pieces of a report; its pictures are drawn until ctx ends.
func (r *Report) Parts(ctx context.Context) (*Parts, error) {
	t, err := partsTemplate()
	if err != nil {
		return nil, err
	}
	v, err := r.view(ctx, 1, true)
	if err != nil {
		return nil, err
	}
	var failed error
	render := func(name string, data any) template.HTML {
		var b bytes.Buffer
		if err := t.ExecuteTemplate(&b, name, data); err != nil && failed == nil {
			failed = err
		}
		return template.HTML(Unbreakable(b.Bytes()))
	}
	p := &Parts{Answer: render("answer", v), Ranking: render("ranking", v), Safety: v.Safety}
	if len(v.Brands) > 0 {
		p.Brands = render("brands", v)
	}
	for _, u := range v.Units {
		u.Open = false
		one := UnitParts{Name: u.Name, Verdict: u.Verdict, Class: u.Class, Shape: u.Shape, Why: u.Why, WouldFlip: u.WouldFlip, Details: render("unit", u)}
		if u.Plan != nil {
			one.Plan = render("plan", u)
		}
		if u.Filter != nil {
			one.Filter = render("filter", u)
		}
		for _, plot := range u.Plots {
			if plot.Kind == "filter" {
				one.FilterPlot = plot.SVG
			}
		}
		p.Units = append(p.Units, one)
	}
	return p, failed
}

// partsTemplate has the page's named templates, and some of its sections under
// their own names.
func partsTemplate() (*template.Template, error) {
	page, err := asset("page.html")
	if err != nil {
		return nil, err
	}
	t, err := template.New("page").Funcs(pageFuncs).Parse(page)
	if err != nil {
		return nil, err
	}
	for name, ends := range map[string][2]string{
		"answer":  {`<p class="lead">{{.Answer.Best}}`, "</section>"},
		"ranking": {`<table class="rank"`, "</section>"},
		"brands":  {"{{.BrandPlot}}", "</section>"},
	} {
		_, rest, found := strings.Cut(page, ends[0])
		rest, _, closed := strings.Cut(rest, ends[1])
		if !found || !closed {
			return nil, fmt.Errorf("report: page.html has no part %q", name)
		}
		if _, err := t.New(name).Parse(ends[0] + rest); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// CaptureParts are one capture's figures and how it was read, in words.
type CaptureParts struct {
	Read    []NamedText // layout, record, span, coupling, unless an assumption says so
	Figures []NamedText // with their uncertainty
	Missing []string    // figures that it can't show, with the reason
}

// NamedText is a name with its value; Key is the register's of a figure, else "".
type NamedText struct{ Key, Name, Text string }

// PartsOf words one capture.
func PartsOf(c Capture) CaptureParts {
	var p CaptureParts
	for _, row := range readRows(c) {
		if row.setting == "" || !slices.ContainsFunc(c.Assumptions, func(a capture.Assumption) bool { return a.What == row.setting }) {
			p.Read = append(p.Read, NamedText{Name: row.K, Text: row.V})
		}
	}
	rows, missing := figureTable([]*analysis.Measurement{c.M})
	for _, row := range rows {
		p.Figures = append(p.Figures, NamedText{Key: row.Key, Name: row.Name, Text: row.Cells[0].Text})
	}
	p.Missing = missing
	return p
}

// Reduced brings an envelope down to at most columns columns, no peak lost.
func Reduced(e analysis.Envelope, columns int) analysis.Envelope { return reduce(e, columns) }

// Style is the report page's style sheet, that of the plotting library included.
func Style() (string, error) {
	library, err := asset("uPlot.min.css")
	if err != nil {
		return "", err
	}
	page, err := asset("page.css")
	return library + page, err
}

// PlotLibrary is the script that draws live plots, with its licence.
func PlotLibrary() (string, error) {
	scripts, err := pageScripts()
	if err != nil {
		return "", err
	}
	return scripts[0], nil
}
