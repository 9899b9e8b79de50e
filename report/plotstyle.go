package report

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/capture"
	"stillglow/report/canvas"
)

// curveStyles are taken in turn by the curves of one plot.
var curveStyles = []draw.LineStyle{
	{Color: canvas.Blue, Width: vg.Points(1.1)},
	{Color: canvas.Vermillion, Width: vg.Points(1.1), Dashes: []vg.Length{vg.Points(6), vg.Points(2)}},
	{Color: canvas.Green, Width: vg.Points(1.1), Dashes: []vg.Length{vg.Points(2), vg.Points(1.5)}},
	{Color: canvas.Purple, Width: vg.Points(1.3), Dashes: []vg.Length{vg.Points(8), vg.Points(2), vg.Points(2), vg.Points(2)}},
	{Color: canvas.Orange, Width: vg.Points(1.3), Dashes: []vg.Length{vg.Points(8), vg.Points(2), vg.Points(1.5), vg.Points(2), vg.Points(1.5), vg.Points(2)}},
	{Color: canvas.Sky, Width: vg.Points(1.3), Dashes: []vg.Length{vg.Points(1), vg.Points(1.5)}},
}

var (
	thinBlue     = draw.LineStyle{Color: canvas.Blue, Width: vg.Points(0.7)}
	baselineLine = draw.LineStyle{Color: canvas.SoftInk, Width: vg.Points(0.9), Dashes: []vg.Length{vg.Points(1.5), vg.Points(2)}}
	limitLine    = draw.LineStyle{Color: canvas.Ink, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(7), vg.Points(2), vg.Points(1.5), vg.Points(2)}}
	gridLine     = draw.LineStyle{Color: canvas.GridInk, Width: vg.Points(0.5)}
	faintGrid    = draw.LineStyle{Color: color.NRGBA{0xEE, 0xF0, 0xF3, 0xFF}, Width: vg.Points(0.4)}
)

// newPanel is an empty plot in the shared style.
func newPanel(xLabel, yLabel string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil // the figure paints it
	p.TextHandler, p.Title.TextStyle.Handler, p.Legend.TextStyle.Handler = canvas.Texts, canvas.Texts, canvas.Texts
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle = draw.LineStyle{Color: canvas.SoftInk, Width: vg.Points(0.6)}
		a.Tick.LineStyle = a.LineStyle
		a.Tick.Length = vg.Points(4)
		a.Tick.Label.Font = canvas.Sans(10, false)
		a.Tick.Label.Color = canvas.Ink
		a.Label.TextStyle.Font = canvas.Sans(10.5, false)
		a.Label.TextStyle.Color = canvas.Ink
		a.Label.Padding = vg.Points(3)
		a.Padding = 0
		a.Tick.Marker = &keptTicks{of: linearTicks{}}
		a.Tick.Label.Handler, a.Label.TextStyle.Handler = canvas.Texts, canvas.Texts
	}
	p.X.Label.Text, p.Y.Label.Text = xLabel, yLabel
	return p
}

// narrowWidth is that of a picture for a phone. There it is shown a little larger
// than drawn, so that its text is about 11 px high.
const narrowWidth = vg.Length(288)

// narrow makes a picture one for a phone, of a height in points, its panels one
// under the other.
func narrow(d *canvas.Drawing, height vg.Length) *canvas.Drawing {
	if d != nil {
		d.W, d.H, d.Sideways = narrowWidth, height, false
	}
	return d
}

// keptTicks are another's, worked out once for a range: a plot's layout asks for those
// of an axis some twenty times.
type keptTicks struct {
	of     plot.Ticker
	lo, hi float64
	ticks  []plot.Tick
}

func (k *keptTicks) Ticks(lo, hi float64) []plot.Tick {
	if k.ticks == nil || lo != k.lo || hi != k.hi {
		k.lo, k.hi, k.ticks = lo, hi, k.of.Ticks(lo, hi)
	}
	return k.ticks
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
	m, _, prefix := capture.Prefixed(math.Pow10(e), 3)
	if m < 0.5 || m > 999 {
		return fmt.Sprintf("1e%d", e)
	}
	return fmt.Sprintf("%.0f%s", m, prefix)
}
