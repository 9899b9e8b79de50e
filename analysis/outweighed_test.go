package analysis_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/capture/synth/testrun"
)

// sampledClock is a converter of 12.7 mV p-p whose clock of hz walks by jitter of a
// period from cycle to cycle, with a transient of ringV at 20 MHz after each of its
// edges, as a scope's 8 bits take it at a rate with no filter ahead: the phase is
// reckoned at each sample, so that what is above half the rate folds by itself.
func sampledClock(hz, rateHz, jitter, ringV float64, n int) *capture.Trace {
	r := rand.New(rand.NewPCG(3, 17))
	tr := &capture.Trace{File: "clock", SampleRateHz: rateHz, TrueRateHz: rateHz, Calibrated: true, ProbeFactor: 1, Coupling: capture.CouplingAC,
		Span: capture.Span{LowHz: 4 * rateHz / float64(n), HighHz: 0.4 * rateHz}, Volts: make([]float64, n)}
	const duty, step = 0.37, 250e-6
	phase := 0.0
	for i := range tr.Volts {
		phase += hz/rateHz + jitter*math.Sqrt(hz/rateHz)*r.NormFloat64()
		p := phase - math.Floor(phase)
		v := 12.7e-3 * (p/duty - 0.5)
		if p > duty {
			v = 12.7e-3 * (0.5 - (p-duty)/(1-duty))
		}
		for _, since := range []float64{p, math.Mod(p-duty+1, 1)} {
			v += ringV * math.Exp(-since/hz/100e-9) * math.Sin(2*math.Pi*20e6*since/hz)
		}
		tr.Volts[i] = step * math.Round((v+300e-6*r.NormFloat64())/step)
	}
	tr.Levels.Distinct = 100
	return tr
}

func cautioned(m *analysis.Measurement, code string) bool {
	return slices.ContainsFunc(m.Cautions, func(k capture.Caution) bool { return k.Code == code })
}

// A supply that switches above half the rate shows the cycle of a folded harmonic, and
// its own fundamental, folded, outweighs that. Of supplies whose switching the rate
// holds none is doubted. The truth is the clock's frequency as set.
func TestFoldedFundamentalOutweighsTheCycle(t *testing.T) {
	type clock struct {
		hz, rateHz float64
		folded     bool
	}
	for _, c := range testrun.Some([]clock{
		{1.315074e6, 2.5e6, true}, {1.455110e6, 2.5e6, true}, {1.205310e6, 2e6, true},
		{130.1e3, 2.5e6, false}, {410.2e3, 2.5e6, false}, {87.7e3, 1e6, false}, {233.3e3, 2e6, false}, {313.1e3, 5e6, false},
	}, 2) {
		m := measured(t, sampledClock(c.hz, c.rateHz, 0, 15e-3, 20_000))
		if !c.folded && (!m.SwitchingHz.Known || math.Abs(m.SwitchingHz.Value/c.hz-1) > 1e-4) {
			t.Errorf("%g Hz at %g S/s: %+v", c.hz, c.rateHz, m.SwitchingHz)
		}
		if m.SwitchingHz.Known && cautioned(m, capture.CautionAlias) != c.folded {
			t.Errorf("%g Hz at %g S/s reads %g Hz: %v", c.hz, c.rateHz, m.SwitchingHz.Value, m.Cautions)
		}
	}
}

// A clock that walks, with a harmonic near a multiple of the rate, is folded to a hump
// of noise about a few hertz: density and audio sums are upper limits, though they
// stand well above the top of the span.
func TestSmearedClockBesideTheMains(t *testing.T) {
	for _, hz := range []float64{249.951e3, 124.98e3, 499.8e3} {
		m := measured(t, sampledClock(hz, 250e3, 4e-3, 15e-3, 50_000))
		d, a := m.Noise.DensityVPerRtHz, m.Bands[0].RMSV
		if !d.Known || !d.UpperBound || !a.Known || !a.UpperBound {
			t.Errorf("%g Hz at 250 kS/s: density %+v, audio %+v", hz, d, a)
		}
	}
}
