package canvas

import (
	"image/color"
	"testing"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// onCanvas is a plotter of a test's own drawing.
type onCanvas func(c *draw.Canvas)

func (f onCanvas) Plot(c draw.Canvas, _ *plot.Plot) { f(&c) }

// Whatever changes a picture changes its digest, and nothing else does.
func TestDigestOfAPicture(t *testing.T) {
	of := func(title string, f func(c *draw.Canvas)) string {
		p := plot.New()
		p.Add(onCanvas(f))
		return (&Drawing{Title: title, Panels: []*plot.Plot{p}}).Digest()
	}
	line := func(c *draw.Canvas, colour color.Color, width vg.Length, dashes []vg.Length, x float64) {
		c.StrokeLine2(draw.LineStyle{Color: colour, Width: width, Dashes: dashes}, 10, 10, vg.Length(x), 20)
	}
	area := func(c *draw.Canvas, colour color.Color) {
		c.FillPolygon(colour, []vg.Point{{X: 1, Y: 1}, {X: 9, Y: 1}, {X: 5, Y: 9}})
	}
	plain := func(c *draw.Canvas) { line(c, Blue, 1, nil, 20) }
	first := of("Title", plain)
	if of("Title", plain) != first {
		t.Error("two digests of one picture")
	}
	seen := map[string]string{first: "the first"}
	for what, d := range map[string]string{
		"title":        of("Other title", plain),
		"no line":      of("Title", func(*draw.Canvas) {}),
		"end":          of("Title", func(c *draw.Canvas) { line(c, Blue, 1, nil, 20.0000001) }),
		"colour":       of("Title", func(c *draw.Canvas) { line(c, Green, 1, nil, 20) }),
		"transparency": of("Title", func(c *draw.Canvas) { line(c, color.NRGBA{Blue.R, Blue.G, Blue.B, 0xFE}, 1, nil, 20) }),
		"width":        of("Title", func(c *draw.Canvas) { line(c, Blue, 1.5, nil, 20) }),
		"dashes":       of("Title", func(c *draw.Canvas) { line(c, Blue, 1, []vg.Length{2, 3}, 20) }),
		"other dashes": of("Title", func(c *draw.Canvas) { line(c, Blue, 1, []vg.Length{3, 2}, 20) }),
		"twice":        of("Title", func(c *draw.Canvas) { plain(c); plain(c) }),
		"area":         of("Title", func(c *draw.Canvas) { area(c, Blue) }),
		"its colour":   of("Title", func(c *draw.Canvas) { area(c, Sky) }),
		"text":         of("Title", func(c *draw.Canvas) { c.FillText(TextStyle(9, Ink), vg.Point{X: 3, Y: 3}, "ripple 3 mV") }),
		"other text":   of("Title", func(c *draw.Canvas) { c.FillText(TextStyle(9, Ink), vg.Point{X: 3, Y: 3}, "ripple 4 mV") }),
		"its size":     of("Title", func(c *draw.Canvas) { c.FillText(TextStyle(10, Ink), vg.Point{X: 3, Y: 3}, "ripple 3 mV") }),
		"turned": of("Title", func(c *draw.Canvas) {
			c.Push()
			c.Rotate(1)
			plain(c)
			c.Pop()
		}),
	} {
		if other, taken := seen[d]; taken {
			t.Errorf("%s: the digest of %s", what, other)
		}
		seen[d] = what
	}
}
