package report

import (
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/analysis/heater"
	"stillglow/report/canvas"
)

// hasWarmUp reports whether there is a simulated switch-on to draw.
func hasWarmUp(u *Unit) bool {
	return u.Plan != nil && u.Plan.CanFeed && len(u.Plan.WarmUp.TimeS) > 1
}

func warmUpAlt(u *Unit) string {
	if !hasWarmUp(u) {
		return ""
	}
	return ": " + warmUpWords(u.Plan.WarmUp)
}

// warmUpFigure draws heater volts over load current from switch-on, with the
// recommended dropper. phone is for a phone: what the lines and dots are stands
// under the panels.
func warmUpFigure(u *Unit, phone bool) *canvas.Drawing {
	if !hasWarmUp(u) {
		return nil
	}
	p := u.Plan
	w := &p.WarmUp
	volts := newPanel("", "heater volts in V")
	amps := newPanel("time from switch-on in s", "load current in A")
	draws := func(panel *plot.Plot, y []float64) {
		panel.Add(grid{}, curve{x: w.TimeS, y: y, line: draw.LineStyle{Color: canvas.Blue, Width: vg.Points(1.6)}})
		panel.X.Min, panel.X.Max = 0, w.TimeS[len(w.TimeS)-1]
		panel.Y.Min = 0
		panel.Y.Max *= 1.3 // the labels' own room
		for _, at := range []float64{w.To90S, w.To99S} {
			if at > 0 && at < panel.X.Max {
				panel.Add(marks{x: []float64{at}, y: []float64{valueAt(w.TimeS, y, at)}, shape: draw.CircleGlyph{}, color: canvas.Vermillion, size: vg.Points(3)})
			}
		}
	}
	draws(volts, w.HeaterV)
	draws(amps, w.LoadA)
	label, dotted := "volts of the "+orText(clean(w.Heater), "heater"), ""
	if rated := ratedVolts(p.Load, w.Heater); rated > 0 {
		volts.Add(curveOnly{curve{x: []float64{0, volts.X.Max}, y: []float64{rated, rated}, line: baselineLine}})
		whose := "its"
		if phone {
			whose = "the heater's"
		}
		dotted = fmt.Sprintf("dotted: %s rated %s V", whose, trimNumber(rated))
	}
	dots := fmt.Sprintf("dots: temperature at 90 %% (%s) and 99 %% (%s) of its rise", secondsText(w.To90S), secondsText(w.To99S))
	current, dashed := fmt.Sprintf("current, %s at the first instant", eng(w.LoadA[0], "A")), ""
	if rated := p.Supply.RatedA; rated > 0 && rated < amps.Y.Max {
		amps.Add(curveOnly{curve{x: []float64{0, amps.X.Max}, y: []float64{rated, rated}, line: limitLine}})
		dashed = "dash-dotted: the supply's rating " + eng(rated, "A")
	}
	d := &canvas.Drawing{Panels: []*plot.Plot{volts, amps}, Footer: "simulated from cold with the dropper to fit"}
	if phone {
		d = narrow(d, warmUpNarrowHeight)
		d.Footer = joined("; ", dots, dotted, dashed, d.Footer)
	} else {
		label, current = joined(", ", label, dotted), joined("; ", current, dashed)
		volts.Add(note{x: 0.99, y: 0.03, corner: true, xAlign: draw.XRight, color: canvas.Ink, text: dots})
	}
	volts.Add(note{x: 0.01, y: 0.985, corner: true, yAlign: draw.YTop, color: canvas.Ink, text: label})
	amps.Add(note{x: 0.99, y: 0.985, corner: true, xAlign: draw.XRight, yAlign: draw.YTop, color: canvas.Ink, text: current})
	return d
}

const warmUpNarrowHeight = vg.Length(370)

// joined strings together those that say anything.
func joined(by string, texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(s string) bool { return s == "" }), by)
}

// ratedVolts is what the load's wiring means for a type's heater, 0 unknown.
func ratedVolts(l heater.Load, kind string) float64 {
	for _, g := range l.Groups {
		if g.Valve.Type != kind {
			continue
		}
		if g.Wiring == heater.Series || g.Wiring == heater.StringSeries {
			return 2 * g.Valve.Volts
		}
		return g.Valve.Volts
	}
	return 0
}

// valueAt reads a curve at x by straight lines between its points.
func valueAt(x, y []float64, at float64) float64 {
	for i := 1; i < len(x); i++ {
		if x[i] >= at {
			return y[i-1] + (y[i]-y[i-1])*(at-x[i-1])/(x[i]-x[i-1])
		}
	}
	return y[len(y)-1]
}
