package report

import (
	"image/color"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"stillglow/report/canvas"
)

// paletteOf reads the colours of a page.css palette: the light one, and the dark one
// with the light one's where it names none.
func paletteOf(t *testing.T, dark bool) map[string][3]float64 {
	t.Helper()
	css, err := asset("page.css")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile(`:root\{[^}]*\}`).FindAllString(css, 2)
	if len(blocks) != 2 {
		t.Fatalf("%d palettes in page.css, want a light and a dark one", len(blocks))
	}
	if !dark {
		blocks = blocks[:1]
	}
	out := map[string][3]float64{}
	for _, m := range regexp.MustCompile(`--(\w+):#([0-9a-f]+)`).FindAllStringSubmatch(strings.Join(blocks, ""), -1) {
		h := m[2]
		if len(h) == 3 {
			h = h[:1] + h[:1] + h[1:2] + h[1:2] + h[2:] + h[2:]
		}
		var c [3]float64
		for i := range c {
			n, err := strconv.ParseUint(h[2*i:2*i+2], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c[i] = float64(n) / 255
		}
		out[m[1]] = c
	}
	return out
}

// contrast is the contrast ratio of WCAG 2.2: relative luminances of sRGB colours,
// from 1 to 21.
func contrast(a, b [3]float64) float64 {
	luminance := func(c [3]float64) float64 {
		sum := 0.0
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			v := c[i]
			if v <= 0.04045 {
				v /= 12.92
			} else {
				v = math.Pow((v+0.055)/1.055, 2.4)
			}
			sum += weight * v
		}
		return sum
	}
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// Text has the contrast that WCAG 2.2 wants at level AA (criterion 1.4.3: 4.5 to 1),
// and so have curves, marks and the frames of fields theirs (1.4.11: 3 to 1), in both
// palettes, on every ground that they stand on.
func TestContrast(t *testing.T) {
	if got := contrast([3]float64{0, 0, 0}, [3]float64{1, 1, 1}); math.Abs(got-21) > 1e-9 {
		t.Fatalf("black on white has %g, want 21", got)
	}
	// #777 on white is the standard's own near miss: 4.48 to 1.
	if got := contrast([3]float64{119. / 255, 119. / 255, 119. / 255}, [3]float64{1, 1, 1}); math.Abs(got-4.48) > 0.005 {
		t.Fatalf("#777 on white has %g, want 4.48", got)
	}
	for name, dark := range map[string]bool{"light": false, "dark": true} {
		p := paletteOf(t, dark)
		least := func(least float64, fores, grounds string) {
			for _, fore := range strings.Fields(fores) {
				for _, ground := range strings.Fields(grounds) {
					a, known := p[fore]
					b, knownToo := p[ground]
					if !known || !knownToo {
						t.Fatalf("no colour %s or %s in page.css", fore, ground)
					}
					if got := contrast(a, b); got < least {
						t.Errorf("%s: %s on %s has %.2f to 1, want %g", name, fore, ground, got, least)
					}
				}
			}
		}
		least(4.5, "ink soft accent pass near fail open retake", "bg card faint")
		least(4.5, "ink", "warn pale")
		least(3, "blue verm green purp oran sky soft warnline", "bg card") // curves by themselves, rims of fields, marks
	}
}

// The page's light colours are those of the pictures.
func TestPageAndPicturesShareColours(t *testing.T) {
	p := paletteOf(t, false)
	for name, c := range map[string]color.NRGBA{"blue": canvas.Blue, "verm": canvas.Vermillion, "green": canvas.Green, "purp": canvas.Purple,
		"oran": canvas.Orange, "sky": canvas.Sky, "pale": canvas.PaleBlue, "card": canvas.Paper, "ink": canvas.Ink, "grid": canvas.GridInk} {
		if got := p[name]; got != [3]float64{float64(c.R) / 255, float64(c.G) / 255, float64(c.B) / 255} {
			t.Errorf("%s is %v on the page, %v in the pictures", name, got, c)
		}
	}
}
