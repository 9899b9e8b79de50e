package report

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/analysis"
	"stillglow/analysis/filter"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/report/canvas"
)

// spectrumPanel is a panel over log10 of hertz and of V/√Hz.
func spectrumPanel(unit string) *plot.Plot {
	p := newPanel("frequency in Hz", "noise density in "+unit+"/√Hz")
	p.X.Tick.Marker, p.Y.Tick.Marker = &keptTicks{of: logTicks{}}, &keptTicks{of: logTicks{}}
	p.Add(grid{})
	return p
}

// addDensity adds a density curve, thinned to columns, and takes it into the axes.
func addDensity(p *plot.Plot, hz, vrhz []float64, columns int, st draw.LineStyle) {
	x, y := thin(hz, vrhz, columns)
	x, y = logs(x), logs(y)
	for i := range x {
		if finite(x[i]) && finite(y[i]) {
			p.X.Min, p.X.Max = math.Min(p.X.Min, x[i]), math.Max(p.X.Max, x[i])
			p.Y.Min, p.Y.Max = math.Min(p.Y.Min, y[i]), math.Max(p.Y.Max, y[i])
		}
	}
	p.Add(curveOnly{curve{x: x, y: y, line: st}})
}

// settle rounds the density axis out to decades and reports whether there is
// anything to draw.
func settle(p *plot.Plot) bool {
	if !(p.X.Max > p.X.Min) || math.IsInf(p.Y.Max, 0) {
		return false
	}
	p.Y.Min = math.Floor(p.Y.Min)
	p.Y.Max = math.Ceil(p.Y.Max + 0.15) // room for line names
	return true
}

// spectra are the captures of a unit that have a spectrum, slow ones first.
func spectra(cs []Capture) []*analysis.Measurement {
	var out []*analysis.Measurement
	for _, c := range across(cs) {
		if c.M != nil && len(c.M.Spectrum.FrequencyHz) > 1 {
			out = append(out, c.M)
		}
	}
	slices.SortStableFunc(out, func(a, b *analysis.Measurement) int { return cmp.Compare(a.SampleRateHz, b.SampleRateHz) })
	return out
}

func spectrumName(m *analysis.Measurement) string {
	return fmt.Sprintf("%s at %s", eng(m.DurationS, "s"), eng(m.SampleRateHz, "S/s"))
}

// spectrumFigure draws the density of every capture with baseline, the named
// lines and the target's limits.
func spectrumFigure(u *Unit, t *target.Target, columns int) *canvas.Drawing {
	ms := spectra(u.Captures)
	if len(ms) == 0 {
		return nil
	}
	p := spectrumPanel(voltUnit(ms[0]))
	var k key
	for i, m := range ms {
		st := curveStyles[[]int{0, 2, 3, 4, 5}[i%5]]
		st.Dashes = nil // overlapping captures of one unit: thin solid lines stay legible
		st.Width = vg.Points(0.9)
		addDensity(p, m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, columns/2, st)
		name := spectrumName(m)
		if slices.ContainsFunc(ms, func(o *analysis.Measurement) bool { return o != m && spectrumName(o) == name }) {
			name += ", " + shorten(clean(path.Base(m.File)), 24) // two records alike but for their file
		}
		k.add(name, st)
	}
	for _, m := range ms {
		if len(m.Spectrum.BaselineVPerRtHz) == len(m.Spectrum.FrequencyHz) {
			addDensity(p, m.Spectrum.FrequencyHz, m.Spectrum.BaselineVPerRtHz, columns/4, baselineLine)
			k.addOnce("baseline (instrument)", baselineLine)
		}
	}
	if !settle(p) {
		return nil
	}
	if addLimits(p, t) {
		k.add("limit of the target", limitLine)
	}
	p.Add(lineNames{ms, k})
	p.Add(k)
	return &canvas.Drawing{Panels: []*plot.Plot{p}}
}

func (k *key) add(name string, st draw.LineStyle) {
	k.names, k.lines = append(k.names, name), append(k.lines, st)
}

func (k *key) addOnce(name string, st draw.LineStyle) {
	for _, n := range k.names {
		if n == name {
			return
		}
	}
	k.add(name, st)
}

// curveOnly hides a curve's range: the axes are set elsewhere.
type curveOnly struct{ c curve }

func (o curveOnly) Plot(c draw.Canvas, p *plot.Plot) { o.c.Plot(c, p) }

// addLimits draws the target's mask and its density limits; it reports whether
// there were any inside the panel.
func addLimits(p *plot.Plot, t *target.Target) bool {
	drawn := false
	for _, l := range t.Limits {
		x, y := limitCurve(l, math.Pow(10, p.X.Min), math.Pow(10, p.X.Max))
		if len(x) == 0 {
			continue
		}
		drawn = true
		x, y = logs(x), logs(y)
		lo, hi := extent(y)
		// A limit far off the measured curves does not squeeze them flat.
		p.Y.Max = math.Max(p.Y.Max, math.Min(math.Ceil(hi), p.Y.Max+2))
		p.Y.Min = math.Min(p.Y.Min, math.Max(math.Floor(lo), p.Y.Min-2))
		p.Add(curveOnly{curve{x: x, y: y, line: limitLine}})
	}
	return drawn
}

// limitCurve is a limit as a curve of density over frequency within lo to hi;
// empty for limits that are no density.
func limitCurve(l target.Limit, lo, hi float64) (x, y []float64) {
	flat := func(a, b float64) ([]float64, []float64) {
		a, b = math.Max(a, lo), math.Min(b, hi)
		if !(b > a) {
			return nil, nil
		}
		return []float64{a, b}, []float64{l.Max, l.Max}
	}
	switch l.Criterion {
	case target.Mask:
		for _, pt := range l.Points {
			if pt.Hz > 0 && pt.VPerRtHz > 0 {
				x, y = append(x, pt.Hz), append(y, pt.VPerRtHz)
			}
		}
		return x, y
	case target.Noise:
		return flat(l.NeedLowHz, l.NeedHighHz)
	case target.Density1k:
		return flat(900, 1100)
	case target.Density10k:
		return flat(9e3, 11e3)
	case target.Density100k:
		return flat(90e3, 110e3)
	default:
		return nil, nil
	}
}

// lineNames writes the names of the strongest lines above their peaks, without
// letting two overlap.
type lineNames struct {
	ms  []*analysis.Measurement
	key key // kept clear of
}

// maxLineNames keeps the picture readable.
const maxLineNames = 7

func (n lineNames) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	box, _, _ := n.key.layout(c)
	taken := []vg.Rectangle{box}
	for _, l := range pickLines(n.ms, math.Pow(10, p.X.Min), math.Pow(10, p.X.Max)) {
		st := canvas.TextStyle(9.5, canvas.Ink)
		s := canvas.Text(lineLabel(l.name))
		// The name stands right of its peak, where the next harmonics are lower,
		// else left of it, and a little higher where it must, a thin line down to its
		// peak; else it is left out.
		peak := vg.Point{X: trX(math.Log10(l.hz)), Y: trY(math.Min(math.Log10(l.vrhz), p.Y.Max)) - 3}
		right := min(peak.X+3, c.Max.X-st.Width(s)-2)
	places:
		for _, x := range []vg.Length{right, peak.X - 3 - st.Width(s)} {
			for rise := vg.Length(0); rise <= 30; rise += 10 {
				pt := vg.Point{X: x, Y: peak.Y + rise}
				r := st.Rectangle(s).Add(pt)
				if r.Max.Y > c.Max.Y || r.Min.X < c.Min.X {
					break
				}
				if !overlaps(r, taken) {
					taken = append(taken, r)
					if rise > 0 && (peak.X <= r.Min.X || peak.X >= r.Max.X) {
						c.StrokeLine2(draw.LineStyle{Color: canvas.SoftInk, Width: vg.Points(0.5)}, peak.X, peak.Y+3, peak.X, (r.Min.Y+r.Max.Y)/2)
					}
					c.FillText(st, pt, s)
					break places
				}
			}
		}
	}
}

// lineLabel is a line's name as a plot has room for it: "13th harmonic ± 10 x mains"
// for "switching 13th harmonic sideband at 10 x mains".
func lineLabel(name string) string {
	if line, by, found := strings.Cut(clean(name), " sideband at "); found {
		line = strings.TrimSuffix(line, " fundamental")
		if rest, long := strings.CutPrefix(line, "switching "); long {
			line = rest
		}
		return shorten(line+" ± "+by, 34)
	}
	return shorten(clean(name), 34)
}

type namedLine struct {
	name     string
	hz, vrhz float64
}

// pickLines takes the strongest named lines between two frequencies, each name
// once, with where their peak is drawn.
func pickLines(ms []*analysis.Measurement, loHz, hiHz float64) []namedLine {
	var out []namedLine
	seen := map[string]bool{}
	for _, m := range ms {
		lines := append([]spectrum.Line(nil), m.Lines...)
		slices.SortStableFunc(lines, func(a, b spectrum.Line) int { return cmp.Compare(b.RMSV, a.RMSV) })
		taken := 0
		for _, l := range lines {
			if l.Name == "" || seen[l.Name] || !(l.FrequencyHz >= loHz && l.FrequencyHz <= hiHz) || taken == maxLineNames/len(ms)+1 {
				continue
			}
			if v := peakNear(&m.Spectrum, l.FrequencyHz); v > 0 {
				seen[l.Name] = true
				out = append(out, namedLine{l.Name, l.FrequencyHz, v})
				taken++
			}
		}
	}
	return out
}

// peakNear is the spectrum's highest point within 3 % of hz.
func peakNear(s *spectrum.Curve, hz float64) float64 {
	v := 0.0
	i, _ := slices.BinarySearch(s.FrequencyHz, hz*0.97)
	for ; i < len(s.FrequencyHz) && i < len(s.VPerRtHz) && s.FrequencyHz[i] <= hz*1.03; i++ {
		if finite(s.VPerRtHz[i]) {
			v = math.Max(v, s.VPerRtHz[i])
		}
	}
	return v
}

func overlaps(r vg.Rectangle, taken []vg.Rectangle) bool {
	for _, t := range taken {
		if r.Min.X < t.Max.X+3 && t.Min.X < r.Max.X+3 && r.Min.Y < t.Max.Y && t.Min.Y < r.Max.Y {
			return true
		}
	}
	return false
}

// overlayLimit is how many units one overlay can hold and still be read.
const overlayLimit = 5

// overlayFigure lays the spectra of the first ranked units over each other.
func overlayFigure(r *Report, columns int) *canvas.Drawing {
	p := spectrumPanel("V")
	var k key
	for i := range r.Units {
		u := &r.Units[i]
		ms := spectra(u.Captures)
		if len(ms) == 0 || len(k.names) == overlayLimit {
			continue
		}
		st := curveStyles[len(k.names)]
		drawn := false
		for _, m := range ms {
			if !m.Calibrated {
				continue
			}
			addDensity(p, m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, columns/4, st)
			drawn = true
		}
		if drawn {
			k.add(fmt.Sprintf("%d  %s", i+1, unitName(u.Eval.Unit)), st)
		}
	}
	if len(k.names) < 2 || !settle(p) {
		return nil
	}
	if addLimits(p, &r.Target) {
		k.add("limit of the target", limitLine)
	}
	p.Add(k)
	return &canvas.Drawing{Panels: []*plot.Plot{p}}
}

// behindFilter names what a post-filter is predicted to leave, short enough for a
// phone's legend.
func behindFilter(r *filter.Result) string {
	return "predicted, " + string(r.Circuit.Topology) + " filter"
}

// filterFigure shows a unit's density before and after the advised post-filter.
func filterFigure(u *Unit, t *target.Target, columns int) *canvas.Drawing {
	if u.Filter == nil || !u.Filter.Found || len(u.Filter.Best.AfterVPerRtHz) < 2 {
		return nil
	}
	p := spectrumPanel("V")
	var k key
	after := &u.Filter.Best
	for _, m := range spectra(u.Captures) {
		st := draw.LineStyle{Color: canvas.SoftInk, Width: vg.Points(0.8)}
		addDensity(p, m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, columns/2, st)
		k.addOnce("measured", st)
	}
	addDensity(p, after.SpectrumHz, after.AfterVPerRtHz, columns/2, curveStyles[0])
	k.add(behindFilter(after), curveStyles[0])
	if !settle(p) {
		return nil
	}
	if addLimits(p, t) {
		k.add("limit of the target", limitLine)
	}
	p.Y.Max++ // a decade for the key, which takes a third of so low a panel
	p.Add(k)
	f := &canvas.Drawing{Panels: []*plot.Plot{p}}
	if w := filterWave(after.Wave, columns); w != nil {
		f.Panels = append(f.Panels, w)
	}
	return f
}

// filterWave draws some switching cycles ahead of the filter and behind it; nil
// when the waveform is not at hand.
func filterWave(w filter.Wave, columns int) *plot.Plot {
	if len(w.BeforeV) < 2 || len(w.AfterV) != len(w.BeforeV) {
		return nil
	}
	lo, hi := extent(w.BeforeV)
	_, voltFactor, voltPrefix := capture.Prefixed(math.Max(math.Abs(lo), math.Abs(hi)), 3)
	_, timeFactor, timePrefix := capture.Prefixed(w.StepS*float64(len(w.BeforeV)), 3)
	p := newPanel("time in "+timePrefix+"s", voltPrefix+"V about the mean")
	x := make([]float64, len(w.BeforeV))
	for i := range x {
		x[i] = w.StepS * float64(i) / timeFactor
	}
	var k key
	add := func(name string, v []float64, st draw.LineStyle) {
		cx, cy := thin(x, scaled(v, voltFactor), columns)
		p.Add(curve{x: cx, y: cy, line: st})
		k.add(name, st)
	}
	p.Add(grid{})
	add("measured", w.BeforeV, draw.LineStyle{Color: canvas.SoftInk, Width: vg.Points(0.8)})
	add("predicted", w.AfterV, curveStyles[0])
	widen(&p.Y, 0.08)
	p.Y.Max += (p.Y.Max - p.Y.Min) * 0.35 // the key's own room
	p.Add(k)
	return p
}
