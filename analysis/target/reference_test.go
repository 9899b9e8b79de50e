package target

import (
	"math"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// RIAA replay curve relative to 1 kHz, from the time constants of IEC 60098
// (the constants from memory, the table computed from their closed form).
func TestRIAATable(t *testing.T) {
	for hz, want := range map[float64]float64{
		20: 19.27, 30: 18.59, 40: 17.79, 50: 16.95, 60: 16.10, 80: 14.51, 100: 13.09, 150: 10.27,
		200: 8.22, 300: 5.48, 400: 3.78, 500: 2.65, 600: 1.84, 800: 0.75, 1000: 0, 1500: -1.40,
		2000: -2.59, 3000: -4.74, 4000: -6.61, 5000: -8.21, 6000: -9.60, 8000: -11.89,
		10000: -13.73, 15000: -17.16, 20000: -19.62,
	} {
		if got := riaaDB(hz); math.Abs(got-want) > 0.006 {
			t.Errorf("%g Hz: %.3f dB, table says %.2f", hz, got, want)
		}
	}
}

// Exact binomial intervals (Clopper and Pearson 1934), 95 %: the values are
// from beta quantiles of scipy 1.10.1.
func TestClopperPearson(t *testing.T) {
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{{0, 10, 0, 0.30850}, {4, 25, 0.04538, 0.36083}, {10, 10, 0.69150, 1}} {
		low, high := clopperPearson(c.k, c.n, 0.95)
		if math.Abs(low-c.low) > 6e-6 || math.Abs(high-c.high) > 6e-6 {
			t.Errorf("%d of %d: %.5f to %.5f, want %.5f to %.5f", c.k, c.n, low, high, c.low, c.high)
		}
	}
	// 0 of n has the closed form 1 - 0.025^(1/n).
	for n := 1; n < 40; n++ {
		if _, high := clopperPearson(0, n, 0.95); math.Abs(high-(1-math.Pow(0.025, 1/float64(n)))) > 1e-9 {
			t.Errorf("0 of %d: %g", n, high)
		}
	}
	if low, high := clopperPearson(0, 0, 0.95); low != 0 || high != 1 {
		t.Error("nothing tested says something")
	}
}

func TestOutputResistance(t *testing.T) {
	if f := OutputResistance([]Reading{{0, 7.2}, {0.3, 7.1}, {0.6, 7.0}}); !f.Known || math.Abs(f.Value-1.0/3) > 1e-12 {
		t.Errorf("%+v", f)
	}
	for _, r := range [][]Reading{nil, {{0.3, 7}}, {{0.3, 7}, {0.3, 7.1}}, {{0, math.NaN()}, {1, 7}}, {{-1, 7}, {1, 7}}} {
		if f := OutputResistance(r); f.Known || f.Missing == "" {
			t.Errorf("%v: %+v", r, f)
		}
	}
	// A worked line: 7.00, 6.95, 6.84, 6.81 V at 0, 0.2, 0.4, 0.6 A. By hand:
	// sum of squares of amps about 0.3 is 0.2, the cross sum -0.068, so 0.34 Ω.
	if f := OutputResistance([]Reading{{0, 7.00}, {0.2, 6.95}, {0.4, 6.84}, {0.6, 6.81}}); math.Abs(f.Value-0.34) > 1e-9 || f.U <= 0 {
		t.Errorf("%+v", f)
	}
}

func TestLoadedVolts(t *testing.T) {
	for _, c := range []struct {
		name  string
		u     Unit
		want  float64
		known bool
	}{
		{"between two readings", Unit{HeaterA: 0.3, Readings: []Reading{{0, 7.2}, {0.6, 7.0}}}, 7.1, true},
		{"a reading there", Unit{HeaterA: 0.3, Readings: []Reading{{0.3, 7.05}}}, 7.05, true},
		{"a reading elsewhere", Unit{HeaterA: 0.3, Readings: []Reading{{0, 7.05}}}, 0, false},
		{"far beyond the readings", Unit{HeaterA: 2, Readings: []Reading{{0, 7.2}, {0.6, 7.0}}}, 0, false},
		{"unknown heaters", Unit{Readings: []Reading{{0, 7.2}, {0.6, 7.0}}}, 7.0, true},
		{"from a capture", Unit{HeaterA: 0.6, Captures: []*analysis.Measurement{{Calibrated: true, Coupling: "dc", LoadA: 0.6, DCV: figure.Known(6.9)}}}, 6.9, true},
		{"a capture at another load", Unit{HeaterA: 0.6, Captures: []*analysis.Measurement{{Calibrated: true, Coupling: "dc", LoadA: 0.1, DCV: figure.Known(6.9)}}}, 0, false},
		{"an AC-coupled capture", Unit{Captures: []*analysis.Measurement{{Calibrated: true, Coupling: "ac", DCV: figure.Known(0)}}}, 0, false},
	} {
		f, _ := LoadedVolts(c.u)
		if f.Known != c.known || math.Abs(f.Value-c.want) > 1e-9 || f.Known == (f.Missing != "") {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
}
