package canvas

import (
	"fmt"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// svgCanvas is a vg.Canvas for pictures inside the page and files of their own.
// gonum's own SVG canvas writes style attributes, which the page's content security
// policy forbids, absolute coordinates in five digits, which make a page of 25 units
// twice too large, and no lengths of texts, which then run out of their places on a
// machine with other fonts. This one writes presentation attributes, in the page a
// class per colour (so that its dark look can recolour them), and relative tenths of
// a point. It knows what the plots here use: lines, filled polygons, circles, text and
// right-angled rotation.
type svgCanvas struct {
	w, h  vg.Length
	file  bool // of its own: it has no style sheet, so colours stand in it
	grain int  // of paths, in tenths of a unit; 0: one
	b     strings.Builder
	open  string // the start of the path that is still being written, "" none
	group string // the start of the group of texts that is still open, "" none
	stack []svgState
}

type svgState struct {
	colour color.Color
	width  vg.Length
	dashes []vg.Length
	// transform: x' = a x + c y + e, y' = b x + d y + f in points, y up
	a, b, c, d, e, f float64
}

func newSVGCanvas(w, h vg.Length) *svgCanvas {
	s := &svgCanvas{w: w, h: h, stack: []svgState{{a: 1, d: 1}}}
	vg.Initialize(s)
	return s
}

// Inline draws the picture as markup for the page. label is its text alternative.
func (f *Drawing) Inline(label string) string {
	w, h := f.size()
	c := newSVGCanvas(w, h)
	if f.Coarse {
		c.grain = 10
	}
	return fmt.Sprintf(`<svg class="plot" role="img" aria-label="%s" viewBox="0 0 %g %g">%s</svg>`,
		html.EscapeString(label), w.Points(), h.Points(), c.markup(f))
}

// SVG renders the picture as a file of its own.
func (f *Drawing) SVG() []byte {
	c := newSVGCanvas(Width, Height)
	c.file = true
	return fmt.Appendf(nil, `<?xml version="1.0"?>
<svg xmlns="http://www.w3.org/2000/svg" width="%gpt" height="%gpt" viewBox="0 0 %[1]g %[2]g" font-family="'Liberation Sans',Arial,Helvetica,sans-serif">%[3]s</svg>
`, Width.Points(), Height.Points(), c.markup(f))
}

// markup draws a picture and gives what stands in its svg element.
func (s *svgCanvas) markup(f *Drawing) string {
	f.draw(draw.New(s))
	s.close()
	s.closeGroup()
	return s.b.String()
}

// strokeLook and fillLook are a colour's attributes of lines, areas and texts.
func (s *svgCanvas) strokeLook(c color.Color) string {
	if s.file {
		return `fill="none" stroke="` + hexColour(c) + `"`
	}
	return `class="s` + colourClass(c) + `"`
}

func (s *svgCanvas) fillLook(c color.Color) string {
	if s.file {
		look := `fill="` + hexColour(c) + `"`
		if a := nrgba(c).A; a < 0xFF {
			look += fmt.Sprintf(` fill-opacity="%.2g"`, float64(a)/0xFF)
		}
		return look
	}
	return `class="f` + colourClass(c) + `"`
}

func (s *svgCanvas) top() *svgState                         { return &s.stack[len(s.stack)-1] }
func (s *svgCanvas) Size() (w, h vg.Length)                 { return s.w, s.h }
func (s *svgCanvas) SetLineWidth(w vg.Length)               { s.top().width = w }
func (s *svgCanvas) SetLineDash(d []vg.Length, _ vg.Length) { s.top().dashes = d }
func (s *svgCanvas) SetColor(c color.Color)                 { s.top().colour = c }
func (s *svgCanvas) Push()                                  { s.stack = append(s.stack, *s.top()) }
func (s *svgCanvas) Pop()                                   { s.stack = s.stack[:len(s.stack)-1] }
func (s *svgCanvas) Translate(pt vg.Point)                  { s.apply(1, 0, 0, 1, pt.X.Points(), pt.Y.Points()) }
func (s *svgCanvas) Scale(x, y float64)                     { s.apply(x, 0, 0, y, 0, 0) }
func (s *svgCanvas) DrawImage(_ vg.Rectangle, _ image.Image) {
	panic("report: no images in page plots")
}

func (s *svgCanvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	s.apply(cos, sin, -sin, cos, 0, 0)
}

func (s *svgCanvas) apply(a, b, c, d, e, f float64) {
	t := s.top()
	t.a, t.b, t.c, t.d, t.e, t.f = t.a*a+t.c*b, t.b*a+t.d*b, t.a*c+t.c*d, t.b*c+t.d*d, t.a*e+t.c*f+t.e, t.b*e+t.d*f+t.f
}

// at is a point in tenths of an SVG unit, y down.
func (s *svgCanvas) at(p vg.Point) (x, y int) {
	t := s.top()
	px, py := p.X.Points(), p.Y.Points()
	return int(math.Round(10 * (t.a*px + t.c*py + t.e))), int(math.Round(10 * (s.h.Points() - (t.b*px + t.d*py + t.f))))
}

func (s *svgCanvas) Stroke(p vg.Path) {
	t := s.top()
	if t.width <= 0 {
		return
	}
	start := fmt.Sprintf(`<path %s stroke-width="%s"`, s.strokeLook(t.colour), tenths(int(math.Round(10*t.width.Points()))))
	if len(t.dashes) > 0 {
		var d []string
		for _, x := range t.dashes {
			d = append(d, tenths(int(math.Round(10*x.Points()))))
		}
		start += fmt.Sprintf(` stroke-dasharray="%s"`, strings.Join(d, " "))
	}
	s.draw(start, s.path(p))
}

// draw writes a path; one that looks as the path just before goes on in the same
// element, which halves a page of grids, ticks and bars.
func (s *svgCanvas) draw(start, path string) {
	if start != s.open {
		s.close()
		s.closeGroup()
		s.b.WriteString(start + ` d="`)
		s.open = start
	}
	s.b.WriteString(path)
}

// close ends the path that is being written.
func (s *svgCanvas) close() {
	if s.open != "" {
		s.b.WriteString(`"/>`)
		s.open = ""
	}
}

func (s *svgCanvas) Fill(p vg.Path) {
	c := s.top().colour
	s.draw(`<path `+s.fillLook(c), s.path(p))
	if nrgba(c).A < 0xFF { // two of them lie darker than one
		s.close()
	}
}

// longText is from where on another font's widths could run a text out of its
// place.
const longText = 60 * vg.Length(1)

func (s *svgCanvas) closeGroup() {
	if s.group != "" {
		s.b.WriteString(`</g>`)
		s.group = ""
	}
}

// FillString writes text; a turned context turns it about its own origin.
func (s *svgCanvas) FillString(f font.Face, pt vg.Point, str string) {
	if f.Font.Size == 0 || str == "" {
		return
	}
	s.close()
	x, y := s.at(pt)
	t := s.top()
	turn := ""
	if a := -math.Atan2(t.b, t.a) * 180 / math.Pi; math.Abs(a) > 0.01 {
		turn = fmt.Sprintf(` transform="rotate(%s %s %s)"`, shortNumber(a), tenths(x), tenths(y))
	}
	bold := ""
	if f.Font.Weight > 0 {
		bold = ` font-weight="700"`
	}
	// A text as long as a label keeps the length it was measured to have, whatever
	// font the reader's machine has.
	length := ""
	if w, _, _ := Texts.Box(str, f.Font); w > longText {
		length = fmt.Sprintf(` textLength="%s"`, tenths(int(math.Round(10*w.Points()))))
		if s.grain <= 1 {
			length += ` lengthAdjust="spacingAndGlyphs"`
		}
	}
	// Texts of one look, such as an axis' numbers, share a group.
	if group := fmt.Sprintf(`<g %s font-size="%s"%s>`, s.fillLook(t.colour), shortNumber(f.Font.Size.Points()), bold); group != s.group {
		s.closeGroup()
		s.b.WriteString(group)
		s.group = group
	}
	fmt.Fprintf(&s.b, `<text x="%s" y="%s"%s%s>%s</text>`, tenths(x), tenths(y), turn, length, html.EscapeString(str))
}

func (s *svgCanvas) path(p vg.Path) string {
	var b strings.Builder
	lx, ly := 0, 0
	pending := byte(0) // the command that goes on without being named again
	move := func(cmd byte, x, y int) {
		if cmd == 'l' && x == lx && y == ly {
			return
		}
		if cmd != pending {
			b.WriteByte(cmd)
		} else if x >= lx {
			b.WriteByte(' ')
		}
		if cmd == 'M' {
			b.WriteString(tenths(x) + " " + tenths(y))
			pending = 0
		} else {
			b.WriteString(tenths(x - lx))
			if y >= ly {
				b.WriteByte(' ')
			}
			b.WriteString(tenths(y - ly))
			pending = 'l'
		}
		lx, ly = x, y
	}
	at := func(pt vg.Point) (x, y int) {
		x, y = s.at(pt)
		if s.grain > 1 {
			x, y = s.grain*((x+s.grain/2)/s.grain), s.grain*((y+s.grain/2)/s.grain)
		}
		return x, y
	}
	for _, k := range p {
		switch k.Type {
		case vg.MoveComp:
			x, y := at(k.Pos)
			move('M', x, y)
		case vg.LineComp:
			x, y := at(k.Pos)
			move('l', x, y)
		case vg.ArcComp: // full circles of glyphs only
			cx, cy := s.at(k.Pos)
			r := int(math.Round(10 * k.Radius.Points()))
			fmt.Fprintf(&b, "M%s %sa%s %s 0 1 0 %s 0a%s %s 0 1 0 %s 0", tenths(cx-r), tenths(cy), tenths(r), tenths(r), tenths(2*r),
				tenths(r), tenths(r), tenths(-2*r))
			pending = 0
		case vg.CloseComp:
			b.WriteByte('z')
			pending = 0
		}
	}
	return b.String()
}

// tenths writes n tenths: 123 is "12.3", -5 is "-.5", 20 is "2".
func tenths(n int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	switch {
	case n%10 == 0:
		return sign + strconv.Itoa(n/10)
	case n < 10:
		return sign + "." + strconv.Itoa(n)
	default:
		return sign + strconv.Itoa(n/10) + "." + strconv.Itoa(n%10)
	}
}

// Colours are the shared style's colours by their class in the page; the
// style sheet gives each a light and a dark value.
var Colours = []struct {
	class string
	color color.NRGBA
}{
	{"bg", Paper}, {"ink", Ink}, {"soft", SoftInk}, {"grid", GridInk}, {"blue", Blue}, {"pale", PaleBlue}, {"verm", Vermillion},
	{"green", Green}, {"purp", Purple}, {"oran", Orange}, {"sky", Sky},
}

// nrgba is a colour by its parts; none is ink.
func nrgba(c color.Color) color.NRGBA {
	if c == nil {
		return Ink
	}
	return color.NRGBAModel.Convert(c).(color.NRGBA)
}

// hexColour is a colour as SVG writes it, without its transparency.
func hexColour(c color.Color) string {
	n := nrgba(c)
	return fmt.Sprintf("#%02x%02x%02x", n.R, n.G, n.B)
}

func colourClass(c color.Color) string {
	n := nrgba(c)
	for _, p := range Colours {
		if p.color == n {
			return "-" + p.class
		}
	}
	switch {
	case n.A < 0xFF: // the veil behind labels
		return "-veil"
	case n.R > 0xE0 && n.G > 0xE0:
		return "-faint"
	default:
		return "-ink"
	}
}

// shortNumber writes three significant digits at most.
func shortNumber(v float64) string {
	return strconv.FormatFloat(v, 'g', 3, 64)
}
