package canvas

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"slices"
	"strings"

	"git.sr.ht/~sbinet/gg"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/bidi"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// Raster is the memory that one picture after the other is drawn in.
type Raster struct {
	img     *image.RGBA
	palette *image.Paletted
	counts  [1 << 15]int32 // pixels by colour in steps of 8 of 255
	colours [1 << 15]color.RGBA
	index   [1 << 15]uint8
	runs    []run
	faces   map[font.Font]xfont.Face
	packer  *png.EncoderBuffer // of the picture before
	packed  bytes.Buffer
}

// Get and Put keep the encoder's work space, a megabyte, from one picture to the
// next (png.EncoderBufferPool).
func (r *Raster) Get() *png.EncoderBuffer  { return r.packer }
func (r *Raster) Put(b *png.EncoderBuffer) { r.packer = b }

// Of a run, the bytes that are compared at once where it is long, and the pixels that
// are written one by one before they are copied; near these values the time is the same.
const (
	runPiece = 256
	shortRun = 16
)

// runEnd is where the run that begins at a byte of the picture ends.
func runEnd(pix []byte, start int) int {
	i := start + 4
	p := binary.LittleEndian.Uint32(pix[start:])
	twice := uint64(p)<<32 | uint64(p)
	same := func(until int) {
		for i+8 <= until && binary.LittleEndian.Uint64(pix[i:]) == twice {
			i += 8
		}
	}
	if same(min(len(pix), start+runPiece)); i+8 > start+runPiece {
		// Long ones: bytes that equal those a pixel ahead go on in its colour.
		for i+runPiece <= len(pix) && bytes.Equal(pix[i:i+runPiece], pix[i-4:i-4+runPiece]) {
			i += runPiece
		}
		same(len(pix))
	}
	if i+4 <= len(pix) && binary.LittleEndian.Uint32(pix[i:]) == p {
		i += 4
	}
	return i
}

// run is a number of pixels of one colour, one after the other.
type run struct {
	n      int32
	colour uint16 // place in counts
}

// NewRaster makes a raster of the pictures' size.
func NewRaster() *Raster {
	r := image.Rect(0, 0, pixels(Width), pixels(Height))
	return &Raster{img: image.NewRGBA(r), palette: image.NewPaletted(r, nil), faces: map[font.Font]xfont.Face{}}
}

// PNG renders the picture at plotDPI, with a palette: a plot has few colours, and
// a byte per pixel packs several times faster and to a third of the size.
func (f *Drawing) PNG(r *Raster) ([]byte, error) {
	ctx := gg.NewContextForRGBA(r.img)
	ctx.SetLineCapButt()
	ctx.InvertY()
	c := vgimg.NewWith(vgimg.UseImageWithContext(r.img, ctx), vgimg.UseDPI(DPI)) // paints the paper
	f.drawOn(draw.New(newRasterCanvas(c, r)))
	r.packed.Reset()
	enc := png.Encoder{CompressionLevel: png.BestSpeed, BufferPool: r} // DefaultCompression: 3 times the time for 5 % less
	if err := enc.Encode(&r.packed, r.paletted()); err != nil {
		return nil, fmt.Errorf("encoding a plot: %w", err)
	}
	return bytes.Clone(r.packed.Bytes()), nil
}

func pixels(l vg.Length) int { return int(math.Round(l.Dots(DPI))) }

// paletted brings the opaque picture down to 256 colours. Colours are taken
// together in steps of 8 of 255, the shared style's own ones staying exact; with
// still too many, the rarest take the nearest of the rest.
func (r *Raster) paletted() *image.Paletted {
	bucket := func(r, g, b uint8) int { return int(r>>3)<<10 | int(g>>3)<<5 | int(b>>3) }
	clear(r.counts[:])
	pix := r.img.Pix
	r.runs = r.runs[:0]
	for i := 0; i+3 < len(pix); {
		p := binary.LittleEndian.Uint32(pix[i:])
		start := i
		i = runEnd(pix, i)
		k := bucket(uint8(p), uint8(p>>8), uint8(p>>16))
		if r.counts[k] == 0 {
			r.colours[k] = color.RGBA{uint8(p), uint8(p >> 8), uint8(p >> 16), 0xFF}
		}
		n := int32(i-start) / 4
		r.counts[k] += n
		r.runs = append(r.runs, run{n, uint16(k)})
	}
	for _, c := range Colours {
		if k := bucket(c.color.R, c.color.G, c.color.B); r.counts[k] > 0 {
			r.colours[k] = color.RGBA{c.color.R, c.color.G, c.color.B, 0xFF}
			r.counts[k] += int32(len(pix)) // ahead of all others
		}
	}
	var used []int
	for k, n := range r.counts {
		if n > 0 {
			used = append(used, k)
		}
	}
	slices.SortStableFunc(used, func(a, b int) int { return int(r.counts[b] - r.counts[a]) })
	r.palette.Palette = r.palette.Palette[:0]
	for i, k := range used {
		if i < 256 {
			r.index[k] = uint8(i)
			r.palette.Palette = append(r.palette.Palette, r.colours[k])
		} else {
			r.index[k] = uint8(r.palette.Palette.Index(r.colours[k]))
		}
	}
	at := r.palette.Pix
	for _, x := range r.runs {
		c := r.index[x.colour]
		line := at[:x.n]
		at = at[x.n:]
		for i := range line[:min(len(line), shortRun)] {
			line[i] = c
		}
		for n := shortRun; n < len(line); n *= 2 {
			copy(line[n:], line[:n])
		}
	}
	return r.palette
}

// rasterCanvas draws text in visual order. An SVG's viewer turns right-to-left
// letters around itself; a picture has to hold them turned already. Level text
// goes straight into the picture: the canvas would make the font anew for every
// string and resample each letter.
type rasterCanvas struct {
	*vgimg.Canvas
	r     *Raster
	state []rasterState
}

type rasterState struct {
	colour color.Color
	moved  bool // turned, shifted or scaled
	dashed bool
}

func newRasterCanvas(c *vgimg.Canvas, r *Raster) *rasterCanvas {
	return &rasterCanvas{c, r, []rasterState{{colour: color.Black}}}
}

func (c *rasterCanvas) top() *rasterState     { return &c.state[len(c.state)-1] }
func (c *rasterCanvas) Push()                 { c.state = append(c.state, *c.top()); c.Canvas.Push() }
func (c *rasterCanvas) Pop()                  { c.state = c.state[:len(c.state)-1]; c.Canvas.Pop() }
func (c *rasterCanvas) Rotate(rad float64)    { c.top().moved = true; c.Canvas.Rotate(rad) }
func (c *rasterCanvas) Translate(pt vg.Point) { c.top().moved = true; c.Canvas.Translate(pt) }
func (c *rasterCanvas) Scale(x, y float64)    { c.top().moved = true; c.Canvas.Scale(x, y) }

// SetColor sets the colour of what is drawn next.
func (c *rasterCanvas) SetColor(clr color.Color) {
	if clr == nil {
		clr = color.Black
	}
	c.top().colour = clr
	c.Canvas.SetColor(clr)
}

// SetLineDash sets the dashes of what is stroked next.
func (c *rasterCanvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.top().dashed = len(pattern) > 0
	c.Canvas.SetLineDash(pattern, offset)
}

// strokePiece is the most segments stroked at once.
const strokePiece = 48

// Stroke draws the line of a path. The rasteriser walks a list of all that it
// has met in a row of pixels, so a waveform that crosses a row a thousand times
// takes a thousand times a thousand steps: long undashed lines go in pieces,
// which share a segment so that their corners stay whole.
func (c *rasterCanvas) Stroke(p vg.Path) {
	if c.top().dashed {
		c.Canvas.Stroke(p)
		return
	}
	start := 0 // of the piece at hand
	for i := 1; i < len(p); i++ {
		if p[i].Type != vg.LineComp {
			c.Canvas.Stroke(p) // arcs, curves, or several lines
			return
		}
	}
	for ; len(p)-start > strokePiece+1; start += strokePiece - 1 {
		c.strokeFrom(p[start : start+strokePiece+1])
	}
	c.strokeFrom(p[start:])
}

// strokeFrom strokes a line that begins at its first point, however it was
// reached.
func (c *rasterCanvas) strokeFrom(p vg.Path) {
	if len(p) > 0 && p[0].Type == vg.LineComp {
		first := p[0]
		first.Type = vg.MoveComp
		p = append(vg.Path{first}, p[1:]...)
	}
	c.Canvas.Stroke(p)
}

// fillPiece is the most columns of a band that are filled as one polygon.
const fillPiece = 16

// Fill fills a path. The rasteriser walks a list of all that it has met in a row of
// pixels from the left on, see Stroke: a long band goes as many short ones from the
// right to the left, in one path. What two of them share cancels to the last bit, so
// that the picture is that of the whole band.
func (c *rasterCanvas) Fill(p vg.Path) { c.Canvas.Fill(bandInPieces(p)) }

// bandInPieces cuts a closed polygon of pairs of points, each pair at one x, into
// pieces; any other path comes back as it is.
func bandInPieces(p vg.Path) vg.Path {
	n := (len(p) - 1) / 2 // columns
	if n <= fillPiece || len(p) != 2*n+1 || p[2*n].Type != vg.CloseComp {
		return p
	}
	for i := range n {
		if p[i].Type != vg.LineComp && (i > 0 || p[i].Type != vg.MoveComp) || p[2*n-1-i].Type != vg.LineComp ||
			p[i].Pos.X != p[2*n-1-i].Pos.X || i > 0 && p[i].Pos.X <= p[i-1].Pos.X {
			return p
		}
	}
	var out vg.Path
	for last := n - 1; last > 0; last -= fillPiece {
		first := max(last-fillPiece, 0)
		out.Move(p[first].Pos)
		for _, c := range p[first+1 : last+1] {
			out.Line(c.Pos)
		}
		for _, c := range p[2*n-1-last : 2*n-first] {
			out.Line(c.Pos)
		}
		out.Close()
	}
	return out
}

// FillString draws str with its right-to-left runs reversed.
func (c *rasterCanvas) FillString(f font.Face, pt vg.Point, str string) {
	str = visualOrder(str)
	if c.top().moved || f.Font.Size == 0 {
		c.Canvas.FillString(f, pt, str)
		return
	}
	face := c.r.faces[f.Font]
	if face == nil {
		face = f.FontFace(DPI)
		c.r.faces[f.Font] = face
	}
	dots := func(l vg.Length) fixed.Int26_6 { return fixed.Int26_6(math.Round(64 * l.Dots(DPI))) }
	d := xfont.Drawer{Dst: c.r.img, Src: image.NewUniform(c.top().colour), Face: face,
		Dot: fixed.Point26_6{X: dots(pt.X), Y: dots(Height - pt.Y)}}
	d.DrawString(str)
}

// visualOrder reverses the right-to-left runs of a left-to-right text.
func visualOrder(s string) string {
	if !strings.ContainsFunc(s, func(r rune) bool { return r >= 0x590 }) {
		return s // no letters of a right-to-left script
	}
	var p bidi.Paragraph
	if _, err := p.SetString(s, bidi.DefaultDirection(bidi.LeftToRight)); err != nil {
		return s
	}
	order, err := p.Order()
	if err != nil {
		return s
	}
	var b strings.Builder
	for i := range order.NumRuns() {
		run := order.Run(i)
		if run.Direction() == bidi.RightToLeft {
			b.WriteString(bidi.ReverseString(run.String()))
		} else {
			b.WriteString(run.String())
		}
	}
	return b.String()
}
