package report

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"strings"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// All plots share one size, 16:9, and one style: dark ink on a light ground,
// the colours of Okabe and Ito (2008, "Color Universal Design", from memory),
// told apart by line style and direct labels too.
const (
	plotWidth  = 8 * vg.Inch
	plotHeight = 4.5 * vg.Inch
	plotDPI    = 160 // 1280 by 720 pixels: sharp at 800 wide on a dense screen
)

var (
	paper      = color.NRGBA{0xFF, 0xFF, 0xFF, 0xFF}
	ink        = color.NRGBA{0x1B, 0x20, 0x26, 0xFF}
	softInk    = color.NRGBA{0x56, 0x5E, 0x68, 0xFF}
	gridInk    = color.NRGBA{0xDD, 0xE1, 0xE6, 0xFF}
	blue       = color.NRGBA{0x00, 0x72, 0xB2, 0xFF}
	paleBlue   = color.NRGBA{0xB9, 0xD9, 0xEC, 0xFF}
	vermillion = color.NRGBA{0xD5, 0x5E, 0x00, 0xFF}
	green      = color.NRGBA{0x00, 0x9E, 0x73, 0xFF}
	purple     = color.NRGBA{0xCC, 0x79, 0xA7, 0xFF}
	orange     = color.NRGBA{0xE6, 0x9F, 0x00, 0xFF}
	sky        = color.NRGBA{0x56, 0xB4, 0xE9, 0xFF}
)

// curveStyles are taken in turn by the curves of one plot.
var curveStyles = []draw.LineStyle{
	{Color: blue, Width: vg.Points(1.1)},
	{Color: vermillion, Width: vg.Points(1.1), Dashes: []vg.Length{vg.Points(6), vg.Points(2)}},
	{Color: green, Width: vg.Points(1.1), Dashes: []vg.Length{vg.Points(2), vg.Points(1.5)}},
	{Color: purple, Width: vg.Points(1.3), Dashes: []vg.Length{vg.Points(8), vg.Points(2), vg.Points(2), vg.Points(2)}},
	{Color: orange, Width: vg.Points(1.3), Dashes: []vg.Length{vg.Points(4), vg.Points(2)}},
	{Color: sky, Width: vg.Points(1.3), Dashes: []vg.Length{vg.Points(1), vg.Points(1.5)}},
}

var (
	thinBlue     = draw.LineStyle{Color: blue, Width: vg.Points(0.7)}
	baselineLine = draw.LineStyle{Color: softInk, Width: vg.Points(0.9), Dashes: []vg.Length{vg.Points(1.5), vg.Points(2)}}
	limitLine    = draw.LineStyle{Color: ink, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(7), vg.Points(2), vg.Points(1.5), vg.Points(2)}}
	gridLine     = draw.LineStyle{Color: gridInk, Width: vg.Points(0.5)}
	faintGrid    = draw.LineStyle{Color: color.NRGBA{0xEE, 0xF0, 0xF3, 0xFF}, Width: vg.Points(0.4)}
)

func sans(size float64, bold bool) font.Font {
	f := font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(size)}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return f
}

func textStyle(size float64, c color.Color) text.Style {
	return text.Style{Color: c, Font: sans(size, false), Handler: plot.DefaultTextHandler}
}

// newPanel is an empty plot in the shared style.
func newPanel(xLabel, yLabel string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil // the figure paints it
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle = draw.LineStyle{Color: softInk, Width: vg.Points(0.6)}
		a.Tick.LineStyle = a.LineStyle
		a.Tick.Length = vg.Points(4)
		a.Tick.Label.Font = sans(10, false)
		a.Tick.Label.Color = ink
		a.Label.TextStyle.Font = sans(10.5, false)
		a.Label.TextStyle.Color = ink
		a.Label.Padding = vg.Points(3)
		a.Padding = 0
		a.Tick.Marker = linearTicks{}
	}
	p.X.Label.Text, p.Y.Label.Text = xLabel, yLabel
	return p
}

// figure is one picture: a title over one or two panels.
type drawing struct {
	title    string
	footer   string // e.g. "invented data"
	panels   []*plot.Plot
	sideways bool // panels side by side
}

// draw paints the paper and lays the figure out on a canvas.
func (f *drawing) draw(c draw.Canvas) {
	c.SetColor(paper)
	c.Fill(c.Rectangle.Path())
	f.drawOn(c)
}

// drawOn lays the figure out on paper.
func (f *drawing) drawOn(c draw.Canvas) {
	c = draw.Crop(c, vg.Points(8), -vg.Points(12), vg.Points(6), -vg.Points(7))
	if f.title != "" {
		st := textStyle(12, ink)
		st.Font = sans(12, true)
		st.YAlign = draw.YTop
		c.FillText(st, vg.Point{X: c.Min.X, Y: c.Max.Y}, fitText(plotText(f.title), st, c.Max.X-c.Min.X))
		c.Max.Y -= vg.Points(20)
	}
	if f.footer != "" {
		st := textStyle(8.5, softInk)
		st.XAlign = draw.XRight
		c.FillText(st, vg.Point{X: c.Max.X, Y: c.Min.Y}, plotText(f.footer))
		c.Min.Y += vg.Points(11)
	}
	rows, cols := len(f.panels), 1
	if f.sideways {
		rows, cols = 1, len(f.panels)
	}
	grid := make([][]*plot.Plot, rows)
	for i := range grid {
		grid[i] = f.panels[i*cols : (i+1)*cols]
	}
	tiles := draw.Tiles{Rows: rows, Cols: cols, PadX: vg.Points(14), PadY: vg.Points(8)}
	for i, row := range plot.Align(grid, tiles, c) {
		for j, cell := range row {
			grid[i][j].Draw(cell)
		}
	}
}

// svg renders the figure as a file of its own.
func (f *drawing) svg() ([]byte, error) {
	c := vgsvg.New(plotWidth, plotHeight)
	f.draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("writing a plot: %w", err)
	}
	return b.Bytes(), nil
}

// plotText is a text that the plots' font can show: what it has no glyph for
// (emoji) becomes a box.
func plotText(s string) string {
	face := font.DefaultCache.Lookup(sans(10, false), vg.Points(10))
	if face.Face == nil {
		return clean(s)
	}
	var buf sfnt.Buffer
	return strings.Map(func(r rune) rune {
		if r == 0x200D || r >= 0xFE00 && r <= 0xFE0F { // emoji joiner and variant marks
			return -1
		}
		if i, err := face.Face.GlyphIndex(&buf, r); err != nil || i == 0 {
			return '□'
		}
		return r
	}, clean(s))
}

// fitText cuts s with an ellipsis to a width.
func fitText(s string, st text.Style, width vg.Length) string {
	for r := []rune(s); st.Width(s) > width && len(r) > 1; {
		r = r[:len(r)-1]
		s = strings.TrimRight(string(r), " ") + "…"
	}
	return s
}

// linearTicks marks 1-2-5 steps, about six of them.
type linearTicks struct{}

func (linearTicks) Ticks(lo, hi float64) []plot.Tick {
	step, decimals := niceStep((hi - lo) / 6)
	if step == 0 {
		return nil
	}
	var out []plot.Tick
	for i := math.Ceil(lo/step - 1e-9); i*step <= hi+1e-9*step; i++ {
		v := i * step
		if v == 0 {
			v = 0 // no "-0"
		}
		out = append(out, plot.Tick{Value: v, Label: fmt.Sprintf("%.*f", decimals, v)})
	}
	return out
}

// niceStep rounds a step up to 1, 2 or 5 times a power of ten.
func niceStep(raw float64) (step float64, decimals int) {
	if !(raw > 0) || math.IsInf(raw, 0) {
		return 0, 0
	}
	e := math.Floor(math.Log10(raw))
	base := math.Pow(10, e)
	for _, m := range []float64{1, 2, 5, 10} {
		if raw <= m*base*(1+1e-9) {
			step = m * base
			break
		}
	}
	return step, max(0, -int(math.Floor(math.Log10(step)+1e-9)))
}

// logTicks marks decades of an axis that runs over log10 of its quantity, with SI
// prefixes ("10k"), and 2 to 9 between as minor. With many decades every second
// or third is labelled. (gonum's LogScale misplaces the axis label and pads the
// panel for it, so logarithms are taken before plotting.)
type logTicks struct{}

func (logTicks) Ticks(lo, hi float64) []plot.Tick {
	if !(hi > lo) || math.IsInf(hi-lo, 0) {
		return nil
	}
	first, last := int(math.Floor(lo+1e-9)), int(math.Ceil(hi-1e-9))
	every := 1 + (last-first)/10
	var out []plot.Tick
	for e := first; e <= last; e++ {
		label := ""
		if e%every == 0 {
			label = decadeLabel(e)
		}
		if v := float64(e); v >= lo-1e-9 && v <= hi+1e-9 {
			out = append(out, plot.Tick{Value: v, Label: label})
		}
		for m := 2.0; m < 10 && every == 1; m++ {
			if w := float64(e) + math.Log10(m); w >= lo && w <= hi {
				out = append(out, plot.Tick{Value: w})
			}
		}
	}
	return out
}

// decadeLabel is 10^e with an SI prefix: "100", "1k", "10n".
func decadeLabel(e int) string {
	p := int(math.Floor(float64(e) / 3))
	prefix, ok := prefixes[p]
	if !ok {
		return fmt.Sprintf("1e%d", e)
	}
	return strings.TrimSpace(fmt.Sprintf("%.0f%s", math.Pow(10, float64(e-3*p)), prefix))
}
