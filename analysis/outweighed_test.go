package analysis_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
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

// A supply that switches faster than the trade's do, below half the rate, whose rings'
// harmonics are folded to a cycle of their own: its own line is the stronger one, and
// the folded harmonic is named. The cycles of slower supplies stand, whatever their rings
// are folded to. The truth is the clock's frequency as set; the harmonic's number follows
// from it and the rate (11 × 1.0887 MHz lies 524 kHz under 12.5 MHz).
func TestFoldedHarmonicIsNamed(t *testing.T) {
	for _, c := range []struct {
		hz, rateHz, ringV float64
		harmonic          string // "": the cycle is the supply's own
	}{
		{1.270935e6, 12.5e6, 20e-3, "10th harmonic of the stronger line at 1.27 MHz"},
		{1.0887e6, 12.5e6, 100e-3, "11th harmonic of the stronger line at 1.09 MHz"},
		{791.5e3, 10e6, 30e-3, "25th harmonic of the stronger line at 791 kHz"},
		{200.31e3, 12.5e6, 100e-3, ""}, {479.17e3, 10e6, 100e-3, ""}, {310.7e3, 25e6, 150e-3, ""},
	} {
		m := measured(t, sampledClock(c.hz, c.rateHz, 0, c.ringV, 60_000))
		text := ""
		for _, k := range m.Cautions {
			if k.Code == capture.CautionAlias {
				text = k.Text
			}
		}
		if (text != "") != (c.harmonic != "") || !strings.Contains(text, c.harmonic) {
			t.Errorf("%g Hz at %g S/s reads %g Hz: %q", c.hz, c.rateHz, m.SwitchingHz.Value, text)
		}
		if c.harmonic == "" && math.Abs(m.SwitchingHz.Value/c.hz-1) > 1e-4 {
			t.Errorf("%g Hz at %g S/s: %+v", c.hz, c.rateHz, m.SwitchingHz)
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
