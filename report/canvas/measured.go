package canvas

import (
	"math"
	"strings"
	"sync"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// Texts draws and measures the text of all pictures.
var Texts = newMeasuredText()

// measuredText draws and measures text as text.Plain does, and measures a text and a
// font once: a plot is laid out three times, for the picture, the file and the
// page, and all plots share their ticks' labels.
type measuredText struct {
	text.Plain
	mu      sync.Mutex
	widths  map[measuredKey]vg.Length
	extents map[font.Font]font.Extents
}

type measuredKey struct {
	text string
	font font.Font
}

// mostMeasured bounds what is remembered; beyond it everything is measured anew.
const mostMeasured = 1 << 14

func newMeasuredText() *measuredText {
	return &measuredText{Plain: text.Plain{Fonts: font.DefaultCache}, widths: map[measuredKey]vg.Length{}, extents: map[font.Font]font.Extents{}}
}

// Extents is text.Plain's: a font's height above the base line and depth under it.
func (t *measuredText) Extents(fnt font.Font) font.Extents {
	t.mu.Lock()
	defer t.mu.Unlock()
	ext, known := t.extents[fnt]
	if !known {
		ext = t.Plain.Extents(fnt)
		t.extents[fnt] = ext
	}
	return ext
}

// Box is text.Plain's: the text's width, its height above the base line and its
// depth under it.
func (t *measuredText) Box(txt string, fnt font.Font) (width, height, depth vg.Length) {
	key := measuredKey{txt, fnt}
	t.mu.Lock()
	width, known := t.widths[key]
	t.mu.Unlock()
	if !known {
		face := t.Fonts.Lookup(fnt, fnt.Size)
		width = face.Width(txt)
		t.mu.Lock()
		if len(t.widths) >= mostMeasured {
			clear(t.widths)
		}
		t.widths[key] = width
		t.mu.Unlock()
	}
	ext := t.Extents(fnt)
	return width, ext.Ascent, ext.Descent
}

// Draw is text.Plain's for a single line, with what is measured already.
func (t *measuredText) Draw(c vg.Canvas, txt string, sty text.Style, pt vg.Point) {
	if txt == "" || strings.Contains(txt, "\n") {
		t.Plain.Draw(c, txt, sty, pt)
		return
	}
	c.SetColor(sty.Color)
	if sty.Rotation != 0 {
		c.Push()
		defer c.Pop()
		c.Rotate(sty.Rotation)
		sin, cos := math.Sincos(sty.Rotation)
		pt = vg.Point{X: pt.Y*vg.Length(sin) + pt.X*vg.Length(cos), Y: pt.Y*vg.Length(cos) - pt.X*vg.Length(sin)}
	}
	width, ascent, _ := t.Box(txt, sty.Font)
	pt.X += vg.Length(sty.XAlign) * width
	pt.Y += sty.Height(txt)*vg.Length(sty.YAlign) - ascent + sty.Font.Size
	c.FillString(t.Fonts.Lookup(sty.Font, sty.Font.Size), pt, txt)
}
