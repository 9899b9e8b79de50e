package report

import (
	"bytes"
	"html/template"
	"strings"

	"stillglow/analysis/target"
)

// labelView is one label: brand, mark, verdict, ripple, spikes, date.
type labelView struct {
	Name, Shape, Verdict, Margin, Date, Target string
	Doubt                                      string // why the figures below are not to be trusted, "" where they are
	Rows                                       []pair
	Invented                                   bool
}

// labelsCSS sizes a label to 63.5 by 38.1 mm, 3 across, which both A4 and Letter
// hold within 10 mm margins.
const labelsCSS = `
*{box-sizing:border-box}
body{margin:1rem;font:13px/1.3 "Liberation Sans",Arial,Helvetica,sans-serif;color:#1b2026;background:#fff}
header{max-width:48rem}h1{font-size:1.2rem;overflow-wrap:anywhere}
.labels{list-style:none;margin:0;padding:0;display:grid;grid-template-columns:repeat(auto-fill,63.5mm)}
.labels li{width:63.5mm;height:40mm;border:.3mm dashed #7a828c;padding:2.2mm 2.6mm;overflow:hidden;display:flex;flex-direction:column;break-inside:avoid}
p,dl,dd{margin:0}
.name{font-weight:700;font-size:10.5pt;line-height:1.15;overflow-wrap:anywhere;display:-webkit-box;-webkit-box-orient:vertical;-webkit-line-clamp:2;overflow:hidden;flex:none}
.verdict{font-weight:700;font-size:10.5pt;line-height:1.2;margin:.4mm 0}
.db{font-weight:400;font-size:9pt}
dl{font-size:8pt;line-height:1.15;flex:1;min-height:0}dl div{display:flex;gap:2mm}dt{min-width:19mm}dd{font-weight:700}
.foot{font-size:7pt;line-height:1.2;flex:none;white-space:nowrap;overflow:hidden;text-overflow:ellipsis}
@page{margin:10mm 8mm}
@media print{header{display:none}body{margin:0}}
`

// Labels is labels.html: a printable page of small labels, one per unit.
func (r *Report) Labels() ([]byte, error) {
	page, err := asset("labels.html")
	if err != nil {
		return nil, err
	}
	t, err := template.New("labels").Parse(page)
	if err != nil {
		return nil, err
	}
	v := struct {
		sealed
		Title string
		Units []labelView
	}{withCSP(labelsCSS), orText(clean(r.Title), "heater supplies"), nil}
	for i := range r.Units {
		v.Units = append(v.Units, r.label(i))
	}
	var b bytes.Buffer
	if err := t.Execute(&b, v); err != nil {
		return nil, err
	}
	return Unbreakable(b.Bytes()), nil
}

func (r *Report) label(i int) labelView {
	u := &r.Units[i]
	e := &u.Eval
	v := labelView{Name: shorten(unitName(e.Unit), 52), Shape: shape(e.Verdict), Verdict: string(e.Verdict), Date: clean(r.Date),
		Target: orText(clean(r.Target.Title), clean(r.Target.Name)), Invented: r.Invented}
	mark := ""
	switch e.Verdict {
	case target.Retake:
		v.Doubt, mark = "in doubt, capture again", " ?"
	case target.Open:
		v.Doubt = "not all measured"
	case target.Pass:
		if e.Overloaded {
			v.Doubt = "overloaded by these heaters"
		}
	}
	if m := worstMargin(e); m != nil && v.Doubt == "" {
		v.Margin = strings.TrimSpace(marginText(m) + " " + shortName(m.Limit))
		if e.Common == target.CommonOpen || e.Common == target.CommonInPart {
			v.Margin += ", CM open"
		}
	}
	for _, c := range []target.Criterion{target.RipplePP, target.FoldedRipple, target.SpikePeak, target.MainsLine, target.Noise} {
		if m := marginOf(e, c); m != nil && len(v.Rows) < 3 {
			text := "not measured"
			if m.Covered {
				text = figureText(m.Figure, m.Limit.Unit) + mark
			}
			v.Rows = append(v.Rows, pair{shortName(m.Limit), text})
		}
	}
	dc := "not measured"
	if e.LoadedV.Known {
		dc = figureText(e.LoadedV, "V")
	}
	v.Rows = append(v.Rows, pair{"DC, loaded", dc})
	if a, part := bestPart(u.Plan); part != nil {
		v.Rows = append(v.Rows, pair{"dropper", partText(a, part)})
	}
	return v
}
