package spectrum

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// cleanResidue is a perfect gate: the record minus its noise-free self, with the
// transients' beginnings excised.
func cleanResidue(s synth.Supply) (testGate, []float64, *capture.Trace, synth.Truth) {
	tr, truth := s.Trace("synthetic")
	quiet := s
	quiet.NoiseVPerRtHz, quiet.InstrumentVPerRtHz, quiet.ADCBits, quiet.ProbeFactorWrong = 0, 0, 0, 0
	clean, _ := quiet.Trace("synthetic")
	g := testGate{slices.Clone(tr.Volts), make([]float64, len(tr.Volts))}
	for i := range g.w {
		g.w[i] = 1
		g.Samples[i] -= clean.Volts[i]
	}
	width := int(5 * s.SpikeWidthS * s.RateHz)
	for _, e := range truth.Spikes {
		at := int(e.TimeS * s.RateHz)
		for i := max(at-2, 0); i < min(at+width, len(g.w)); i++ {
			g.w[i] = 0
		}
	}
	return g, tr.Volts, tr, truth
}

// floorOf measures the floor of a record, gated where a gate is given.
func floorOf(t *testing.T, gate *testGate, plain Source, rateHz float64, opt NoiseOptions) NoiseFloor {
	t.Helper()
	p, err := Of(context.Background(), plain, rateHz, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if gate == nil {
		return MeasureNoiseFloor(&p, &p, opt)
	}
	g, err := Of(context.Background(), gate, rateHz, Options{Weights: gate.weights})
	if err != nil {
		t.Fatal(err)
	}
	return MeasureNoiseFloor(&g, &p, opt)
}

// Drawn supplies, white: density within 0.7 dB or 1.4 times its uncertainty, the median within 0.25 dB, wherever the truth stands
// above the quantisation floor; where it lies under it, the figure is said to be
// the converter's.
func TestNoiseFloorOfDrawnSupplies(t *testing.T) {
	var errs []float64
	n := 24
	if !testrun.Full() {
		n = 8
	}
	for seed := range uint64(n) {
		s := synth.Draw(9000 + seed)
		s.Samples = min(s.Samples, 1<<18)
		gate, plain, tr, truth := cleanResidue(s)
		nf := floorOf(t, &gate, Samples(plain), s.RateHz, NoiseOptions{Span: tr.Span, StepV: truth.ADCStepV})
		if !nf.DensityVPerRtHz.Known {
			t.Errorf("seed %d: %s", seed, nf.DensityVPerRtHz.Missing)
			continue
		}
		q := QuantisationDensity(truth.ADCStepV, s.RateHz)
		e := 2 * dB(nf.DensityVPerRtHz.Value/s.NoiseVPerRtHz)
		t.Logf("seed %d: truth %.3g, floor %.3g, ungated %.3g, quantisation %.3g, excised %.2f, at %.3g Hz: %.2f dB", seed, s.NoiseVPerRtHz, nf.DensityVPerRtHz.Value, nf.UngatedVPerRtHz.Value, q, nf.ExcisedShare, nf.AtHz.Value, e)
		if s.NoiseVPerRtHz > q {
			errs = append(errs, math.Abs(e))
			if math.Abs(e) > 0.7 && math.Abs(nf.DensityVPerRtHz.Value-s.NoiseVPerRtHz) > 1.4*nf.DensityVPerRtHz.U {
				t.Errorf("seed %d: %.2f dB off, truth %.3g, quantisation %.3g", seed, e, s.NoiseVPerRtHz, q)
			}
		} else if s.NoiseVPerRtHz < 0.7*q && !nf.AtQuantisation {
			t.Errorf("seed %d: truth %.3g under the quantisation floor %.3g is not said to be (%.3g)", seed, s.NoiseVPerRtHz, q, nf.DensityVPerRtHz.Value)
		}
	}
	slices.Sort(errs)
	if len(errs) == 0 || errs[len(errs)/2] > 0.25 {
		t.Errorf("median error of %d: %v", len(errs), errs)
	}
}

// Johnson noise of 1 kohm at 300 K is sqrt(4 k T R) = 4.070355 nV/rtHz (k exact
// in the SI of 2019), seen through a gain of 1000.
func TestNoiseFloorOfJohnsonNoise(t *testing.T) {
	const rate = 192e3
	e := 1000 * math.Sqrt(4*1.380649e-23*300*1000)
	x := reference.WhiteNoise(1<<20, e*math.Sqrt(rate/2), 77)
	nf := floorOf(t, nil, Samples(x), rate, NoiseOptions{Span: capture.Span{LowHz: 1, HighHz: 0.4 * rate}})
	if got := nf.DensityVPerRtHz.Value; math.Abs(got/4.070355e-6-1) > 0.01 {
		t.Errorf("%.5g V/rtHz, want 4.070355e-6", got)
	}
	if math.Abs(nf.DensityVPerRtHz.Value-4.070355e-6) > nf.DensityVPerRtHz.U {
		t.Errorf("%.5g ± %.2g does not hold 4.070355e-6", nf.DensityVPerRtHz.Value, nf.DensityVPerRtHz.U)
	}
	if nf.CornerHz.Known {
		t.Errorf("a corner of %g Hz in white noise", nf.CornerHz.Value)
	}
	inside := 0
	for _, o := range nf.ThirdOctaves {
		if o.LowVPerRtHz <= 4.070355e-6 && o.HighVPerRtHz >= 4.070355e-6 {
			inside++
		}
	}
	if share := float64(inside) / float64(len(nf.ThirdOctaves)); share < 0.85 {
		t.Errorf("%.0f %% of %d intervals hold the truth", 100*share, len(nf.ThirdOctaves))
	}
	if low, high := nf.ThirdOctaves[0].CentreHz, nf.ThirdOctaves[len(nf.ThirdOctaves)-1].CentreHz; low > 10 || high < 60e3 {
		t.Errorf("third octaves from %g to %g Hz", low, high)
	}
}

func TestNoiseFloorCorner(t *testing.T) {
	for _, corner := range []float64{200, 2000} {
		s := synth.Supply{Seed: 5, RateHz: 192e3, Samples: 1 << 20, NoiseVPerRtHz: 1e-6, CornerHz: corner}
		tr, _ := s.Trace("synthetic")
		nf := floorOf(t, nil, Samples(tr.Volts), s.RateHz, NoiseOptions{Span: tr.Span})
		if !nf.CornerHz.Known || math.Abs(nf.CornerHz.Value/corner-1) > 0.15 {
			t.Errorf("corner %+v, want %g", nf.CornerHz, corner)
		}
		// the median over 2 to 20 kHz lies at their geometric middle
		if d := 2 * dB(nf.DensityVPerRtHz.Value/1e-6/math.Sqrt(1+corner/6325)); math.Abs(d) > 0.3 || math.Abs(nf.AtHz.Value-6325) > 1 || !nf.InBand {
			t.Errorf("corner %g: density off by %.2f dB at %.5g Hz", corner, d, nf.AtHz.Value)
		}
	}
}

// A baseline 6 dB under the trace is taken off in power; one 1 dB under it is
// said to be the instrument's floor.
func TestNoiseFloorBaseline(t *testing.T) {
	const rate = 1e6
	span := capture.Span{LowHz: 20, HighHz: 0.4 * rate}
	floor := func(sigma float64, seed uint64, base *NoiseFloor) NoiseFloor {
		nf := floorOf(t, nil, Samples(reference.WhiteNoise(400_000, sigma, seed)), rate, NoiseOptions{Span: span, Baseline: base})
		return nf
	}
	base := floor(1e-3, 1, nil)
	own := math.Sqrt(3) * 1e-3 / math.Sqrt(rate/2)
	nf := floor(2e-3, 2, &base)
	if math.Abs(dB(nf.DensityVPerRtHz.Value/own)) > 0.1 || nf.AtInstrument {
		t.Errorf("%.4g, want %.4g; at instrument %v", nf.DensityVPerRtHz.Value, own, nf.AtInstrument)
	}
	if nf = floor(1.12e-3, 3, &base); !nf.AtInstrument {
		t.Error("1 dB above the baseline is not said to be at the instrument's floor")
	}
}

func TestNoiseFloorTinyLengths(t *testing.T) {
	for n := 0; n <= 200; n++ {
		nf := floorOf(t, nil, Samples(reference.WhiteNoise(n, 1, 1)), 1000, NoiseOptions{Span: capture.Span{LowHz: 4000 / float64(n+1), HighHz: 400}})
		if f := nf.DensityVPerRtHz; f.Known == (f.Missing != "") || math.IsNaN(f.Value+f.U) || math.IsInf(f.U, 0) {
			t.Errorf("length %d: %+v", n, f)
		}
	}
}

// Excising a quarter of the samples leaves both the white and the 1/f part
// where they were.
func TestNoiseFloorGatedFlicker(t *testing.T) {
	s := synth.Supply{Seed: 6, RateHz: 10e6, Samples: 1 << 22, NoiseVPerRtHz: 1e-6, CornerHz: 10e3}
	tr, _ := s.Trace("synthetic")
	g := testGate{slices.Clone(tr.Volts), make([]float64, len(tr.Volts))}
	for i := range g.w {
		if i%100 >= 25 {
			g.w[i] = 1
		}
	}
	nf := floorOf(t, &g, Samples(tr.Volts), s.RateHz, NoiseOptions{Span: tr.Span})
	for _, o := range nf.ThirdOctaves {
		if o.CentreHz < 300 || math.Abs(o.CentreHz/100e3-1) < 0.01 {
			continue // the gate's own rate carries the slowest noise to 100 kHz
		}
		want := 1e-6 * math.Sqrt(1+10e3/o.CentreHz)
		if d := 2 * dB(o.DensityVPerRtHz/want); math.Abs(d) > 0.3+10/math.Sqrt(0.1*o.CentreHz) {
			t.Errorf("%.0f Hz: %.2f dB off", o.CentreHz, d)
		}
	}
	if d := 2 * dB(nf.DensityVPerRtHz.Value/1e-6/math.Sqrt(1+10e3/6325)); math.Abs(d) > 0.45 {
		t.Errorf("density %.2f dB off", d)
	}
}

// Loop noise makes a hump in the criterion's band, and the white level beside it is
// not what the criterion asks for: the median over 2 to 20 kHz is, by the density
// as it was drawn.
func TestNoiseFloorReadsTheCriterionsBand(t *testing.T) {
	const rate, n = 192e3, 1 << 19
	for _, c := range []struct{ height, centre, width float64 }{{30, 6e3, 0.6}, {10, 3e3, 0.4}, {30, 2e4, 0.5}, {5, 60e3, 0.5}} {
		density := func(hz float64) float64 {
			d := math.Log(hz/c.centre) / c.width
			return 1e-7 * math.Sqrt(1+c.height*c.height*math.Exp(-d*d))
		}
		x := coloured(n, rate, density)
		nf := floorOf(t, nil, x, rate, NoiseOptions{Span: capture.Span{LowHz: 2, HighHz: 0.45 * rate}})
		var inBand []float64
		for k := range 201 {
			inBand = append(inBand, density(2e3*math.Pow(10, float64(k)/200)))
		}
		slices.Sort(inBand)
		if off := nf.DensityVPerRtHz.Value/inBand[100] - 1; math.Abs(nf.DensityVPerRtHz.Value-inBand[100]) > 1.4*nf.DensityVPerRtHz.U && math.Abs(off) > 0.05 || !nf.InBand {
			t.Errorf("hump at %g Hz: %.4g ± %.2g, want %.4g V/√Hz (%.0f %%)", c.centre, nf.DensityVPerRtHz.Value, nf.DensityVPerRtHz.U, inBand[100], 100*off)
		}
	}
}

// coloured is Gaussian noise of a one-sided density, by its spectrum.
func coloured(n int, rate float64, density func(hz float64) float64) Samples {
	r := rand.New(rand.NewPCG(3, 4))
	c := make([]complex128, n/2+1)
	for k := 1; k < len(c); k++ {
		s := density(float64(k)*rate/float64(n)) * math.Sqrt(rate*float64(n)/4)
		c[k] = complex(s*r.NormFloat64(), s*r.NormFloat64())
	}
	x := fourier.NewFFT(n).Sequence(nil, c)
	for i := range x {
		x[i] /= float64(n)
	}
	return x
}
