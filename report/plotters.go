package report

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/analysis"
	"stillglow/report/canvas"
)

// plotColumns is how many columns a drawn curve keeps: more than the plot has
// pixels across at 800 wide, so that nothing seen is lost.
const plotColumns = 1100

// grid draws hair lines at the ticks; minor ones fainter.
type grid struct{}

func (grid) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	// The faint lines first: lines of one look behind each other take one element.
	for _, st := range []draw.LineStyle{faintGrid, gridLine} {
		for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
			if t.Value >= p.X.Min && t.Value <= p.X.Max && t.IsMinor() == (st.Width == faintGrid.Width) {
				x := trX(t.Value)
				c.StrokeLine2(st, x, c.Min.Y, x, c.Max.Y)
			}
		}
		for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
			if t.Value >= p.Y.Min && t.Value <= p.Y.Max && t.IsMinor() == (st.Width == faintGrid.Width) {
				y := trY(t.Value)
				c.StrokeLine2(st, c.Min.X, y, c.Max.X, y)
			}
		}
	}
}

// reduce brings an envelope down to at most columns columns: the least of the
// least and the greatest of the greatest, so that no peak is lost.
func reduce(e analysis.Envelope, columns int) analysis.Envelope {
	n := len(e.MinV)
	if n <= columns || columns < 1 {
		return e
	}
	per := (n + columns - 1) / columns
	out := analysis.Envelope{StartS: e.StartS, StepS: e.StepS * float64(per)}
	for i := 0; i < n; i += per {
		lo, hi := e.MinV[i], e.MaxV[i]
		for j := i + 1; j < min(i+per, n); j++ {
			lo, hi = math.Min(lo, e.MinV[j]), math.Max(hi, e.MaxV[j])
		}
		out.MinV, out.MaxV = append(out.MinV, lo), append(out.MaxV, hi)
	}
	return out
}

// band draws the space between two curves with thin outlines.
type band struct {
	x, lo, hi []float64
	fill      color.Color
	line      draw.LineStyle
}

func (b band) DataRange() (xmin, xmax, ymin, ymax float64) {
	xmin, xmax = extent(b.x)
	ymin, _ = extent(b.lo)
	_, ymax = extent(b.hi)
	return
}

func (b band) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	n := len(b.x)
	if n == 0 {
		return
	}
	top, bottom := make([]vg.Point, n), make([]vg.Point, n)
	ring := make([]vg.Point, 0, 2*n)
	for i := range b.x {
		top[i] = vg.Point{X: trX(b.x[i]), Y: trY(b.hi[i])}
		bottom[i] = vg.Point{X: trX(b.x[i]), Y: trY(b.lo[i])}
	}
	ring = append(ring, top...)
	for i := n - 1; i >= 0; i-- {
		ring = append(ring, bottom[i])
	}
	c.FillPolygon(b.fill, c.ClipPolygonXY(ring))
	if b.line.Width > 0 {
		c.StrokeLines(b.line, c.ClipLinesXY(top)...)
		c.StrokeLines(b.line, c.ClipLinesXY(bottom)...)
	}
}

// curve is a polyline; points that are not finite break it.
type curve struct {
	x, y []float64
	line draw.LineStyle
}

func (k curve) DataRange() (xmin, xmax, ymin, ymax float64) {
	xmin, xmax = extent(k.x)
	ymin, ymax = extent(k.y)
	return
}

func (k curve) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	var run []vg.Point
	flush := func() {
		if len(run) > 1 {
			c.StrokeLines(k.line, c.ClipLinesXY(run)...)
		}
		run = run[:0]
	}
	for i := range k.x {
		if !finite(k.x[i]) || !finite(k.y[i]) {
			flush()
			continue
		}
		run = append(run, vg.Point{X: trX(k.x[i]), Y: trY(k.y[i])})
	}
	flush()
}

// thin reduces a curve to about columns columns, keeping the
// least and greatest y of each in the order they come.
func thin(x, y []float64, columns int) (tx, ty []float64) {
	n := min(len(x), len(y))
	if n <= 2*columns {
		return x[:n], y[:n]
	}
	per := (n + columns - 1) / columns
	for i := 0; i < n; i += per {
		lo, hi := i, i
		for j := i; j < min(i+per, n); j++ {
			if y[j] < y[lo] {
				lo = j
			}
			if y[j] > y[hi] {
				hi = j
			}
		}
		a, b := min(lo, hi), max(lo, hi)
		tx, ty = append(tx, x[a]), append(ty, y[a])
		if b > a {
			tx, ty = append(tx, x[b]), append(ty, y[b])
		}
	}
	return tx, ty
}

// marks draws glyphs at points.
type marks struct {
	x, y  []float64
	shape draw.GlyphDrawer
	color color.Color
	size  vg.Length
	lift  vg.Length // moved up (or down) from the point
}

func (m marks) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	st := draw.GlyphStyle{Color: m.color, Radius: m.size, Shape: m.shape}
	for i := range m.x {
		pt := vg.Point{X: trX(m.x[i]), Y: trY(m.y[i]) + m.lift}
		if pt.X >= c.Min.X && pt.X <= c.Max.X {
			c.DrawGlyphNoClip(st, pt)
		}
	}
}

// bars draws a histogram.
type bars struct {
	edges  []float64
	counts []int
	fill   color.Color
}

func (b bars) DataRange() (xmin, xmax, ymin, ymax float64) {
	xmin, xmax = extent(b.edges)
	for _, n := range b.counts {
		ymax = math.Max(ymax, float64(n))
	}
	return xmin, xmax, 0, ymax * 1.05
}

func (b bars) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	for i, n := range b.counts {
		if n == 0 || i+1 >= len(b.edges) {
			continue
		}
		x0, x1, y := trX(b.edges[i]), trX(b.edges[i+1]), trY(float64(n))
		c.FillPolygon(b.fill, []vg.Point{{X: x0 + 0.3, Y: c.Min.Y}, {X: x1 - 0.3, Y: c.Min.Y}, {X: x1 - 0.3, Y: y}, {X: x0 + 0.3, Y: y}})
	}
}

// note is a direct label at a data point, with a paper-coloured ground.
type note struct {
	x, y   float64 // data; with corner set, shares of the panel from its lower left
	text   string
	corner bool
	xAlign draw.XAlignment
	yAlign draw.YAlignment
	color  color.Color
	dx, dy vg.Length
}

func (n note) Plot(c draw.Canvas, p *plot.Plot) {
	pt := vg.Point{X: c.X(n.x), Y: c.Y(n.y)}
	if !n.corner {
		trX, trY := p.Transforms(&c)
		pt = vg.Point{X: trX(n.x), Y: trY(n.y)}
	}
	pt.X += n.dx
	pt.Y += n.dy
	st := canvas.TextStyle(9.5, n.color)
	st.XAlign, st.YAlign = n.xAlign, n.yAlign
	lines := []string{canvas.Text(n.text)}
	if n.corner { // a panel may be narrower than what is said of it
		lines = canvas.WrapText(lines[0], st, c.Max.X-c.Min.X-8)
	}
	ext := st.FontExtents()
	if n.yAlign == draw.YCenter { // gonum centres the box, which sits low by the descent
		pt.Y += ext.Descent / 2
	}
	if n.yAlign == draw.YBottom { // the last line stands where one alone would
		pt.Y += ext.Height * vg.Length(len(lines)-1)
	}
	for _, s := range lines {
		n.line(c, st, pt, s)
		pt.Y -= ext.Height
	}
}

// line writes a line of the note, kept inside the panel.
func (n note) line(c draw.Canvas, st text.Style, pt vg.Point, s string) {
	r := st.Rectangle(s).Add(pt)
	if over := r.Max.X - c.Max.X; over > 0 {
		pt.X -= over
		r = st.Rectangle(s).Add(pt)
	}
	if under := c.Min.X - r.Min.X; under > 0 {
		pt.X += under
		r = st.Rectangle(s).Add(pt)
	}
	c.SetColor(canvas.Veil)
	r.Min.X -= 1.5
	r.Max.X += 1.5
	c.Fill(r.Path())
	c.FillText(st, pt, s)
}

// key lists curves with their line style and name in the panel's upper right.
type key struct {
	names []string
	lines []draw.LineStyle
}

const keyRow = vg.Length(12.5)

// layout gives the key's ground, its texts cut to half the panel, and their style.
func (k key) layout(c draw.Canvas) (box vg.Rectangle, names []string, st text.Style) {
	st = canvas.TextStyle(9.5, canvas.Ink)
	st.YAlign = draw.YCenter
	var widest vg.Length
	for _, s := range k.names {
		s = canvas.FitText(canvas.Text(s), st, (c.Max.X-c.Min.X)/2)
		widest = max(widest, st.Width(s))
		names = append(names, s)
	}
	top := c.Max.Y - 3
	return vg.Rectangle{Min: vg.Point{X: c.Max.X - widest - 38, Y: top - keyRow*vg.Length(len(names))}, Max: vg.Point{X: c.Max.X, Y: top}}, names, st
}

func (k key) Plot(c draw.Canvas, p *plot.Plot) {
	box, names, st := k.layout(c)
	descent := st.FontExtents().Descent
	c.SetColor(canvas.Veil)
	c.Fill(box.Path())
	for i, s := range names {
		y := box.Max.Y - keyRow*(vg.Length(i)+0.5)
		c.StrokeLine2(k.lines[i], box.Min.X+4, y, box.Min.X+28, y)
		c.FillText(st, vg.Point{X: box.Min.X + 32, Y: y + descent/2}, s)
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// extent is the least and greatest finite value; both 0 for none.
func extent(v []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if finite(x) {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	if lo > hi {
		return 0, 0
	}
	return lo, hi
}

// logs is log10 of v, NaN where that has no meaning.
func logs(v []float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = math.NaN()
		if v[i] > 0 {
			out[i] = math.Log10(v[i])
		}
	}
	return out
}

// scaled is v divided by factor.
func scaled(v []float64, factor float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] / factor
	}
	return out
}
