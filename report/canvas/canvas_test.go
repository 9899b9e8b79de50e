package canvas

import (
	"image"
	"image/color"
	"math"
	"testing"

	"image/draw"

	"git.sr.ht/~sbinet/gg"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

func TestPicturesTurnRightToLeftLetters(t *testing.T) {
	for in, want := range map[string]string{"plain text 12 mV": "plain text 12 mV", "שלום": "םולש", "Q שלום x": "Q םולש x", "": ""} {
		if got := visualOrder(in); got != want {
			t.Errorf("%q drawn as %q, want %q", in, got, want)
		}
	}
}

// A picture's palette keeps every pixel close to what was drawn, and the
// style's own colours exact.
func TestPaletteStaysTrue(t *testing.T) {
	r := NewRaster()
	n := 0
	set := func(c color.RGBA) {
		r.img.SetRGBA(n%r.img.Rect.Dx(), n/r.img.Rect.Dx(), c)
		n++
	}
	draw.Draw(r.img, r.img.Rect, image.White, image.Point{}, draw.Src)
	for i := range 256 { // paper to a colour, as antialiasing gives them
		for _, p := range Colours {
			mix := func(c uint8) uint8 { return uint8((int(c)*i + 255*(255-i)) / 255) }
			set(color.RGBA{mix(p.color.R), mix(p.color.G), mix(p.color.B), 255})
		}
	}
	drawn := image.NewRGBA(r.img.Rect)
	copy(drawn.Pix, r.img.Pix)
	got := r.paletted()
	if len(got.Palette) > 256 {
		t.Fatalf("%d colours", len(got.Palette))
	}
	worst := 0
	for i := range n {
		x, y := i%r.img.Rect.Dx(), i/r.img.Rect.Dx()
		want, have := drawn.RGBAAt(x, y), color.RGBAModel.Convert(got.At(x, y)).(color.RGBA)
		for _, d := range []int{int(want.R) - int(have.R), int(want.G) - int(have.G), int(want.B) - int(have.B)} {
			worst = max(worst, d, -d)
		}
	}
	if worst > 24 {
		t.Errorf("a pixel is off by %d of 255", worst)
	}
	for _, p := range Colours {
		if c := color.RGBAModel.Convert(got.Palette[got.Palette.Index(p.color)]).(color.RGBA); c.R != p.color.R || c.G != p.color.G || c.B != p.color.B {
			t.Errorf("%s: %v is shown as %v", p.class, p.color, c)
		}
	}
}

// A long line drawn in pieces looks like one drawn at once: no gap, no lost
// corner, and hardly a pixel off by a fifth of full strength.
func TestStrokeInPieces(t *testing.T) {
	var path vg.Path
	for i := range 1001 {
		pt := vg.Point{X: vg.Length(20 + 0.4*float64(i)), Y: vg.Length(100 + 80*math.Sin(float64(i)*2.1)*math.Cos(float64(i)/90))}
		if i == 0 {
			path.Move(pt)
		} else {
			path.Line(pt)
		}
	}
	pixels := func(pieces bool) []byte {
		r := NewRaster()
		ctx := gg.NewContextForRGBA(r.img)
		ctx.SetLineCapButt()
		ctx.InvertY()
		plain := vgimg.NewWith(vgimg.UseImageWithContext(r.img, ctx), vgimg.UseDPI(DPI))
		c := newRasterCanvas(plain, r)
		c.SetLineWidth(vg.Points(0.8))
		c.SetColor(color.Black)
		if pieces {
			c.Stroke(path)
		} else {
			plain.Stroke(path)
		}
		return r.img.Pix
	}
	whole, pieces := pixels(false), pixels(true)
	inked, off, worst := 0, 0, 0
	for i := 0; i < len(whole); i += 4 {
		d := int(whole[i]) - int(pieces[i])
		if whole[i] < 250 {
			inked++
		}
		if d > 51 || d < -51 {
			off++
		}
		worst = max(worst, d, -d)
	}
	if inked < 10_000 {
		t.Fatalf("only %d pixels inked", inked)
	}
	if off > inked/200 || worst > 100 {
		t.Errorf("%d of %d inked pixels off by more than a fifth, the worst by %d of 255", off, inked, worst)
	}
}

// A band filled in pieces is the whole band, every pixel alike; other polygons are
// left as they are.
func TestFillInPieces(t *testing.T) {
	const n = 700
	y := func(i int, lift float64) vg.Length {
		return vg.Length(100 + lift + 60*math.Sin(float64(i)*2.1)*math.Cos(float64(i)/90))
	}
	var band vg.Path
	band.Move(vg.Point{X: 20.3, Y: y(0, 9)})
	for i := 1; i < n; i++ {
		band.Line(vg.Point{X: vg.Length(20.3 + 0.6137*float64(i)), Y: y(i, 9+float64(i%5))})
	}
	for i := n - 1; i >= 0; i-- {
		band.Line(vg.Point{X: vg.Length(20.3 + 0.6137*float64(i)), Y: y(i, -9)})
	}
	for i := range n { // the same numbers, not nearly
		band[2*n-1-i].Pos.X = band[i].Pos.X
	}
	band.Close()
	cut := bandInPieces(band)
	if len(cut) < len(band)+n/fillPiece {
		t.Fatalf("%d points for %d: the band was not cut", len(cut), len(band))
	}
	other := append(vg.Path(nil), band...)
	other[3].Pos.X += 0.01
	if got := bandInPieces(other); len(got) != len(other) {
		t.Error("a polygon that is no band was cut")
	}
	pixels := func(p vg.Path) []byte {
		r := NewRaster()
		ctx := gg.NewContextForRGBA(r.img)
		ctx.InvertY()
		c := vgimg.NewWith(vgimg.UseImageWithContext(r.img, ctx), vgimg.UseDPI(DPI))
		c.SetColor(PaleBlue)
		c.Fill(p)
		return r.img.Pix
	}
	whole, pieces := pixels(band), pixels(cut)
	inked := 0
	for i, v := range whole {
		if v != pieces[i] {
			t.Fatalf("byte %d is %d, whole %d", i, pieces[i], v)
		}
		if i%4 == 0 && v < 250 {
			inked++
		}
	}
	if inked < 10_000 {
		t.Fatalf("only %d pixels inked", inked)
	}
}
