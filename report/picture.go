package report

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/analysis"
	"stillglow/analysis/heater"
	"stillglow/capture"
	"stillglow/report/canvas"
)

// Pictures of single things, in the report's own style, for the commands that
// write one file. The format is "png" or "svg".

// PictureFormat is the format that a file's name asks for, "" where it asks for none
// that there is.
func PictureFormat(path string) string {
	switch f := strings.ToLower(strings.TrimPrefix(filepath.Ext(path), ".")); f {
	case "png", "svg":
		return f
	}
	return ""
}

func encode(f *canvas.Drawing, format string) ([]byte, error) {
	if format == "svg" {
		return f.SVG(), nil
	}
	return f.PNG(canvas.NewRaster())
}

// TracePicture draws a record: the least and the greatest sample of every column.
func TracePicture(t *capture.Trace, format string) ([]byte, error) {
	m := &analysis.Measurement{Calibrated: t.Calibrated, SampleRateHz: t.SampleRateHz, DurationS: t.DurationS()}
	n := len(t.Volts)
	per := max(1, (n+plotColumns-1)/plotColumns)
	e := analysis.Envelope{StartS: t.StartS, StepS: float64(per) / t.SampleRateHz}
	for i := 0; i < n; i += per {
		lo, hi := extent(t.Volts[i:min(n, i+per)])
		e.MinV, e.MaxV = append(e.MinV, lo), append(e.MaxV, hi)
	}
	p, _, _, _ := envelopePanel(e, m, plotColumns)
	p.Add(note{x: 0.01, y: 0.985, corner: true, yAlign: draw.YTop, color: canvas.Ink,
		text: fmt.Sprintf("%s at %s, %s", capture.Plural(n, "sample"), eng(t.SampleRateHz, "S/s"), eng(t.DurationS(), "s"))})
	title := clean(filepath.Base(t.File))
	if t.Channel != "" {
		title += ", " + clean(t.Channel)
	}
	return encode(&canvas.Drawing{Title: title, Panels: []*plot.Plot{p}}, format)
}

// WarmUpPicture draws heater volts over load current from switch-on, one curve per
// plan. names label the plans; nil: by their volts. invented marks made-up data. It is an error when no plan can
// feed its load.
func WarmUpPicture(plans []heater.Plan, names []string, invented bool, format string) ([]byte, error) {
	volts := newPanel("", "heater volts in V")
	amps := newPanel("time from switch-on in s", "load current in A")
	volts.Add(grid{})
	amps.Add(grid{})
	longest := 0.0
	for i := range plans {
		if w := &plans[i].WarmUp; warmsUp(&plans[i]) {
			longest = math.Max(longest, w.TimeS[len(w.TimeS)-1])
		}
	}
	var keys key
	mostA, mostV, rated, drawn := 0.0, 0.0, 0.0, 0
	for i := range plans {
		p := &plans[i]
		w := &p.WarmUp
		if !warmsUp(p) {
			continue
		}
		st := curveStyles[drawn%len(curveStyles)]
		st.Width = vg.Points(1.5)
		rated = math.Max(rated, w.RatedV)
		addWarmUp(volts, w, w.HeaterV, longest, st)
		addWarmUp(amps, w, w.LoadA, longest, st)
		name := trimNumber(p.Supply.Volts) + " V supply"
		if names != nil {
			name = shorten(clean(names[i]), 40)
		}
		keys.add(fmt.Sprintf("%s, %s: 90 %% at %s, 99 %% at %s", name, warmUpPart(p), secondsText(w.To90S), secondsText(w.To99S)), st)
		mostA = math.Max(mostA, w.PeakA)
		for _, v := range w.HeaterV {
			mostV = math.Max(mostV, v)
		}
		drawn++
	}
	if drawn == 0 {
		return nil, fmt.Errorf("no warm-up to draw, the supply can't feed the load: %s", plans[0].Why)
	}
	volts.Add(curveOnly{curve{x: []float64{0, longest}, y: []float64{rated, rated}, line: baselineLine}})
	keys.add("rated "+trimNumber(rated)+" V", baselineLine)
	for _, p := range []*plot.Plot{volts, amps} {
		p.X.Min, p.X.Max, p.Y.Min = 0, longest, 0
	}
	volts.Y.Max = 1.1 * math.Max(rated, mostV)
	amps.Y.Max = mostA * (1.1 + 0.16*float64(len(keys.names))) // the key's own room
	amps.Add(keys)
	footer := "simulated; dots: heater temperature at 90 % and 99 % of its rise"
	if invented {
		footer += " · invented data"
	}
	return encode(&canvas.Drawing{Title: "Warm-up from cold: " + clean(plans[0].Load.Describe()), Panels: []*plot.Plot{volts, amps},
		Footer: footer}, format)
}

// warmsUp reports whether the plan holds a simulated switch-on.
func warmsUp(p *heater.Plan) bool { return p.CanFeed && len(p.WarmUp.TimeS) > 0 }

// addWarmUp draws a warm-up's y over its time, level from its end to untilS, with
// dots at 90 % and 99 % of the temperature's rise.
func addWarmUp(on *plot.Plot, w *heater.WarmUp, y []float64, untilS float64, st draw.LineStyle) {
	xs, ys := slices.Clone(w.TimeS), slices.Clone(y)
	if last := len(xs) - 1; xs[last] < untilS {
		xs, ys = append(xs, untilS), append(ys, ys[last])
	}
	on.Add(curve{x: xs, y: ys, line: st})
	for _, at := range []float64{w.To90S, w.To99S} {
		if at > 0 && at < untilS {
			on.Add(marks{x: []float64{at}, y: []float64{valueAt(w.TimeS, y, at)}, shape: draw.CircleGlyph{}, color: st.Color, size: vg.Points(2.8)})
		}
	}
}

// warmUpPart names what a plan's warm-up is drawn with.
func warmUpPart(p *heater.Plan) string {
	if a, part := bestPart(p); part != nil && !p.Direct {
		return clean(a.Name)
	}
	return heater.NameNone
}
