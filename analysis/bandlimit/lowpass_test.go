package bandlimit

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis/internal/reference"
	"stillglow/analysis/spectrum"
)

func TestLowPassPrototypes(t *testing.T) {
	for _, shape := range []LowPass{FirstOrder, Butterworth4, Gaussian} {
		h := shape.Response(20e6, 20e6)
		if db := 20 * math.Log10(math.Hypot(real(h), imag(h))); math.Abs(db+3.0103) > 1e-3 {
			t.Errorf("%s: %.4f dB at its limit, want -3.0103", shape, db)
		}
	}
	// Butterworth of order n: 10·log10(1+x^2n) down at x times the limit
	h := Butterworth4.Response(56e6, 20e6)
	if got, want := 20*math.Log10(math.Hypot(real(h), imag(h))), -10*math.Log10(1+math.Pow(2.8, 8)); math.Abs(got-want) > 1e-9 {
		t.Errorf("Butterworth %.6f dB, want %.6f", got, want)
	}
	for _, l := range LowPasses {
		if got, err := Parse(string(l)); err != nil || got != l {
			t.Errorf("ParseLowPass(%q) = %q, %v", l, got, err)
		}
	}
	if _, err := Parse("brick"); err == nil {
		t.Error("an unknown shape was accepted")
	}
}

// Behind a one-pole a sine of angular frequency w shrinks by 1/√(1+w²τ²) and
// lags by atan(wτ) (elementary): the sum of two such sines, read densely, is what
// the filtered samples must give.
func TestLowPassClosedForm(t *testing.T) {
	const rate, cut = 500e6, 20e6
	tau := 1 / (2 * math.Pi * cut)
	v := make([]float64, 40000)
	for i := range v {
		// sines below and above the limit, exact closed form in the steady state
		x := float64(i) / rate
		v[i] = 0.5*math.Sin(2*math.Pi*3e6*x) + 0.25*math.Sin(2*math.Pi*27e6*x+1)
	}
	pp, err := Measure(context.Background(), v, 0, -0.75, 0.75, rate, FirstOrder, cut)
	if err != nil {
		t.Fatal(err)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := 0; i < 400000; i++ {
		x := float64(i) / rate / 50
		y := 0.0
		for _, s := range [][3]float64{{0.5, 3e6, 0}, {0.25, 27e6, 1}} {
			w := 2 * math.Pi * s[1]
			y += s[0] / math.Hypot(1, w*tau) * math.Sin(w*x+s[2]-math.Atan(w*tau))
		}
		lo, hi = math.Min(lo, y), math.Max(hi, y)
	}
	if math.Abs(pp.AbsoluteV/(hi-lo)-1) > 0.005 {
		t.Errorf("peak-to-peak %g, want %g", pp.AbsoluteV, hi-lo)
	}
}

// A true peak falls between samples: a sine at 0.3 of the rate, sampled so that
// no sample hits its crest, still reads its full swing.
func TestInterpolatedPeak(t *testing.T) {
	v := make([]float64, 4000)
	for i := range v {
		v[i] = math.Sin(2*math.Pi*0.3*float64(i) + 0.37)
	}
	c := newCurveExtremes(spectrum.NewInterpolator())
	c.add(v, 100, 3900)
	if math.Abs(c.max-1) > 2e-3 || math.Abs(c.min+1) > 2e-3 {
		t.Errorf("read %g to %g, want -1 to 1", c.min, c.max)
	}
	q := newQuantileScale(-1, 1)
	for i := range 100001 {
		q.add([]float64{float64(i)/50000 - 1})
	}
	for _, p := range []float64{0.0005, 0.25, 0.5, 0.9995} {
		if got := q.at(p); math.Abs(got-(2*p-1)) > 1e-4 {
			t.Errorf("quantile %g = %g, want %g", p, got, 2*p-1)
		}
	}
}

// Filtered in blocks or by one transform of the whole (gonum's), samples are the same but
// for what the response still rings where guards or taps end, whether they are noise up to
// half the rate or up to 0.4 of it. Both delay them alike.
func TestBlocksAgainstOneTransform(t *testing.T) {
	const cut, n = 20e6, 1 << 16
	fft := fourier.NewFFT(n)
	for _, c := range []struct {
		shape  LowPass
		rateHz float64
	}{
		{FirstOrder, 50e6}, {FirstOrder, 100e6}, {FirstOrder, 1e9}, {FirstOrder, 10e9}, {FirstOrder, 40e9},
		{Butterworth4, 50e6}, {Butterworth4, 100e6}, {Butterworth4, 2e9}, {Butterworth4, 20e9},
		{Gaussian, 50e6}, {Gaussian, 100e6}, {Gaussian, 10e9},
	} {
		at := c.shape.Sampled(c.rateHz, cut)
		for _, white := range []bool{true, false} {
			terms := fft.Coefficients(nil, reference.WhiteNoise(n, 1, 1))
			if !white {
				for k := 2 * n / 5; k < len(terms); k++ {
					terms[k] *= 0
				}
			}
			x := fft.Sequence(nil, terms)
			for k := range terms {
				terms[k] *= at(float64(k)*c.rateHz/n) / n
			}
			for i := range x {
				x[i] /= n
			}
			want := fft.Sequence(nil, terms)
			b := newBlocks(x, 0, 2, c.rateHz, c.shape, cut)
			most := 3e-4
			if b.taps != nil {
				most = 2e-3
			}
			away := 2 * b.guard // from the ends, where the record goes on otherwise
			var off, whole float64
			for i := range b.count() {
				start, end := b.span(i)
				for k, v := range b.run(start, end)[b.guard : b.guard+end-start] {
					if at := start + k; at > away && at < n-away {
						off, whole = off+(v-want[at])*(v-want[at]), whole+want[at]*want[at]
					}
				}
			}
			if share := math.Sqrt(off / whole); !(share < most) {
				t.Errorf("%s at %g MS/s, white %v: off by %.2g of the rms, want under %g", c.shape, c.rateHz/1e6, white, share, most)
			} else {
				t.Logf("%s at %g MS/s, white %v: off by %.2g of the rms", c.shape, c.rateHz/1e6, white, share)
			}
		}
	}
}
