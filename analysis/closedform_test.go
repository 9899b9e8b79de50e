package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// tracedBy is a trace of n samples of f(t) volts plus white noise of rms sigma.
func tracedBy(n int, rateHz, sigma float64, f func(t float64) float64) *capture.Trace {
	rng := rand.New(rand.NewPCG(21, 42))
	v := make([]float64, n)
	for i := range v {
		v[i] = f(float64(i)/rateHz) + sigma*rng.NormFloat64()
	}
	return &capture.Trace{
		File: "closed form", Volts: v, SampleRateHz: rateHz, TrueRateHz: rateHz, Calibrated: true,
		ProbeFactor: 1, Coupling: capture.CouplingAC,
		Span: capture.Span{LowHz: 4 * rateHz / float64(n), HighHz: 0.4 * rateHz},
	}
}

// A triangle of peak-to-peak A: rms A/(2√3), fundamental's amplitude 4A/π², so
// 4A/(π²√2) in rms (Fourier series, elementary).
func TestTriangleInClosedForm(t *testing.T) {
	const (
		pp   = 8e-3
		hz   = 97.3e3
		rate = 125e6
	)
	tr := tracedBy(250_000, rate, 50e-6, func(t float64) float64 {
		_, phase := math.Modf(t * hz)
		return pp * (math.Abs(2*phase-1) - 0.5)
	})
	m, err := Measure(context.Background(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		got       figure.Figure
		want, tol float64
	}{
		{"switching_hz", m.SwitchingHz, hz, 50e-6},
		{"ripple p-p", m.RipplePPV, pp, 0.02},
		{"ripple rms", m.RippleRMSV, pp / (2 * math.Sqrt(3)), 0.01},
		{"fundamental rms", m.SwitchingFundamentalRMSV, 4 * pp / (math.Pi * math.Pi * math.Sqrt2), 0.01},
		{"periodic rms", m.PeriodicRMSV, pp / (2 * math.Sqrt(3)), 0.01},
		{"random rms", m.RandomRMSV, 50e-6, 0.05},
	} {
		if !c.got.Known || math.Abs(c.got.Value/c.want-1) > c.tol {
			t.Errorf("%s: %+v, want %g within %g", c.name, c.got, c.want, c.tol)
		}
	}
}

// Two mains lines, 100 and 200 Hz, in phase at a crest: rms adds in power, and
// the peak-to-peak of the coherent sum is that of a·cos x + b·cos 2x, found on a
// fine grid.
func TestMainsCombInClosedForm(t *testing.T) {
	const a, b = 2e-3, 1.2e-3
	wave := func(x float64) float64 { return a*math.Cos(x) + b*math.Cos(2*x) }
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range 100_000 {
		v := wave(2 * math.Pi * float64(i) / 100_000)
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	tr := tracedBy(100_000, 200e3, 5e-6, func(t float64) float64 { return wave(2 * math.Pi * 100 * t) })
	m, err := Measure(context.Background(), tr, Setup{MainsHz: 50})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		got  figure.Figure
		want float64
	}{
		{"line rms", m.MainsLineRMS, a / math.Sqrt2},
		{"comb rms", m.MainsCombRMS, math.Hypot(a, b) / math.Sqrt2},
		{"comb p-p", m.MainsCombPPV, hi - lo},
	} {
		if !c.got.Known || math.Abs(c.got.Value/c.want-1) > 0.01 {
			t.Errorf("%s: %+v, want %g within 1 %%", c.name, c.got, c.want)
		}
	}
}

// Standard deviation of the mean of 1, 2, 3, 4: s = √(5/3), over √4 (JCGM
// 100:2008, 4.2.2 and 4.2.3).
func TestUncertaintyByHand(t *testing.T) {
	u := meanDeviation([]float64{1, 2, 3, 4})
	if want := math.Sqrt(5.0/3) / 2; math.Abs(u-want) > 1e-12 {
		t.Errorf("deviation of the mean is %g, want %g", u, want)
	}
}
