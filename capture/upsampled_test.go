package capture

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// converter gives n samples as an 8-bit converter takes them: ripple, noise,
// rounded to steps of 2 mV.
func converter(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		v := 5 + 0.02*math.Sin(2*math.Pi*0.013*float64(i)) + 0.003*r.NormFloat64()
		x[i] = math.Round(v/0.002) * 0.002
	}
	return x
}

func TestUpsampling(t *testing.T) {
	const n = 8192
	base := converter(n, 7)
	held := make([]float64, n)
	linear := make([]float64, n)
	coarse := make([]float64, n) // between the points to a 64th of a step
	for i := range n {
		held[i] = base[i/5]
		f := float64(i%4) / 4
		linear[i] = math.Round((base[i/4]*(1-f)+base[i/4+1]*f)*1e4) / 1e4
		g := float64(i%5) / 5
		coarse[i] = math.Round((base[i/5]*(1-g)+base[i/5+1]*g)*32e3) / 32e3
	}
	// Band-limited by padding the spectrum with zeros: sin(x)/x on a ring.
	const k = 4
	c := fourier.NewFFT(n/k).Coefficients(nil, base[:n/k])
	pad := make([]complex128, n/2+1)
	copy(pad, c[:n/k/2])
	band := fourier.NewFFT(n).Sequence(nil, pad)
	for i := range band {
		band[i] = math.Round(band[i]*k/n*1e5) / 1e5
	}
	for _, c := range []struct {
		name string
		x    []float64
		k    float64
	}{{"plain", base, 1}, {"held", held, 5}, {"linear", linear, 4}, {"linear, rounded", coarse, 5}, {"band-limited", band, 4}, {"seldom changing", quiet(n), 1}, {"square wave", shape(n, func(p int) float64 { return float64(p / 25) }), 1}, {"triangle wave", shape(n, func(p int) float64 { return math.Abs(float64(p - 25)) }), 1}, {"trapezium", shape(n, func(p int) float64 { return min(10, math.Abs(float64(p-25))) }), 1}, {"constant", make([]float64, n), 1}} {
		tr := &Trace{Volts: c.x, SampleRateHz: 1e6, TrueRateHz: 1e6, Span: Span{1, 4e5}}
		tr.findUpsampling()
		if got := tr.SampleRateHz / tr.TrueRateHz; got != c.k {
			t.Errorf("%s: factor %g, want %g: %v", c.name, got, c.k, tr.Cautions)
		}
		if want := 4e5 / c.k; math.Abs(tr.Span.HighHz-want) > 1 {
			t.Errorf("%s: span to %g Hz, want %g", c.name, tr.Span.HighHz, want)
		}
	}
}

// Points between the converter's, rounded to its own steps once more: on straight lines,
// or by sin(x)/x (a ring of zeros in the spectrum). The truth is the factor they were made
// with; plain records of the same noise, a pole ahead of them included, have none.
func TestUpsampledToTheSteps(t *testing.T) {
	const n, step = 16384, 0.002
	round := func(x []float64) []float64 {
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = math.Round(v/step) * step
		}
		return y
	}
	base := func(n int, noise, pole float64) []float64 {
		r := rand.New(rand.NewPCG(11, 5))
		x, low := make([]float64, n), 0.0
		for i := range x {
			low += (noise*r.NormFloat64() - low) * pole
			x[i] = 0.02*math.Sin(2*math.Pi*0.013*float64(i)) + low
		}
		return x
	}
	lines := func(k int, noise float64) []float64 {
		points, x := round(base(n/k+2, noise, 1)), make([]float64, n)
		for i := range x {
			f := float64(i%k) / float64(k)
			x[i] = points[i/k]*(1-f) + points[i/k+1]*f
		}
		return round(x)
	}
	band := func(k int, noise float64) []float64 {
		c := fourier.NewFFT(n/k).Coefficients(nil, round(base(n/k, noise, 1)))
		pad := make([]complex128, n/2+1)
		copy(pad, c[:n/k/2])
		x := fourier.NewFFT(n).Sequence(nil, pad)
		for i := range x {
			x[i] *= float64(k) / n
		}
		return round(x)
	}
	for name, c := range map[string]struct {
		x []float64
		k float64
	}{
		"lines of 2":                  {lines(2, 0.004), 2},
		"lines of 10":                 {lines(10, 0.008), 10},
		"sin(x)/x of 2":               {band(2, 0.006), 2},
		"sin(x)/x of 5":               {band(5, 0.008), 5},
		"plain":                       {round(base(n, 0.006, 1)), 1},
		"plain, noise under the step": {round(base(n, 0.0007, 1)), 1},
		"behind a pole":               {round(base(n, 0.02, 0.25)), 1},
	} {
		tr := &Trace{Volts: c.x, SampleRateHz: 1e8, TrueRateHz: 1e8, Span: Span{1, 4e7}}
		tr.findUpsampling()
		if got := tr.SampleRateHz / tr.TrueRateHz; got != c.k || math.Abs(tr.Span.HighHz-4e7/c.k) > 1 {
			t.Errorf("%s: factor %g, span to %g Hz; want %g: %v", name, got, tr.Span.HighHz, c.k, tr.Cautions)
		}
	}
}

// TestSimulatedIsNotUpsampled reads the converters that ngspice simulated:
// clean, periodic, and with a true point in every row.
func TestSimulatedIsNotUpsampled(t *testing.T) {
	files, err := filepath.Glob("../testdata/reference/*.csv.gz")
	if err != nil || len(files) == 0 {
		t.Fatalf("no reference captures: %v", err)
	}
	for _, f := range files {
		tr, err := Open(context.Background(), f, Options{})
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if tr.TrueRateHz != tr.SampleRateHz {
			t.Errorf("%s: %v", f, tr.Cautions)
		}
	}
}

// shape repeats a clean wave of 50 samples.
func shape(n int, f func(p int) float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 5 + 0.01*f(i%50)
	}
	return x
}

// quiet is a record that rests at one step and leaves it now and then.
func quiet(n int) []float64 {
	r := rand.New(rand.NewPCG(3, 1))
	x := make([]float64, n)
	for i := range x {
		if r.IntN(40) == 0 {
			x[i] = 0.002
		}
	}
	return x
}

func TestMedian(t *testing.T) {
	for _, x := range [][]float64{{3}, {2, 1}, {5, 1, 4, 2, 3}, {1, 1, 1, 1}, {2, 1, 2, 1, 2, 1, 2}} {
		want := map[int]float64{1: 3, 2: 2, 5: 3, 4: 1, 7: 2}[len(x)]
		if got := upperMedian(x); got != want {
			t.Errorf("median of %v is %g, want %g", x, got, want)
		}
	}
}
