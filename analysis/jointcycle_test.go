package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// TestOddCyclesStayWithinTheFold draws cycles of every shape and checks that no
// figure leaves what the cycle itself shows.
func TestOddCyclesStayWithinTheFold(t *testing.T) {
	draws := uint64(200)
	if testing.Short() {
		draws = 50
	}
	for seed := range draws {
		r := rand.New(rand.NewPCG(seed, 77))
		bins := 128 << r.IntN(3)
		period := 1 / (25e3 * math.Pow(16, r.Float64()))
		f := &fold{bins: bins, n: make([]float64, bins), place: make([]float64, bins),
			mean: make([]float64, bins), variance: make([]float64, bins), cycles: 200}
		f.sigma = math.Pow(10, -4+3*r.Float64())
		duty, ripple, step := 0.1+0.8*r.Float64(), math.Pow(10, -3+2*r.Float64()), 0.0
		if r.IntN(2) == 0 {
			step = ripple * r.Float64()
		}
		per := 1.5 + 30*r.Float64() // ring's periods in the cycle
		q := 0.6 + 20*r.Float64()*r.Float64()
		size := math.Pow(10, -3+3*r.Float64()) * float64(r.IntN(3)) / 2
		kind := r.IntN(5)
		for i := range bins {
			x := (float64(i) + 0.5) / float64(bins)
			v := ripple * (0.5 - (x-duty)/(1-duty))
			if x < duty {
				v = ripple*(x/duty-0.5) + step
			}
			switch kind {
			case 1: // a sine
				v = ripple * math.Sin(2*math.Pi*x)
			case 2: // nothing but rings
				v = 0
			case 3: // a square wave
				v = math.Copysign(ripple, duty-x)
			}
			for _, on := range [2]float64{0, duty} {
				for wrap := range 4 {
					if d := x - on + float64(wrap); d >= 0 {
						v += size * math.Exp(-math.Pi*per*d/q) * math.Cos(2*math.Pi*per*d) * (1 - 2*on)
					}
				}
			}
			if kind == 4 && i%37 == 5 {
				v += size
			}
			f.n[i], f.place[i] = 50, 0.5
			f.mean[i] = v + f.sigma/math.Sqrt(50)*r.NormFloat64()
			f.variance[i] = f.sigma * f.sigma
		}
		c := modelCycle(f, period, float64(bins)/period/2, 0.4*float64(bins)/period/2, 0)
		lo, hi := extremes(f.mean)
		limit := 1.02*(hi-lo) + 4*c.binSigma
		for name, v := range map[string]float64{"ripple": c.ppV, "rms": c.rmsV, "deviation": c.uPPV, "left": c.ringLeft, "left volts": c.leftV} {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Fatalf("seed %d: %s %g", seed, name, v)
			}
		}
		if c.ppV > limit {
			t.Errorf("seed %d: ripple %g over the cycle's own %g", seed, c.ppV, hi-lo)
		}
		if c.rmsV > c.ppV {
			t.Errorf("seed %d: ripple rms %g over its peak-to-peak %g", seed, c.rmsV, c.ppV)
		}
		a, b := extremes(c.smooth)
		if !(b-a <= limit) {
			t.Errorf("seed %d: smooth cycle of %g over the cycle's own %g", seed, b-a, hi-lo)
		}
		for _, e := range c.edges {
			if !(math.Abs(e.peakV) <= limit) || e.phase < 0 || e.phase >= 1 {
				t.Errorf("seed %d: edge at %g of %g V in a cycle of %g", seed, e.phase, e.peakV, hi-lo)
			}
		}
	}
}

// ringingTrace is a triangle of ripple with rings that start softly, not as a
// damped sine does.
func ringingTrace(rateHz, hz, ringHz, q, rippleV, peakV, noiseV float64, n int) *capture.Trace {
	r := rand.New(rand.NewPCG(5, 6))
	const duty = 0.4
	pulse := func(s float64) float64 {
		return (1 - math.Exp(-6*ringHz*s)) * math.Exp(-math.Pi*ringHz/q*s) * math.Cos(2*math.Pi*ringHz*s)
	}
	top := 0.0
	for s := 0.0; s < 2/ringHz; s += 0.002 / ringHz {
		top = max(top, math.Abs(pulse(s)))
	}
	v := make([]float64, n)
	for i := range v {
		x := math.Mod(float64(i)/rateHz*hz+0.3, 1)
		v[i] = rippleV * (0.5 - (x-duty)/(1-duty))
		if x < duty {
			v[i] = rippleV * (x/duty - 0.5)
		}
		v[i] += peakV/top*(pulse(x/hz)-0.8*pulse(math.Mod(x-duty+1, 1)/hz)) + noiseV*r.NormFloat64()
	}
	return &capture.Trace{Volts: v, SampleRateHz: rateHz, Span: capture.Span{LowHz: 1e3, HighHz: 0.4 * rateHz}, Calibrated: true}
}

func TestRippleUnderASoftRing(t *testing.T) {
	for _, c := range []struct {
		name                                      string
		rate, hz, ring, q, ripple, peak, noise, n float64
		fills                                     bool
		limit                                     float64
	}{
		{"dies in time", 100e6, 65e3, 2.3e6, 7.5, 6.5e-3, 70e-3, 3e-3, 200e3, false, 0.02},
		{"reaches the next edge", 50e6, 134e3, 1.2e6, 9.7, 5e-3, 97e-3, 1e-3, 300e3, true, 0.02},
		{"few samples", 20e6, 100e3, 1.1e6, 9.6, 2e-3, 76e-3, 0.1e-3, 50e3, true, 0.03},
		{"fast", 100e6, 350e3, 2.8e6, 6.6, 50e-3, 164e-3, 5e-3, 200e3, true, 0.02},
	} {
		tr := ringingTrace(c.rate, c.hz, c.ring, c.q, c.ripple, c.peak, c.noise, int(c.n))
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		if e := m.RipplePPV.Value/c.ripple - 1; math.Abs(e) > c.limit {
			t.Errorf("%s: ripple %.4g, want %.4g (%+.1f %%)", c.name, m.RipplePPV.Value, c.ripple, 100*e)
		}
		if e := m.Spikes.PerS.Value/(2*c.hz) - 1; math.Abs(e) > 0.01 {
			t.Errorf("%s: %g spikes a second, want %g", c.name, m.Spikes.PerS.Value, 2*c.hz)
		}
		said := false
		for _, k := range m.Cautions {
			said = said || k.Code == capture.CautionRingFills
		}
		if said != c.fills {
			t.Errorf("%s: caution of the ring %v, want %v", c.name, said, c.fills)
		}
	}
}

// A record of few cycles still tells its frequency to what its noise allows.
func TestFewCyclesFrequency(t *testing.T) {
	for _, c := range []struct{ rate, hz, ring, q, ripple, peak, noise, n float64 }{
		{250e6, 43.4426e3, 17.8e6, 2.9, 26e-3, 295e-3, 24e-3, 100e3},
		{250e6, 48.213e3, 1.7e6, 8, 18e-3, 38e-3, 3e-3, 60e3},
		{100e6, 77.01e3, 1.2e6, 8, 12e-3, 212e-3, 17e-3, 60e3},
	} {
		m, err := Measure(context.Background(), ringingTrace(c.rate, c.hz, c.ring, c.q, c.ripple, c.peak, c.noise, int(c.n)), Setup{})
		if err != nil {
			t.Fatal(err)
		}
		off := m.SwitchingHz.Value - c.hz
		if math.Abs(off) > 30e-6*c.hz || math.Abs(off) > 2*m.SwitchingHz.U {
			t.Errorf("%g Hz over %.0f cycles: %+.1f ppm, stated %.1f", c.hz, c.n*c.hz/c.rate, 1e6*off/c.hz, 1e6*m.SwitchingHz.U/c.hz)
		}
	}
}
