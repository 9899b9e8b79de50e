package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/capture"
	"stillglow/report/canvas"
)

// voltUnit is "V", or what an uncalibrated capture's numbers are.
func voltUnit(m *analysis.Measurement) string {
	if m.Calibrated {
		return "V"
	}
	return "FS" // of full scale
}

func voltLabel(prefix string, m *analysis.Measurement) string {
	if !m.Calibrated {
		return prefix + "FS (share of full scale)"
	}
	return prefix + "V"
}

// envelopePanel draws an envelope about its middle, so that ripple on a DC level
// fills the panel: the level itself is named.
func envelopePanel(e analysis.Envelope, m *analysis.Measurement, columns int) (p *plot.Plot, timeFactor, voltFactor, level float64) {
	e = reduce(e, columns)
	lo, hi, offset := levels(e)
	_, voltFactor, voltPrefix := capture.Prefixed(math.Max(math.Abs(hi-offset), math.Abs(lo-offset)), 3)
	_, timeFactor, timePrefix := capture.Prefixed(e.StartS+e.StepS*float64(len(e.MinV)), 3)
	label := voltLabel(voltPrefix, m)
	if offset != 0 {
		label += ", about " + figureText(figure.Known(offset), voltUnit(m))
	}
	p = newPanel("time in "+timePrefix+"s", label)
	b := band{fill: canvas.PaleBlue, line: thinBlue}
	for i := range e.MinV {
		if finite(e.MinV[i]) && finite(e.MaxV[i]) {
			b.x = append(b.x, (e.StartS+e.StepS*float64(i))/timeFactor)
			b.lo = append(b.lo, (e.MinV[i]-offset)/voltFactor)
			b.hi = append(b.hi, (e.MaxV[i]-offset)/voltFactor)
		}
	}
	p.Add(grid{}, b)
	widen(&p.Y, 0.08)
	p.Y.Max += (p.Y.Max - p.Y.Min) * 0.2 // the label's own room
	return p, timeFactor, voltFactor, offset
}

// levels gives an envelope's extremes and, when it rides on a DC level, that
// level rounded to a step that suits the span; 0 otherwise.
func levels(e analysis.Envelope) (lo, hi, offset float64) {
	lo, _ = extent(e.MinV)
	_, hi = extent(e.MaxV)
	if span := hi - lo; math.Abs(lo+hi)/2 > 2*span {
		offset = (lo + hi) / 2
		if step, _ := niceStep(span); step > 0 {
			offset = math.Round(offset/step) * step
		}
	}
	return lo, hi, offset
}

// widen leaves room above and below the data.
func widen(a *plot.Axis, share float64) {
	d := (a.Max - a.Min) * share
	if d == 0 {
		d = math.Max(math.Abs(a.Max)*share, 1e-3)
	}
	a.Min -= d
	a.Max += d
}

// waveformFigure shows the whole record of the longest capture over a few
// switching cycles of the fastest, spikes marked. nil when there is neither.
func waveformFigure(u *Unit, columns int) *canvas.Drawing {
	f := &canvas.Drawing{}
	if long := longest(u.Captures); long != nil {
		p, timeFactor, voltFactor, offset := envelopePanel(long.Waveform, long, columns)
		p.Add(spikeRug(long, timeFactor, voltFactor, offset, &p.Y))
		label := "whole record, " + eng(long.DurationS, "s")
		if n := long.Spikes.Count; n > 0 && long.Spikes.PerS.Known {
			label += fmt.Sprintf(", %s (ticks)", capture.Plural(n, "spike"))
		}
		p.Add(note{x: 0.01, y: 0.985, corner: true, yAlign: draw.YTop, color: canvas.Ink, text: label})
		f.Panels = append(f.Panels, p)
	}
	if fast := fastest(u.Captures); fast != nil {
		p, timeFactor, voltFactor, offset := envelopePanel(fast.Detail, fast, columns)
		up, down := spikesIn(fast, fast.Detail, timeFactor, voltFactor, offset)
		p.Add(up, down)
		p.Y.Min -= (p.Y.Max - p.Y.Min) * 0.06 // room for the marks below
		label := "a few switching cycles"
		if fast.SwitchingHz.Known {
			label += " at " + eng(fast.SwitchingHz.Value, "Hz")
		}
		if len(up.x)+len(down.x) > 0 {
			label += ", spikes marked"
		}
		p.Add(note{x: 0.01, y: 0.985, corner: true, yAlign: draw.YTop, color: canvas.Ink, text: label})
		f.Panels = append(f.Panels, p)
	}
	if len(f.Panels) == 0 {
		return nil
	}
	return f
}

// longest is the capture with the longest record that has a waveform.
func longest(cs []Capture) *analysis.Measurement {
	var best *analysis.Measurement
	for _, c := range across(cs) {
		if c.M != nil && len(c.M.Waveform.MinV) > 0 && (best == nil || c.M.DurationS > best.DurationS) {
			best = c.M
		}
	}
	return best
}

// fastest is the capture with the highest sample rate that has a detail.
func fastest(cs []Capture) *analysis.Measurement {
	var best *analysis.Measurement
	for _, c := range across(cs) {
		if c.M != nil && len(c.M.Detail.MinV) > 0 && (best == nil || c.M.SampleRateHz > best.SampleRateHz) {
			best = c.M
		}
	}
	return best
}

// spikeRug is a row of ticks under the upper edge, one per spike.
func spikeRug(m *analysis.Measurement, timeFactor, voltFactor, offset float64, y *plot.Axis) plot.Plotter {
	r := marks{shape: tick{}, color: canvas.Vermillion, size: vg.Points(3)}
	for _, s := range m.Spikes.List {
		r.x = append(r.x, s.TimeS/timeFactor)
		r.y = append(r.y, y.Min)
	}
	r.lift = vg.Points(4)
	return r
}

// tick is a short vertical line as a glyph.
type tick struct{}

func (tick) DrawGlyph(c *draw.Canvas, st draw.GlyphStyle, pt vg.Point) {
	c.StrokeLine2(draw.LineStyle{Color: st.Color, Width: vg.Points(0.5)}, pt.X, pt.Y-st.Radius, pt.X, pt.Y+st.Radius)
}

// downward is a filled triangle pointing down, the mirror of gonum's pyramid.
type downward struct{}

func (downward) DrawGlyph(c *draw.Canvas, st draw.GlyphStyle, pt vg.Point) {
	r := st.Radius
	c.FillPolygon(st.Color, []vg.Point{{X: pt.X, Y: pt.Y - r}, {X: pt.X - r, Y: pt.Y + 0.75*r}, {X: pt.X + r, Y: pt.Y + 0.75*r}})
}

// spikesIn marks the spikes that fall into an envelope: upward ones above, and
// downward ones below the trace.
func spikesIn(m *analysis.Measurement, e analysis.Envelope, timeFactor, voltFactor, offset float64) (up, down marks) {
	up = marks{shape: downward{}, color: canvas.Vermillion, size: vg.Points(3.2), lift: vg.Points(5)}
	down = marks{shape: draw.PyramidGlyph{}, color: canvas.Vermillion, size: vg.Points(3.2), lift: -vg.Points(5)}
	n := len(e.MinV)
	for _, s := range m.Spikes.List {
		at := (s.TimeS - e.StartS) / e.StepS
		if !(at >= 0 && at < float64(n)) {
			continue
		}
		// The mark sits on the extreme near the spike's time.
		i := int(at)
		near := max(2, n/500, int(math.Ceil(s.DurationS/e.StepS)))
		lo, hi := e.MinV[i], e.MaxV[i]
		for j := max(0, i-near); j < min(n, i+near+1); j++ {
			lo, hi = math.Min(lo, e.MinV[j]), math.Max(hi, e.MaxV[j])
		}
		if s.PeakV >= 0 {
			up.x, up.y = append(up.x, s.TimeS/timeFactor), append(up.y, (hi-offset)/voltFactor)
		} else {
			down.x, down.y = append(down.x, s.TimeS/timeFactor), append(down.y, (lo-offset)/voltFactor)
		}
	}
	return up, down
}

// cycleOf is the best folded cycle: of the capture with most samples in it.
func cycleOf(cs []Capture) *analysis.Measurement {
	var best *analysis.Measurement
	for _, c := range across(cs) {
		if c.M != nil && len(c.M.Cycle.MeanV) > 1 && (best == nil || c.M.SampleRateHz > best.SampleRateHz) {
			best = c.M
		}
	}
	return best
}

// cycleFigure is the folded switching cycle with the spread of single cycles.
func cycleFigure(u *Unit, columns int) *canvas.Drawing {
	m := cycleOf(u.Captures)
	if m == nil {
		return nil
	}
	k := &m.Cycle
	n := len(k.MeanV)
	lo, hi := extent(k.MeanV)
	_, sd := extent(k.SpreadV)
	_, voltFactor, voltPrefix := capture.Prefixed(math.Max(math.Abs(lo), math.Abs(hi))+sd, 3)
	_, timeFactor, timePrefix := capture.Prefixed(k.PeriodS, 3)
	p := newPanel("time in the switching cycle in "+timePrefix+"s", voltLabel(voltPrefix, m))
	x := make([]float64, n)
	b := band{fill: canvas.PaleBlue}
	every := max(1, n/max(columns, 32)) // of a small picture the band's points
	for i := range x {
		x[i] = k.PeriodS * float64(i) / float64(n) / timeFactor
		if i < len(k.SpreadV) && (i%every == 0 || i == n-1) {
			b.x = append(b.x, x[i])
			b.lo = append(b.lo, (k.MeanV[i]-k.SpreadV[i])/voltFactor)
			b.hi = append(b.hi, (k.MeanV[i]+k.SpreadV[i])/voltFactor)
		}
	}
	p.Add(grid{})
	if len(b.x) > 0 {
		p.Add(b)
	}
	mx, my := thin(x, scaled(k.MeanV, voltFactor), max(columns, 32))
	p.Add(curve{x: mx, y: my, line: curveStyles[0]})
	widen(&p.Y, 0.12)
	p.Y.Max += (p.Y.Max - p.Y.Min) * 0.08
	label := fmt.Sprintf("mean of %s; band: ± 1 standard deviation of single cycles", capture.Plural(k.Cycles, "cycle"))
	p.Add(note{x: 0.01, y: 0.985, corner: true, yAlign: draw.YTop, color: canvas.Ink, text: label})
	if m.RipplePPV.Known {
		p.Add(note{x: 0.99, y: 0.015, corner: true, xAlign: draw.XRight, color: canvas.Ink,
			text: "ripple " + figureText(m.RipplePPV, voltUnit(m)) + " p-p" + kindTail(m)})
	}
	return &canvas.Drawing{Panels: []*plot.Plot{p}}
}

func kindTail(m *analysis.Measurement) string {
	switch m.Kind {
	case cycle.Dithered:
		return ", dithered switching"
	case cycle.Bursting:
		return ", bursting"
	default:
		return ""
	}
}

// spikeOf is the capture that shows spikes best: the fastest with a typical one.
func spikeOf(cs []Capture) *analysis.Measurement {
	var best *analysis.Measurement
	for _, c := range across(cs) {
		if c.M != nil && len(c.M.Spikes.Typical.MinV) > 1 && (best == nil || c.M.SampleRateHz > best.SampleRateHz) {
			best = c.M
		}
	}
	return best
}

// spikeFigure is the median spike enlarged.
func spikeFigure(u *Unit, columns int) *canvas.Drawing {
	m := spikeOf(u.Captures)
	if m == nil {
		return nil
	}
	p, _, _, _ := envelopePanel(m.Spikes.Typical, m, columns)
	p.Add(note{x: 0.99, y: 0.985, corner: true, xAlign: draw.XRight, yAlign: draw.YTop, color: canvas.Ink, text: spikeWords(m)})
	return &canvas.Drawing{Panels: []*plot.Plot{p}}
}

// spikeWords sums up the spikes of a capture.
func spikeWords(m *analysis.Measurement) string {
	s := &m.Spikes
	out := "median peak " + figureText(s.PeakMedianV, voltUnit(m))
	if s.DurationMedianS.Known {
		out += ", " + figureText(s.DurationMedianS, "s") + " at 50 %"
	}
	if s.RingHz.Known {
		out += ", rings at " + figureText(s.RingHz, "Hz")
		if s.RingQ.Known {
			out += fmt.Sprintf(" with Q %.1f", s.RingQ.Value)
		}
	}
	return out
}

// histogramFigure shows spike amplitudes and intervals side by side.
func histogramFigure(u *Unit) *canvas.Drawing {
	m := spikeOf(u.Captures)
	if m == nil || len(m.Spikes.AmplitudeHist.Counts) == 0 {
		return nil
	}
	f := &canvas.Drawing{Sideways: true}
	add := func(h analysis.Histogram, what, unit string) {
		if len(h.Counts) == 0 || len(h.Edges) != len(h.Counts)+1 {
			return
		}
		lo, hi := extent(h.Edges)
		_, factor, prefix := capture.Prefixed(math.Max(math.Abs(lo), math.Abs(hi)), 3)
		p := newPanel(what+" in "+prefix+unit, "spikes")
		p.Add(grid{}, bars{edges: scaled(h.Edges, factor), counts: h.Counts, fill: canvas.Blue})
		f.Panels = append(f.Panels, p)
	}
	add(m.Spikes.AmplitudeHist, "spike peak", voltUnit(m))
	add(m.Spikes.IntervalHist, "interval to the next spike", "s")
	return f
}
