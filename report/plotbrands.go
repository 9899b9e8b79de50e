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
// with median and spread (1.4826 MAD), and how many pass. narrow is for a phone:
// names and words stand over and under the row.
func brandFigure(r *Report, narrow bool) *canvas.Drawing {
	n := min(len(r.Brands), brandLimit)
	if n == 0 {
		return nil
	}
	p := newPanel("worst margin in dB: right of 0 is inside the target", "")
	p.Y.Min, p.Y.Max = -0.6, float64(n)-0.4
	p.Y.LineStyle.Width = 0
	p.Y.Tick.LineStyle.Width = 0
	if p.Y.Tick.Marker = (brandTicks{r, n}); narrow {
		p.Y.Tick.Marker = noTicks{}
		p.Y.Tick.Length = 0
	}
	p.X.Min, p.X.Max = -1, 1
	for _, b := range r.Brands[:n] {
		for _, v := range append(append([]float64(nil), b.UnitWorstDB...), b.UndecidedDB...) {
			if finite(v) {
				p.X.Min, p.X.Max = math.Min(p.X.Min, v), math.Max(p.X.Max, v)
			}
		}
		if finite(b.SpreadDB) && finite(b.MedianDB) {
			p.X.Min, p.X.Max = math.Min(p.X.Min, b.MedianDB-b.SpreadDB), math.Max(p.X.Max, b.MedianDB+b.SpreadDB)
		}
	}
	widen(&p.X, 0.08)
	if !narrow {
		// Room for the words at the right, as the plot's own font measures them.
		st, words, names := canvas.TextStyle(9.5, canvas.Ink), vg.Length(0), vg.Length(0)
		for _, b := range r.Brands[:n] {
			words = max(words, st.Width(brandWords(b)))
			names = max(names, canvas.TextStyle(10, canvas.Ink).Width(brandName(b)))
		}
		share := min(0.6, float64((words+18)/(canvas.Width-names-40)))
		p.X.Max += (p.X.Max - p.X.Min) * share / (1 - share)
	}
	p.Add(grid{}, zeroLine{})
	for i, b := range r.Brands[:n] {
		row := float64(n - 1 - i)
		if finite(b.SpreadDB) && b.SpreadDB > 0 {
			p.Add(curveOnly{curve{x: []float64{b.MedianDB - b.SpreadDB, b.MedianDB + b.SpreadDB}, y: []float64{row, row},
				line: draw.LineStyle{Color: canvas.PaleBlue, Width: vg.Points(9)}}})
		}
		m := marks{shape: draw.CircleGlyph{}, color: canvas.Blue, size: vg.Points(3.6)}
		out := marks{shape: cross{}, color: canvas.Vermillion, size: vg.Points(3.6)}
		for j, v := range b.UnitWorstDB {
			if !finite(v) {
				continue
			}
			y := row + 0.12*float64(j%3-1) // units with equal margins stay apart
			// The shape is the verdict's: a unit inside every limit of the output
			// may still fail by its common mode.
			if b.UnitPass[j] {
				m.x, m.y = append(m.x, v), append(m.y, y)
			} else {
				out.x, out.y = append(out.x, v), append(out.y, y)
			}
		}
		undecided := marks{shape: draw.RingGlyph{}, color: canvas.Blue, size: vg.Points(3.6)}
		for j, v := range b.UndecidedDB {
			if finite(v) {
				undecided.x, undecided.y = append(undecided.x, v), append(undecided.y, row+0.12*float64(j%3-1))
			}
		}
		p.Add(m, out, undecided)
		if len(b.UnitWorstDB) > 0 {
			p.Add(curveOnly{curve{x: []float64{b.MedianDB, b.MedianDB}, y: []float64{row - 0.3, row + 0.3},
				line: draw.LineStyle{Color: canvas.Ink, Width: vg.Points(1.6)}}})
		}
		if narrow {
			p.Add(note{x: p.X.Min, y: row + 0.44, xAlign: draw.XLeft, yAlign: draw.YTop, color: canvas.Ink, text: brandName(b)},
				note{x: p.X.Max, y: row - 0.5, xAlign: draw.XRight, yAlign: draw.YBottom, color: canvas.SoftInk, text: brandWords(b)})
			continue
		}
		p.Add(note{x: p.X.Max, y: row, xAlign: draw.XRight, yAlign: draw.YCenter, color: canvas.Ink, text: brandWords(b)})
	}
	d := &canvas.Drawing{Panels: []*plot.Plot{p}, Footer: "dot: passes; cross: over a limit; ring: undecided; thin bar: median; band: spread of the units; in brackets the likely pass rate of the brand (95 %)"}
	if failsRightOfZero(r.Brands[:n]) {
		d.Footer += "; the margins are of the output only: a cross right of 0 fails in common mode"
	}
	if narrow {
		d.W, d.H = narrowWidth, vg.Length(56*n+70)
	}
	return d
}

// failsRightOfZero tells whether a unit that fails stands inside the target,
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

// narrowWidth is that of a picture for a phone: text keeps the size of the page's.
const narrowWidth = vg.Length(340)

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
