package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/report/canvas"
)

// Plot is the comparison's one picture, "png" or "svg": the two spectra laid over
// each other, or, for more than one unit, each unit's worst margin before and
// after. It is an error when there is nothing to draw.
func (c *Comparison) Plot(format string) ([]byte, error) {
	f := c.figure()
	if f == nil {
		return nil, fmt.Errorf("%s and %s: neither spectra nor margins on both sides, expected something to plot", c.A, c.B)
	}
	if format == "svg" {
		return f.SVG(), nil
	}
	return f.PNG(canvas.NewRaster())
}

func (c *Comparison) figure() *canvas.Drawing {
	f := c.marginsFigure()
	if len(c.curves[0]) > 0 && len(c.curves[1]) > 0 {
		f = c.spectraFigure()
	}
	if f != nil && c.Invented {
		f.Footer = joinNonEmpty(" · ", f.Footer, "invented data")
	}
	return f
}

func (c *Comparison) spectraFigure() *canvas.Drawing {
	p := spectrumPanel("V")
	var k key
	for i, name := range []string{"before: " + c.A, "after: " + c.B} {
		st := []draw.LineStyle{{Color: canvas.Vermillion, Width: vg.Points(0.9), Dashes: curveStyles[1].Dashes}, {Color: canvas.Blue, Width: vg.Points(1.1)}}[i]
		for _, s := range c.curves[i] {
			addDensity(p, s.FrequencyHz, s.VPerRtHz, plotColumns/2, st)
		}
		k.add(shorten(name, 60), st)
	}
	if !settle(p) {
		return nil
	}
	p.Add(k)
	title := "Before and after"
	if len(c.Units) == 1 {
		title = shorten(c.Units[0].Key, 60) + ": before and after"
	}
	return &canvas.Drawing{Title: title, Panels: []*plot.Plot{p}}
}

// comparedUnits is how many units the margins' picture holds.
const comparedUnits = 14

func (c *Comparison) marginsFigure() *canvas.Drawing {
	var rows []UnitChange
	for _, u := range c.Units {
		if u.MarginBeforeDB != nil && u.MarginDB != nil && len(rows) < comparedUnits {
			rows = append(rows, u)
		}
	}
	n := len(rows)
	if n == 0 {
		return nil
	}
	p := newPanel("worst margin in dB: right of 0 is inside the target", "")
	p.Y.Min, p.Y.Max = -0.6, float64(n)-0.4
	p.Y.LineStyle.Width, p.Y.Tick.LineStyle.Width = 0, 0
	var names ticks
	p.X.Min, p.X.Max = -1, 1
	for i, u := range rows {
		names = append(names, plot.Tick{Value: float64(n - 1 - i), Label: canvas.Text(shorten(u.Key, 30))})
		p.X.Min = math.Min(p.X.Min, math.Min(*u.MarginBeforeDB, *u.MarginDB))
		p.X.Max = math.Max(p.X.Max, math.Max(*u.MarginBeforeDB, *u.MarginDB))
	}
	p.Y.Tick.Marker = names
	widen(&p.X, 0.1)
	p.Add(grid{}, zeroLine{})
	before := marks{shape: hollow{}, color: canvas.Vermillion, size: vg.Points(3.8)}
	after := marks{shape: draw.CircleGlyph{}, color: canvas.Blue, size: vg.Points(3.8)}
	for i, u := range rows {
		y := float64(n - 1 - i)
		p.Add(curveOnly{curve{x: []float64{*u.MarginBeforeDB, *u.MarginDB}, y: []float64{y, y}, line: draw.LineStyle{Color: canvas.SoftInk, Width: vg.Points(1)}}})
		before.x, before.y = append(before.x, *u.MarginBeforeDB), append(before.y, y)
		after.x, after.y = append(after.x, *u.MarginDB), append(after.y, y)
	}
	p.Add(before, after)
	return &canvas.Drawing{Title: "Worst margins before and after", Panels: []*plot.Plot{p}, Footer: "circle: before; dot: after"}
}

// ticks are fixed tick marks.
type ticks []plot.Tick

func (t ticks) Ticks(_, _ float64) []plot.Tick { return t }
