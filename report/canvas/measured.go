package canvas

import (
	"sync"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// Texts draws and measures the text of all pictures.
var Texts = newMeasuredText()

// measuredText draws and measures text as text.Plain does, and measures a text of
// one font once: a plot is laid out three times, for the picture, the file and the
// page, and all plots share their ticks' labels.
type measuredText struct {
	text.Plain
	mu     sync.Mutex
	widths map[measuredKey]vg.Length
}

type measuredKey struct {
	text string
	font font.Font
}

// mostMeasured bounds what is remembered; beyond it everything is measured anew.
const mostMeasured = 1 << 14

func newMeasuredText() *measuredText {
	return &measuredText{Plain: text.Plain{Fonts: font.DefaultCache}, widths: map[measuredKey]vg.Length{}}
}

// Box is text.Plain's: the text's width, its height above the base line and its
// depth under it.
func (t *measuredText) Box(txt string, fnt font.Font) (width, height, depth vg.Length) {
	face := t.Fonts.Lookup(fnt, fnt.Size)
	key := measuredKey{txt, fnt}
	t.mu.Lock()
	width, known := t.widths[key]
	t.mu.Unlock()
	if !known {
		width = face.Width(txt)
		t.mu.Lock()
		if len(t.widths) >= mostMeasured {
			clear(t.widths)
		}
		t.widths[key] = width
		t.mu.Unlock()
	}
	ext := face.Extents()
	return width, ext.Ascent, ext.Descent
}
