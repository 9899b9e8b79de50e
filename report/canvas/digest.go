package canvas

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Digest is the hash of every line, area and letter of the picture, in hex: two
// pictures of one digest have the same files, byte for byte, from one build of the
// program. It takes a tenth of the time that the files take.
func (f *Drawing) Digest() string {
	d := &digest{sum: sha256.New()}
	vg.Initialize(d)
	f.draw(draw.New(d))
	d.flush()
	return hex.EncodeToString(d.sum.Sum(nil))
}

// digest is a vg.Canvas that hashes what it is told to draw, to the last bit.
type digest struct {
	sum   hash.Hash
	ready []byte // to be hashed
}

// digestPiece is how many bytes are hashed at once.
const digestPiece = 1 << 14

func (d *digest) flush() {
	d.sum.Write(d.ready) // a hash gives no errors
	d.ready = d.ready[:0]
}

// add notes an operation by its letter, with its numbers.
func (d *digest) add(what byte, numbers ...float64) {
	d.ready = append(d.ready, what)
	d.ready = binary.LittleEndian.AppendUint32(d.ready, uint32(len(numbers)))
	for _, v := range numbers {
		d.ready = binary.LittleEndian.AppendUint64(d.ready, math.Float64bits(v))
	}
	if len(d.ready) > digestPiece {
		d.flush()
	}
}

func (d *digest) text(s string) {
	d.add('"', float64(len(s)))
	d.ready = append(d.ready, s...)
}

func (d *digest) Size() (w, h vg.Length)   { return Width, Height }
func (d *digest) SetLineWidth(w vg.Length) { d.add('w', float64(w)) }
func (d *digest) Rotate(rad float64)       { d.add('r', rad) }
func (d *digest) Translate(pt vg.Point)    { d.add('t', float64(pt.X), float64(pt.Y)) }
func (d *digest) Scale(x, y float64)       { d.add('s', x, y) }
func (d *digest) Push()                    { d.add('(') }
func (d *digest) Pop()                     { d.add(')') }
func (d *digest) Stroke(p vg.Path)         { d.path('|', p) }
func (d *digest) Fill(p vg.Path)           { d.path('#', p) }

func (d *digest) DrawImage(vg.Rectangle, image.Image) { panic("canvas: no images in pictures") }

func (d *digest) SetLineDash(pattern []vg.Length, offset vg.Length) {
	d.add('-', float64(len(pattern)), float64(offset))
	for _, l := range pattern {
		d.add('.', float64(l))
	}
}

func (d *digest) SetColor(c color.Color) {
	if c == nil {
		c = color.Black
	}
	r, g, b, a := c.RGBA()
	d.add('c', float64(r), float64(g), float64(b), float64(a))
}

func (d *digest) FillString(f font.Face, pt vg.Point, str string) {
	d.add('a', float64(pt.X), float64(pt.Y), float64(f.Font.Size))
	d.text(fmt.Sprint(f.Font))
	d.text(str)
}

func (d *digest) path(what byte, p vg.Path) {
	d.add(what, float64(len(p)))
	for _, c := range p {
		d.add(byte(c.Type), float64(c.Pos.X), float64(c.Pos.Y), float64(c.Radius), c.Start, c.Angle)
		for _, pt := range c.Control {
			d.add('*', float64(pt.X), float64(pt.Y))
		}
	}
}
