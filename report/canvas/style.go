package canvas

import (
	"image/color"
	"strings"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stillglow/capture"
)

// All plots share one size, 16:9, and one style: dark ink on a light ground,
// the colours of Okabe and Ito (2008, "Color Universal Design", from memory),
// told apart by line style and direct labels too.
const (
	Width  = 8 * vg.Inch
	Height = 4.5 * vg.Inch
	DPI    = 160 // 1280 by 720 pixels: sharp at 800 wide on a dense screen
)

// The colours: paper, ink and grids in greys, curves in the palette of Okabe and Ito,
// which colour-blind readers tell apart. Its three light ones are darker here, so that
// a thin line stands out from paper 3 to 1 (WCAG 2.2, criterion 1.4.11).
var (
	Paper      = color.NRGBA{0xFF, 0xFF, 0xFF, 0xFF}
	Veil       = color.NRGBA{0xFF, 0xFF, 0xFF, 0xD8} // behind words on curves
	Ink        = color.NRGBA{0x1B, 0x20, 0x26, 0xFF}
	SoftInk    = color.NRGBA{0x56, 0x5E, 0x68, 0xFF}
	GridInk    = color.NRGBA{0xDD, 0xE1, 0xE6, 0xFF}
	Blue       = color.NRGBA{0x00, 0x72, 0xB2, 0xFF}
	PaleBlue   = color.NRGBA{0xB9, 0xD9, 0xEC, 0xFF}
	Vermillion = color.NRGBA{0xD5, 0x5E, 0x00, 0xFF}
	Green      = color.NRGBA{0x00, 0x9E, 0x73, 0xFF}
	Purple     = color.NRGBA{0xC0, 0x6A, 0x9B, 0xFF}
	Orange     = color.NRGBA{0xBD, 0x82, 0x00, 0xFF}
	Sky        = color.NRGBA{0x3A, 0x94, 0xCD, 0xFF}
)

// Sans is the plots' type, size in points.
func Sans(size float64, bold bool) font.Font {
	f := font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(size)}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return f
}

// TextStyle is a text of a size in points and a colour.
func TextStyle(size float64, c color.Color) text.Style {
	return text.Style{Color: c, Font: Sans(size, false), Handler: Texts}
}

// Drawing is one picture: a title over one or two panels.
type Drawing struct {
	Title    string       // above the panels
	Footer   string       // e.g. "invented data"
	Panels   []*plot.Plot // one, or two side by side
	Sideways bool         // panels side by side
	W, H     vg.Length    // in the page; 0: Width and Height
	Coarse   bool         // in the page: curves to whole units, for a page of many pictures
}

// size is what the picture takes in the page.
func (f *Drawing) size() (w, h vg.Length) {
	if f.W > 0 && f.H > 0 {
		return f.W, f.H
	}
	return Width, Height
}

// draw paints the paper and lays the picture out on a canvas.
func (f *Drawing) draw(c draw.Canvas) {
	c.SetColor(Paper)
	c.Fill(c.Rectangle.Path())
	f.drawOn(c)
}

// drawOn lays the picture out on paper.
func (f *Drawing) drawOn(c draw.Canvas) {
	c = draw.Crop(c, vg.Points(8), -vg.Points(12), vg.Points(6), -vg.Points(7))
	if f.Title != "" {
		st := TextStyle(12, Ink)
		st.Font = Sans(12, true)
		st.YAlign = draw.YTop
		c.FillText(st, vg.Point{X: c.Min.X, Y: c.Max.Y}, FitText(Text(f.Title), st, c.Max.X-c.Min.X))
		c.Max.Y -= vg.Points(20)
	}
	if f.Footer != "" {
		st := TextStyle(8.5, SoftInk)
		if c.Max.X-c.Min.X < Width/2 { // drawn for a phone, where it stands over less
			st = TextStyle(9.5, SoftInk)
		}
		st.XAlign = draw.XRight
		lines := WrapText(Text(f.Footer), st, c.Max.X-c.Min.X)
		for i := range lines {
			c.FillText(st, vg.Point{X: c.Max.X, Y: c.Min.Y}, lines[len(lines)-1-i])
			c.Min.Y += st.Font.Size + vg.Points(2)
		}
		c.Min.Y += vg.Points(0.5)
	}
	rows, cols := len(f.Panels), 1
	if f.Sideways {
		rows, cols = 1, len(f.Panels)
	}
	grid := make([][]*plot.Plot, rows)
	for i := range grid {
		grid[i] = f.Panels[i*cols : (i+1)*cols]
	}
	tiles := draw.Tiles{Rows: rows, Cols: cols, PadX: vg.Points(14), PadY: vg.Points(8)}
	for i, row := range plot.Align(grid, tiles, c) {
		for j, cell := range row {
			grid[i][j].Draw(cell)
		}
	}
}

// Text is a text that the plots' font can show: what it has no glyph for
// (emoji) becomes a box.
func Text(s string) string {
	face := font.DefaultCache.Lookup(Sans(10, false), vg.Points(10))
	if face.Face == nil {
		return strings.Join(strings.Fields(capture.OneLine(s)), " ")
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
	}, strings.Join(strings.Fields(capture.OneLine(s)), " "))
}

// FitText cuts s with an ellipsis to a width.
func FitText(s string, st text.Style, width vg.Length) string {
	r := []rune(s)
	for n := len(r) - 1; st.Width(s) > width && n > 0; n-- {
		tail := n / 3
		s = strings.TrimRight(string(r[:n-tail]), " ") + "…" + strings.TrimLeft(string(r[len(r)-tail:]), " ")
	}
	return s
}

// WrapText breaks a text at spaces into lines of the width.
func WrapText(s string, st text.Style, width vg.Length) []string {
	lines := Wrap(s, func(line string) bool { return st.Width(line) <= width })
	if len(lines) == 0 {
		return []string{""}
	}
	last := len(lines) - 1
	lines[last] = FitText(lines[last], st, width)
	return lines
}

// Wrap breaks a text at spaces into lines that fit; a word that doesn't stands by itself.
func Wrap(s string, fits func(line string) bool) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if next := strings.TrimSpace(line + " " + word); line == "" || fits(next) {
			line = next
			continue
		}
		lines = append(lines, line)
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
