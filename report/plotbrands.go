package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/analysis/target"
	"stillglow/report/canvas"
)

// brandLimit is how many brands one strip plot holds.
const brandLimit = 12

// brandFigure is the strip plot: every unit's worst margin, a row per brand,
// with median and spread (1.4826 MAD), and how many pass. phone is for a phone:
// names and words stand over and under the row.
func brandFigure(r *Report, phone bool) *canvas.Drawing {
	n := min(len(r.Brands), brandLimit)
	if n == 0 {
		return nil
	}
	p := newPanel("worst margin in dB: right of 0 is inside the target", "")
	p.Y.Min, p.Y.Max = -0.6, float64(n)-0.4
	p.Y.LineStyle.Width = 0
	p.Y.Tick.LineStyle.Width = 0
	if p.Y.Tick.Marker = (brandTicks{r, n}); phone {
		p.Y.Tick.Marker = noTicks{}
		p.Y.Tick.Length = 0
	}
	p.X.Min, p.X.Max = brandExtent(r.Brands[:n])
	widen(&p.X, 0.08)
	if !phone {
		share := brandWordsShare(r.Brands[:n])
		p.X.Max += (p.X.Max - p.X.Min) * share / (1 - share)
	}
	p.Add(grid{}, zeroLine{})
	for i, b := range r.Brands[:n] {
		row := float64(n - 1 - i)
		addBrandRow(p, b, row)
		if phone {
			p.Add(note{x: p.X.Min, y: row + 0.44, xAlign: draw.XLeft, yAlign: draw.YTop, color: canvas.Ink, text: brandName(b)},
				note{x: p.X.Max, y: row - 0.5, xAlign: draw.XRight, yAlign: draw.YBottom, color: canvas.SoftInk, text: brandWords(b)})
			continue
		}
		p.Add(note{x: p.X.Max, y: row, xAlign: draw.XRight, yAlign: draw.YCenter, color: canvas.Ink, text: brandWords(b)})
	}
	d := &canvas.Drawing{Panels: []*plot.Plot{p}, Footer: "dot: passes; cross: over a limit; circle: undecided; thin bar: median; band: spread of the units; in brackets the likely pass rate of the brand (95 %)"}
	if failsRightOfZero(r.Brands[:n]) {
		d.Footer += "; the margins are of the output only: a cross right of 0 fails in common mode"
	}
	if phone {
		return narrow(d, vg.Length(56*n+90))
	}
	return d
}

// brandExtent is the range of margins to show in dB: all of the units' and the
// bands of their spread, at least 1 dB to either side of the target's edge.
func brandExtent(brands []target.Brand) (lowDB, highDB float64) {
	lowDB, highDB = -1, 1
	for _, b := range brands {
		for _, v := range append(append([]float64(nil), b.UnitWorstDB...), b.UndecidedDB...) {
			if finite(v) {
				lowDB, highDB = math.Min(lowDB, v), math.Max(highDB, v)
			}
		}
		if finite(b.SpreadDB) && finite(b.MedianDB) {
			lowDB, highDB = math.Min(lowDB, b.MedianDB-b.SpreadDB), math.Max(highDB, b.MedianDB+b.SpreadDB)
		}
	}
	return lowDB, highDB
}

// brandWordsShare is the share of the panel's width that the words at the right
// take, as the plot's own font measures them.
func brandWordsShare(brands []target.Brand) float64 {
	st, words, names := canvas.TextStyle(9.5, canvas.Ink), vg.Length(0), vg.Length(0)
	for _, b := range brands {
		words = max(words, st.Width(brandWords(b)))
		names = max(names, canvas.TextStyle(10, canvas.Ink).Width(brandName(b)))
	}
	return min(0.6, float64((words+18)/(canvas.Width-names-40)))
}

// addBrandRow draws a brand's units about the height row, over the band of their
// spread and under the bar of their median.
func addBrandRow(p *plot.Plot, b target.Brand, row float64) {
	if finite(b.SpreadDB) && b.SpreadDB > 0 {
		p.Add(curveOnly{curve{x: []float64{b.MedianDB - b.SpreadDB, b.MedianDB + b.SpreadDB}, y: []float64{row, row},
			line: draw.LineStyle{Color: canvas.PaleBlue, Width: vg.Points(9)}}})
	}
	passes := marks{shape: draw.CircleGlyph{}, color: canvas.Blue, size: vg.Points(3.6)}
	over := marks{shape: cross{}, color: canvas.Vermillion, size: vg.Points(3.6)}
	undecided := marks{shape: hollow{}, color: canvas.Blue, size: vg.Points(3.6)}
	place := func(m *marks, j int, v float64) {
		m.x, m.y = append(m.x, v), append(m.y, row+0.12*float64(j%3-1)) // units with equal margins stay apart
	}
	for j, v := range b.UnitWorstDB {
		switch {
		case !finite(v):
		case b.UnitPass[j]: // the shape is the verdict's: a unit inside every limit of the output may still fail by its common mode
			place(&passes, j, v)
		default:
			place(&over, j, v)
		}
	}
	for j, v := range b.UndecidedDB {
		if finite(v) {
			place(&undecided, j, v)
		}
	}
	p.Add(passes, over, undecided)
	if len(b.UnitWorstDB) > 0 {
		p.Add(curveOnly{curve{x: []float64{b.MedianDB, b.MedianDB}, y: []float64{row - 0.3, row + 0.3},
			line: draw.LineStyle{Color: canvas.Ink, Width: vg.Points(1.6)}}})
	}
}

// failsRightOfZero reports whether a unit that fails stands inside the target,
// since its brand's margins leave the common mode out.
func failsRightOfZero(brands []target.Brand) bool {
	for _, b := range brands {
		for j, v := range b.UnitWorstDB {
			if b.OneHalf && v >= 0 && !b.UnitPass[j] {
				return true
			}
		}
	}
	return false
}

func brandName(b target.Brand) string { return canvas.Text(shorten(clean(b.Name), 24)) }

// brandWords is "4 of 5 pass (28 to 99 %)".
func brandWords(b target.Brand) string { return fmt.Sprintf("%s (%s)", passText(b), shareText(b)) }

// noTicks leaves an axis bare.
type noTicks struct{}

func (noTicks) Ticks(_, _ float64) []plot.Tick { return nil }

// passText is "4 of 5 pass", or "0 of 1 pass, 2 undecided".
func passText(b target.Brand) string {
	s := fmt.Sprintf("%d of %d pass", b.Passing, b.Judged)
	if b.Undecided > 0 {
		s += fmt.Sprintf(", %d undecided", b.Undecided)
	}
	return s
}

// cross is a bold diagonal cross as a glyph.
type cross struct{}

func (cross) DrawGlyph(c *draw.Canvas, st draw.GlyphStyle, pt vg.Point) {
	line := draw.LineStyle{Color: st.Color, Width: vg.Points(1.5)}
	r := st.Radius
	c.StrokeLine2(line, pt.X-r, pt.Y-r, pt.X+r, pt.Y+r)
	c.StrokeLine2(line, pt.X-r, pt.Y+r, pt.X+r, pt.Y-r)
}

// zeroLine is the target's edge.
type zeroLine struct{}

func (zeroLine) Plot(c draw.Canvas, p *plot.Plot) {
	trX, _ := p.Transforms(&c)
	c.StrokeLine2(limitLine, trX(0), c.Min.Y, trX(0), c.Max.Y)
}

// hollow is a circle as a glyph, with a line as bold as the cross's.
type hollow struct{}

func (hollow) DrawGlyph(c *draw.Canvas, st draw.GlyphStyle, pt vg.Point) {
	c.SetLineStyle(draw.LineStyle{Color: st.Color, Width: vg.Points(1.3)})
	var p vg.Path
	p.Move(vg.Point{X: pt.X + st.Radius, Y: pt.Y})
	p.Arc(pt, st.Radius, 0, 2*math.Pi)
	p.Close()
	c.Stroke(p)
}

type brandTicks struct {
	r *Report
	n int
}

func (t brandTicks) Ticks(_, _ float64) []plot.Tick {
	var out []plot.Tick
	for i, b := range t.r.Brands[:t.n] {
		out = append(out, plot.Tick{Value: float64(t.n - 1 - i), Label: brandName(b)})
	}
	return out
}
